"""One case run once: its state, its exposure plan, and the value beside every limit."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from thermo.answer.bodies import Body, Name, is_near, make_body
from thermo.answer.course import Course
from thermo.answer.expansion import Expansion, expand_bodies, roughened
from thermo.answer.exposure import DosePlan, dose_plan
from thermo.answer.heated import holder_expansion
from thermo.answer.membrane import Membrane, hottest_membrane
from thermo.answer.pattern_motion import NOTHING, Known
from thermo.answer.resist import resist_margin
from thermo.answer.scene import Scene
from thermo.answer.state import CLOSE, State
from thermo.answer.temperature import ZERO_C, hottest, readings
from thermo.case import Case

PAST_FLAT = "the membrane is past its flat state when it is hottest"
DOSE = 0.03  # share by which cross sections and the absorption model leave a dose uncertain
UNDER = 0.1  # the same in the middle of a wide absorber; beside open parts scattered light is added
BOW = 0.1  # share by which a bow is uncertain: a membrane bends at its clamp within a cell or two
HAIR, ROUGH_HAIR = 4e-3, 2e-2  # K: rest of a ripple; tried, they moved prints by 0.3 and 1.2 nm
EVEN = 0.01  # dose unevenness over the field that practice allows
SHORT, HELD = "the stroke is too short for its overscan", "a held beam prints its own stripe alone"


@dataclass(frozen=True)
class Judged:
    """The value beside one limit, in the limit's unit; None where it is not known.

    at_most : the limit itself is only an upper bound, so it can be broken but not kept
    beyond : above the limit nothing more is known, so it is not broken either
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
    beyond: bool = False
    model: tuple[float, float] = (0.0, 0.0)

    @property
    def over(self) -> float | None:
        """How far the value lies above its limit (negative: room left)."""
        return None if self.value is None else self.value - self.limit

    @property
    def scale(self) -> float:
        """What counts as much: the limit's own size, 1 where that is zero."""
        return abs(self.limit) or 1.0


@dataclass(frozen=True)
class Outcome:
    """A case run once."""

    state: State
    dose: DosePlan
    membrane: Membrane
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


def judge(
    state: State, dose: DosePlan, membrane: Membrane, expansion: Expansion | None = None
) -> tuple[Judged, ...]:
    """The value beside every limit, those of the case in the order of the case file."""
    case = state.scene.case
    flat = expansion if membrane.is_flat else None
    return (
        *temperature_lines(state, dose),
        *_placement_lines(case, flat, "" if membrane.is_flat else PAST_FLAT),
        *dose_lines(case, dose),
        *_membrane_lines(state.scene, membrane, flat),
    )


@dataclass(frozen=True)
class Kept:
    """What a changed case takes over from an outcome.

    same : bodies that are as stiff and held as then, on the same plan
    unchanged : the one of them that also has the same temperatures and expansion
    motion : whether the free decays move the pattern as then
    membrane : whether it is as near to buckling as then, but for its temperature
    rough : whether the pattern moves with the first harmonics alone
    """

    outcome: Outcome
    same: tuple[Name, ...] = ()
    unchanged: Name | None = None
    motion: bool = False
    membrane: bool = False
    rough: bool = True

    def body(self, name: Name, state: State) -> Body:
        """Mask or sample of a state, by its factor of then where it is the same."""
        if name not in self.same:
            return make_body(state, name)
        expansion = self.outcome.expansion
        assert expansion is not None  # of the typical case
        return (expansion.mask if name == "mask" else expansion.sample).body.again(state)

    def known(self, state: State, mask: Body, sample: Body) -> Known:
        """Of the pattern's motion, for state and bodies of the changed case."""
        expansion, scan = self.outcome.expansion, self.outcome.state.scan
        if expansion is None:
            return NOTHING
        known = Known(expansion.motion, self.unchanged, self.motion)
        before = expansion.mask.body, expansion.sample.body
        alike = all(a.is_like(b) for a, b in zip((mask, sample), before, strict=True))
        alike &= is_near(holder_expansion(state), holder_expansion(self.outcome.state))
        if scan is None or not alike or expansion.motion.told:
            return known
        return replace(known, ripple=scan.cycle.X, hair=ROUGH_HAIR if self.rough else HAIR)


def run_once(
    state: State,
    course: Course,
    moved: bool = True,
    kept: Kept | None = None,
    bodies: tuple[Body, Body] | None = None,
) -> Outcome:
    """Outcome of a solved state and its warm-up.

    moved : expand both bodies;  kept : what is taken over from another outcome
    bodies : mask and sample of the state where they are made already, instead of what is kept
    """
    expansion, warmed = None, None
    if kept is not None and kept.membrane:
        warmed = kept.outcome.membrane.warmed(kept.outcome.state, state)
    if moved:
        mask, sample = bodies or (_body(state, "mask", kept), _body(state, "sample", kept))
        membrane = warmed or hottest_membrane(state, course, mask)
        known = kept.known(state, mask, sample) if kept else NOTHING
        rough = kept is not None and kept.rough
        expansion = expand_bodies(state, course, mask, sample, rough, known)
    else:
        membrane = warmed or hottest_membrane(state, course, _body(state, "mask", kept))
    dose = dose_plan(state.scene)
    return Outcome(state, dose, membrane, expansion, judge(state, dose, membrane, expansion))


