"""What to change: settings that help the body that limits, tried on the model before they are said.

Nearly all mask heat leaves through the gap into the resist, so more gas cools the mask and
slightly heats the resist: pressure and gap are levers of the mask only.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from thermo.answer.expansion import Expansion, write_scale
from thermo.answer.exposure import PERMILLE, lit_stripe, stroke_for
from thermo.answer.outcome import Outcome
from thermo.answer.placement import linear_fit
from thermo.answer.spread import CoarseRuns, try_setting
from thermo.beam import Motion
from thermo.case import Case, Filter, input_at
from thermo.units import Quantity, three_digits, to_unit

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
    "exposure_time": ("scan.stroke",),
    "gap_closing": ("gap.width",),
    "placement": ("mask.scale", "sample.holder.water", "ring.current"),
    "magnification": ("mask.scale", "sample.holder.water", "ring.current"),
    "blur": ("scan.speed", "filter", "gap.width", "chamber.pressure", "ring.current"),
}
STEP = 5.0  # K, by which the water is changed
COLDEST, WARMEST = 278.15, 333.15  # K: water that a cooling circuit can bring


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
        if short == "mask.scale":
            yield _written(outcome)
            continue
        key, value = _candidate(outcome, runs, short, current, broken)
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


def _candidate(
    outcome: Outcome, runs: CoarseRuns, short: str, current: float | None, broken: Sequence[str]
) -> tuple[str, float | None]:
    """The changed value of one lever, None where there is nothing to change."""
    case = outcome.scene.case
    if short == "filter":
        number, last = last_foil(case)
        thicker = None if last is None else 2.5 * last.thickness.value
        return f"beam.filters.{number}.thickness", thicker
    own: dict[str, Callable[[], float | None]] = {
        "ring.current": lambda: _less(case, current),
        "scan.stroke": lambda: _stroke(outcome, longer="dose_unevenness" in broken),
        "scan.speed": lambda: _faster(outcome),
    }
    if {"placement", "magnification"} & {*broken}:
        own["sample.holder.water"] = lambda: nulling_water(outcome, runs)
    if short in own:
        return short, own[short]()
    wider = "gap_closing" in broken  # then a narrower gap is no cure
    change: Mapping[str, Callable[[Quantity], float]] = {
        "sample.joint.resistance": lambda q: q.value / 3,
        "sample.holder.water": lambda q: q.value - STEP,
        "gap.width": lambda q: 2 * q.value if wider else q.value / 2,
        "chamber.pressure": lambda q: min(5 * q.value, 1e5),
        "mask.frame.cooling": lambda q: 3 * q.value,
        "mask.absorber.thickness": lambda q: 1.5 * q.value,
    }
    given = input_at(case, short)
    return short, None if given is None else change[short](given)


def _less(case: Case, current: float | None) -> float | None:
    """Somewhat less than the highest ring current, where that is less than there is."""
    return None if current is None or current >= case.ring.current.value else 0.98 * current


def _stroke(outcome: Outcome, longer: bool) -> float | None:
    """Somewhat more than the stroke that is needed, where that is longer, or shorter, than now.

    Needed for an even dose to 0.1 %, or to the limit of the case: the finer one when lengthened.
    """
    scene = outcome.scene
    given, limit = input_at(scene.case, "scan.stroke"), scene.case.limits.dose_unevenness
    if given is None:
        return None
    lack = PERMILLE if limit is None else limit.value
    lack = min(lack, PERMILLE) if longer else lack
    stroke = 1.01 * stroke_for(scene, lit_stripe(scene), lack)
    return stroke if (stroke > given.value) == longer else None


def _written(outcome: Outcome) -> Tried:
    """The same mask written at the scale that prints true in the middle of the resist."""
    expansion = outcome.expansion
    assert expansion is not None  # placement is known
    points, case = expansion.points, outcome.scene.case
    scale = write_scale(expansion, case)
    more = -expansion.fits[1].magnification  # than the mask has now
    fits = [linear_fit(points, e + more * points.T) for e in expansion.printed.mean]
    values = {j.name: j.value for j in outcome.judged if j.value is not None}
    left = {
        "placement": max(1e6 * float(np.hypot(*fit.aligned.T).max()) for fit in fits),
        "magnification": max(1e6 * abs(fit.magnification) for fit in fits),
    }
    values |= {name: value for name, value in left.items() if name in values}
    cures = all(values[j.name] <= j.limit for j in outcome.judged if j.name in values)
    text = (
        f"mask.scale {'' if case.mask.scale is None else case.mask.scale} -> {1e6 * scale:.3g} ppm"
    )
    return Tried("mask.scale", " ".join(text.split()), values, outcome.dose.time, cures, True)


def nulling_water(outcome: Outcome, runs: CoarseRuns) -> float | None:
    """Temperature of the sample's water at which the pattern is printed true to scale, K.

    Growth is linear in it: from two runs.  None where no cooling circuit brings it.
    """
    key, case = "sample.holder.water", outcome.scene.case
    given = case.sample.holder.water.value
    colder = try_setting(case, key, given - STEP)
    if colder is None or outcome.expansion is None:
        return None
    after = runs.changed(colder, key).expansion
    here, usual, other = map(_scale, (outcome.expansion, runs.rough.expansion, after))
    water = given + STEP * here / (other - usual) if other != usual else np.inf
    return float(water) if COLDEST <= water <= WARMEST else None


def _scale(expansion: Expansion | None) -> float:
    assert expansion is not None  # changed cases are expanded where placement is judged
    return expansion.fits[1].magnification


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
    return f"{name} {three_digits(old)} -> {three_digits(new)} {given.unit}".strip()
