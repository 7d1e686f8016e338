"""The highest ring current that keeps every temperature limit."""

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.outcome import Outcome
from thermo.answer.spread import try_setting
from thermo.decide.shift import shift_of

KEY = "ring.current"
CLOSE = 0.005  # the found current moves by less between two solves
TRIES = 10


def highest_current(outcome: Outcome, runs: CoarseRuns) -> float | None:
    """Highest ring current, A, re-solved at the found current until it moves by under 0.5 %.

    Properties change with temperature, so the rise is only nearly proportional to the current:
    the secant through the last two solves leads on.  Changes are taken on the coarse mesh.  Local
    dose does not depend on the current.  Typical values.  None where no temperature limit is known,
    one lies below the warmest sink, or the secant does not settle.
    """
    case, shift = outcome.scene.case, shift_of(outcome, runs.rough)
    known = {j.name: j for j in outcome.judged if j.unit == "degC" and j.value is not None}
    dark = {name: j.limit - shift.warmest for name, j in known.items()}
    if not dark or min(dark.values()) <= 0:
        return None
    room = {name: -(j.over or 0.0) for name, j in known.items()}
    last, here = (0.0, dark), (case.ring.current.value, room)
    for _ in range(TRIES):
        current = min(_no_room(last, here, name) for name in room)
        if abs(current - here[0]) < CLOSE * here[0]:
            return current
        brighter = try_setting(case, KEY, current)
        if brighter is None:
            return None
        after = {j.name: shift.over(j) for j in runs.changed(brighter, KEY).judged}
        last, here = here, (current, {name: -(after[name] or 0.0) for name in room})
    return None


Solved = tuple[float, dict[str, float]]


def _no_room(last: Solved, here: Solved, name: str) -> float:
    """Current at which the room is used up, on the line through two solves."""
    (a, room_a), (b, room_b) = (last[0], last[1][name]), (here[0], here[1][name])
    if room_a == room_b:
        return b
    return max(b + room_b * (b - a) / (room_a - room_b), b / 20)