def _body(state: State, name: Name, kept: Kept | None) -> Body:
    return kept.body(name, state) if kept else make_body(state, name)


def roughened_outcome(outcome: Outcome, course: Course) -> Outcome:
    """An outcome as those are that take something over: its pattern with fewer harmonics."""
    assert outcome.expansion is not None  # of the typical case
    expansion = roughened(outcome.expansion, course)
    judged = judge(outcome.state, outcome.dose, outcome.membrane, expansion)
    return replace(outcome, expansion=expansion, judged=judged)


def needed_tension(outcome: Outcome, coarse: Outcome) -> float | None:
    """Initial tension that would keep a buckled membrane flat, Pa; None where it is flat.

    coarse : the same case on a coarser mesh, which says how much
    """
    return None if outcome.membrane.is_flat else coarse.membrane.needed_tension(coarse.state)


def temperature_lines(state: State, dose: DosePlan) -> Iterator[Judged]:
    """Peaks of resist and mask beside their limits."""
    case = state.scene.case
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
        source, at_most = least.source, least.at_most
        return Judged("resist", name, "degC", value, soft, source, note, at_most, model=model)
    note = ""
    if least is not None:
        soft = least.softening - ZERO_C
        note = f"softens at {soft:.0f} degC" + (
            " at most at this dose (extrapolated: no data)" if least.at_most else ""
        )
    assert case.limits.resist is not None
    limit = case.limits.resist.value - ZERO_C
    return Judged("resist", name, "degC", peak, limit, "case", note, model=model)


def _placement_lines(case: Case, expansion: Expansion | None, why: str) -> Iterator[Judged]:
    """Of the worst depth; without an expansion they are not known, and why."""
    limits = case.limits
    printed = None if expansion is None else expansion.printed
    fits = [] if expansion is None else expansion.fits
    if limits.placement is not None:
        worst = max((1e6 * float(np.hypot(*f.aligned.T).max()) for f in fits), default=None)
        limit = 1e6 * limits.placement.value
        note = why or "largest error after shift and rotation"
        yield Judged("placement", "pattern", "um", worst, limit, "case", note)
    if limits.magnification is not None:
        scale = max((1e6 * abs(f.magnification) for f in fits), default=None)
        limit = 1e6 * limits.magnification.value
        yield Judged("magnification", "pattern", "ppm", scale, limit, "case", why)
    if limits.blur is not None:
        blur = None if printed is None else 1e6 * float(printed.blur.max())
        note = why or "largest standard deviation of where an edge is printed"
        yield Judged("blur", "pattern", "um", blur, 1e6 * limits.blur.value, "case", note)


def _membrane_lines(
    scene: Scene, membrane: Membrane, expansion: Expansion | None
) -> Iterator[Judged]:
    """Share of the load that buckles the membrane, and how much of the gap both bodies close."""
    load = 1 / membrane.factor
    note = "share of the thermal stress that buckles the membrane" if load < 1 else PAST_FLAT
    yield Judged("buckling", "mask", "", load, 1.0, "buckling", note, beyond=True)
    if not membrane.is_flat or expansion is not None:
        gap = 1e6 * scene.stack.layer("gap").thickness
        closing = None if expansion is None else -1e6 * min(float(expansion.gap_change[0].min()), 0)
        note = PAST_FLAT if closing is None else "beyond it they touch; a push grows the mask's bow"
        closer = 0.0 if closing is None else closing * load / (1 - load)
        model = (0.0, 0.0) if closing is None else (BOW * closing, BOW * closing + closer)
        yield Judged("gap_closing", "mask", "um", closing, gap, "contact", note, model=model)


def dose_lines(case: Case, dose: DosePlan) -> Iterator[Judged]:
    """Doses and exposure time beside their limits."""
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
    yield from _evenness_line(case, dose)
    if limits.time is not None:
        model = (_more_time(case, dose) / 60,) * 2
        value, limit = dose.time / 60, limits.time.value / 60
        yield Judged("exposure_time", "exposure", "min", value, limit, "case", model=model)


def _evenness_line(case: Case, dose: DosePlan) -> Iterator[Judged]:
    """Unevenness along the scan beside the case's limit, or beyond that of common practice."""
    given, uneven = case.limits.dose_unevenness, dose.unevenness
    limit, source = (EVEN, "common practice") if given is None else (given.value, "case")
    over = uneven is not None and uneven > limit
    if given is not None or over:
        value = None if uneven is None else 100 * uneven
        note = HELD if value is None else SHORT if over else ""
        yield Judged("dose_unevenness", "resist", "%", value, 100 * limit, source, note)


def _more_time(case: Case, dose: DosePlan) -> float:
    """Time that the share DOSE more of the dose takes at the current of the end, s.

    dt = DOSE t0 exp(t/tau), t0 the time at constant current, tau the lifetime
    """
    lifetime = case.ring.lifetime
    faded = 1.0 if lifetime is None else float(np.exp(dose.time / lifetime.value))
    return DOSE * dose.time_constant_current * faded
