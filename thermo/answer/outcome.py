"""One case run once: its state, its exposure plan, and the value beside every limit."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from thermo.answer.expansion import Expansion, expand_bodies
from thermo.answer.exposure import DosePlan, dose_plan
from thermo.answer.placement import linear_fit
from thermo.answer.resist import resist_margin
from thermo.answer.scene import Scene
from thermo.answer.state import CLOSE, State
from thermo.answer.temperature import ZERO_C, hottest, readings
from thermo.case import Case

NEEDS_CYCLE = (
    "needs the expansion of both bodies through the scan, which is not worked out yet: a static "
    "map may even have the wrong sign"
)
DOSE = 0.03  # share by which cross sections and the absorption model leave a dose uncertain
UNDER = 0.1  # the same in the middle of a wide absorber; beside open parts scattered light is added
EVEN = 0.01  # dose unevenness over the field that practice allows


@dataclass(frozen=True)
class Judged:
    """The value beside one limit, in the limit's unit; None where it is not known.

    at_most : the limit itself is only an upper bound, so it can be broken but not kept
    model : what the model itself leaves open, down and up
    """

    name: str
    part: str
    unit: str
    value: float | None
    limit: float
    source: str
    note: str = ""
    at_most: bool = False
    model: tuple[float, float] = (0.0, 0.0)

    @property
    def over(self) -> float | None:
        """How far the value lies above its limit (negative: room left)."""
        return None if self.value is None else self.value - self.limit


@dataclass(frozen=True)
class Outcome:
    """A case run once."""

    state: State
    dose: DosePlan
    expansion: Expansion | None
    judged: tuple[Judged, ...]

    @property
    def scene(self) -> Scene:
        """What was run."""
        return self.state.scene

    @property
    def values(self) -> dict[str, float]:
        """Every known judged value, in the limit's unit, and the sensors' readings, degC."""
        found = {line.name: line.value for line in self.judged if line.value is not None}
        for name, read in readings(self.state).items():
            found |= {f"sensor {name}": read.mean}
            found |= {f"sensor {name} low": read.low, f"sensor {name} peak": read.peak}
        return found


def judge(state: State, dose: DosePlan, expansion: Expansion | None = None) -> tuple[Judged, ...]:
    """The value beside every limit of the case, in the order of the case file."""
    case = state.scene.case
    return (
        *_temperature_lines(case, state, dose),
        *_placement_lines(case, expansion),
        *_dose_lines(case, dose),
    )


def run_once(state: State, moved: bool, before: Expansion | None = None) -> Outcome:
    """Outcome of a solved state; moved: expand the bodies too."""
    dose = dose_plan(state.scene)
    expansion = expand_bodies(state, before) if moved else None
    return Outcome(state, dose, expansion, judge(state, dose, expansion))


def _temperature_lines(case: Case, state: State, dose: DosePlan) -> Iterator[Judged]:
    limits = case.limits
    if limits.resist is not None:
        yield _resist_line(case, state, dose)
    if limits.mask is not None:
        at = max((hottest(state, n) for n in ("membrane", "absorber")), key=lambda a: state.peak[a])
        value, limit = float(state.peak[at]) - ZERO_C, limits.mask.value - ZERO_C
        yield Judged("mask", "mask", "degC", value, limit, "case", model=(CLOSE, CLOSE))


def _resist_line(case: Case, state: State, dose: DosePlan) -> Judged:
    name = state.scene.stack.resist.name
    least, model = resist_margin(state, dose), (CLOSE, CLOSE)
    peak = float(state.peak[hottest(state, name)]) - ZERO_C
    if case.limits.resist == "from dose":
        assert least is not None  # the case room allows it for PMMA only
        note = "no data at this dose: at most this" if least.at_most else ""
        value, soft = least.peak - ZERO_C, least.softening - ZERO_C
        return Judged("resist", name, "degC", value, soft, least.source, note, least.at_most, model)
    note = ""
    if least is not None:
        soft = least.softening - ZERO_C
        note = f"softens at {soft:.0f} degC" + (
            " at most at this dose (extrapolated: no data)" if least.at_most else ""
        )
    assert case.limits.resist is not None
    limit = case.limits.resist.value - ZERO_C
    return Judged("resist", name, "degC", peak, limit, "case", note, model=model)


def _placement_lines(case: Case, expansion: Expansion | None) -> Iterator[Judged]:
    limits = case.limits
    error = None if expansion is None else expansion.printed
    why = "" if error is not None else NEEDS_CYCLE
    fits = (
        []
        if error is None or expansion is None
        else [linear_fit(expansion.points, e) for e in error]
    )
    if limits.placement is not None:
        worst = max((1e6 * float(np.hypot(*f.aligned.T).max()) for f in fits), default=None)
        limit = 1e6 * limits.placement.value
        note = why or "largest error after shift and rotation"
        if why == NEEDS_CYCLE and expansion is not None:
            note += _sample_alone(expansion, limits.placement.value)
        yield Judged("placement", "pattern", "um", worst, limit, "case", note)
    if limits.magnification is not None:
        scale = max((1e6 * abs(f.magnification) for f in fits), default=None)
        limit = 1e6 * limits.magnification.value
        yield Judged("magnification", "pattern", "ppm", scale, limit, "case", why)
    if limits.blur is not None:
        blur = None if error is None else 0.0
        yield Judged("blur", "pattern", "um", blur, 1e6 * limits.blur.value, "case", why)


def _sample_alone(expansion: Expansion, limit: float) -> str:
    """What to do where the sample's own growth already exceeds the placement limit (m)."""
    fit = linear_fit(expansion.points, expansion.sample_at[0, :, :2])
    moves = float(np.hypot(*fit.aligned.T).max())
    if moves <= limit:
        return ""
    ppm = 1e6 * fit.magnification
    return (
        f"; but the sample alone moves {1e6 * moves:.2g} um after shift and rotation: change its "
        f"water's temperature, or write the mask {abs(ppm):.3g} ppm {_size(ppm)}"
    )


def _size(ppm: float) -> str:
    return "larger" if ppm > 0 else "smaller"


def _dose_lines(case: Case, dose: DosePlan) -> Iterator[Judged]:
    limits, resist = case.limits, "resist"
    if limits.dose_top is not None:
        top, limit = dose.top / 1e9, limits.dose_top.value / 1e9
        model = (top * DOSE,) * 2
        yield Judged("dose_top", resist, "kJ/cm3", top, limit, "case", model=model)
    if limits.dose_ratio is not None:
        model, limit = (dose.ratio * DOSE,) * 2, limits.dose_ratio.value
        yield Judged("dose_ratio", resist, "", dose.ratio, limit, "case", model=model)
    if limits.dose_under_absorber is not None:
        under, limit = dose.under_absorber / 1e6, limits.dose_under_absorber.value / 1e6
        more = dose.scattered / 1e6
        model = (UNDER * under, UNDER * under + more)
        note = f"in fine patterns open parts beside may scatter up to {more:.3g} J/cm3 more into it"
        yield Judged(
            "dose_under_absorber", resist, "J/cm3", under, limit, "case", note, model=model
        )
    if dose.unevenness is not None and dose.unevenness > EVEN:
        value, note = 100 * dose.unevenness, "the stroke is too short for its overscan"
        yield Judged("dose_unevenness", resist, "%", value, 100 * EVEN, "common practice", note)
