"""What to change: settings that help the body that limits, tried on the model before they are said.

Nearly all mask heat leaves through the gap into the resist, so more gas cools the mask and
slightly heats the resist: pressure and gap are levers of the mask only.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from thermo.answer.outcome import Outcome
from thermo.answer.spread import CoarseRuns, try_setting
from thermo.beam import Motion
from thermo.case import Case, Filter
from thermo.units import Quantity, to_unit

RESIST = ("scan.speed", "filter", "ring.current", "sample.joint.resistance", "sample.holder.water")
MASK = (
    "scan.speed",
    "filter",
    "ring.current",
    "gap.width",
    "chamber.pressure",
    "mask.frame.cooling",
)
DOSE = ("filter",)
LEVERS: Mapping[str, tuple[str, ...]] = {
    "resist": RESIST,
    "mask": MASK,
    "dose_top": DOSE,
    "dose_ratio": DOSE,
    "dose_unevenness": ("scan.stroke",),
    "dose_under_absorber": ("mask.absorber.thickness",),
    "placement": ("sample.holder.water", "ring.current"),
    "magnification": ("sample.holder.water", "ring.current"),
}


@dataclass(frozen=True)
class Tried:
    """One changed setting and what it does: values beside the limits, and the exposure time.

    cures : typical values then keep every known limit;  ours : the user's own setting to make
    """

    key: str
    text: str
    values: Mapping[str, float]
    time: float
    cures: bool
    ours: bool


def try_levers(outcome: Outcome, runs: CoarseRuns, current: float | None) -> Iterator[Tried]:
    """Every lever of every limit that is not met, tried alone."""
    case = outcome.scene.case
    broken = [j.name for j in outcome.judged if j.over is not None and j.over > 0]
    keys = dict.fromkeys(key for name in broken for key in LEVERS.get(name, ()))
    for short in keys:
        key, value = _candidate(outcome, short, current)
        changed = None if value is None else try_setting(case, key, value)
        if changed is None or value is None:
            continue
        after = runs.changed(changed, key)
        moved = runs.change(after)
        values = {
            j.name: j.value + moved.get(j.name, 0.0) for j in outcome.judged if j.value is not None
        }
        cures = all(values[j.name] <= j.limit for j in outcome.judged if j.name in values)
        ours = key != "ring.current"
        yield Tried(key, _say(case, key, value), values, after.dose.time, cures, ours)


def _candidate(outcome: Outcome, short: str, current: float | None) -> tuple[str, float | None]:
    """The changed value of one lever, None where there is nothing to change."""
    case = outcome.scene.case
    if short == "filter":
        number, last = last_foil(case)
        thicker = None if last is None else 2.5 * last.thickness.value
        return f"beam.filters.{number}.thickness", thicker
    if short == "ring.current":
        if current is None or current >= case.ring.current.value:
            return short, None
        return short, 0.98 * current
    if short == "scan.stroke":
        needed = outcome.dose.stroke_needed
        given = input_at(case, short)
        return short, None if needed is None or given is None else 1.01 * needed
    if short == "scan.speed":
        return short, _faster(outcome)
    change: Mapping[str, Callable[[Quantity], float]] = {
        "sample.joint.resistance": lambda q: q.value / 3,
        "sample.holder.water": lambda q: q.value - 5,
        "gap.width": lambda q: q.value / 2,
        "chamber.pressure": lambda q: min(5 * q.value, 1e5),
        "mask.frame.cooling": lambda q: 3 * q.value,
        "mask.absorber.thickness": lambda q: 1.5 * q.value,
    }
    given = input_at(case, short)
    return short, None if given is None else change[short](given)


def last_foil(case: Case) -> tuple[int, Filter | None]:
    """The last foil in the beam and its place in the list from 1; 0 where there is none."""
    foils = [(n, f) for n, f in enumerate(case.beam.filters, 1) if isinstance(f, Filter)]
    return foils[-1] if foils else (0, None)


def fastest(outcome: Outcome) -> float:
    """Speed at which the stroke still has its overscan, m/s; 0 where it has none to spare."""
    motion, needed = outcome.scene.motion, outcome.dose.stroke_needed
    if not isinstance(motion, Motion) or needed is None:
        return 0.0
    spare = motion.stroke - needed + 2 * motion.turn
    return 0.98 * (spare * motion.acceleration) ** 0.5 if spare > 0 else 0.0


def _faster(outcome: Outcome) -> float | None:
    """Four times the speed, or as much as the stroke still allows with its overscan."""
    motion = outcome.scene.motion
    if not isinstance(motion, Motion):
        return None
    speed = min(4 * motion.speed, fastest(outcome))
    return speed if speed > 1.1 * motion.speed else None


def input_at(case: Case, key: str) -> Quantity | None:
    """The quantity at a dotted key, None where the case has none."""
    found: object = case
    for part in key.split("."):
        if isinstance(found, tuple) and part.isdigit():
            found = found[int(part) - 1]
        else:
            found = getattr(found, part, None)
    return found if isinstance(found, Quantity) else None


def _say(case: Case, key: str, value: float) -> str:
    """'scan.speed 5 -> 20 mm/s', in the unit of the case file."""
    given = input_at(case, key)
    assert given is not None
    old, new = (to_unit(v, given.unit, given.kind) for v in (given.value, value))
    name = key
    if key.startswith("beam.filters"):
        foil = last_foil(case)[1]
        assert foil is not None
        name = f"{foil.material} filter"
    elif key == "ring.current":
        name = "ring.current, where the ring can give less,"
    return f"{name} {_plain(old)} -> {_plain(new)} {given.unit}".strip()


def _plain(value: float) -> str:
    """Three digits, without an exponent where that is readable."""
    return f"{value:.0f}" if 1000 <= abs(value) < 1e6 else f"{value:.3g}"
