"""The highest ring current that keeps every temperature limit."""

from dataclasses import replace

from thermo.answer.outcome import Judged, Outcome, Regime, judge
from thermo.answer.state import solve_state
from thermo.answer.temperature import ZERO_C
from thermo.solve import Solver

CLOSE = 0.005  # the found current moves by less between two solves
TRIES = 10


def highest_current(outcome: Outcome, solver: Solver, regime: Regime) -> float | None:
    """Highest ring current, A, re-solved at the found current until it moves by under 0.5 %.

    Properties change with temperature, so the rise is only nearly proportional to the current:
    the secant through the last two solves leads on.  Local dose does not depend on the current.
    Typical values.  None where no temperature limit is known, one lies below the warmest sink, or
    the secant does not settle.
    """
    state, scene = outcome.state, outcome.scene
    warmest = max(film.sink for film in state.films) - ZERO_C
    room = _room(outcome.judged)
    dark = {j.name: j.limit - warmest for j in outcome.judged if j.name in room}
    if not room or min(dark.values()) <= 0:
        return None
    last, here = (0.0, dark), (scene.case.ring.current.value, room)
    for _ in range(TRIES):
        current = min(_no_room(last, here, name) for name in room)
        if abs(current - here[0]) < CLOSE * here[0]:
            return current
        brighter = replace(scene, beam=scene.beam.at_current(current))
        state = solve_state(brighter, state.meshed, solver, state)
        last, here = here, (current, _room(judge(state, outcome.dose, regime)))
    return None


def _room(judged: tuple[Judged, ...]) -> dict[str, float]:
    """Room left below each known temperature limit, K."""
    return {j.name: -j.over for j in judged if j.unit == "degC" and j.over is not None}


Solved = tuple[float, dict[str, float]]


def _no_room(last: Solved, here: Solved, name: str) -> float:
    """Current at which the room is used up, on the line through two solves."""
    (a, room_a), (b, room_b) = (last[0], last[1][name]), (here[0], here[1][name])
    if room_a == room_b:
        return b
    return max(b + room_b * (b - a) / (room_a - room_b), b / 20)
