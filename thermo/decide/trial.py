"""A case with changed settings tried: on the coarse mesh to look round, on the fine to be sure.

A fine trial is worked out as an estimate works it out, so that an estimate at a found value says
the same: its own regime, its own change of the gap, the fine mesh.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.answer.coarse_runs import CoarseRuns, hangs_on_expansion
from thermo.answer.exposure import DosePlan, dose_plan
from thermo.answer.left_alone import is_as_stiff
from thermo.answer.outcome import (
    EVEN,
    Judged,
    Kept,
    Outcome,
    dose_lines,
    run_once,
    temperature_lines,
)
from thermo.answer.placement import FEWER, common, field_points
from thermo.answer.scene import Scene, describe, mesh
from thermo.answer.state import State
from thermo.case import Case
from thermo.solve import at_once, one_blas_thread

Array = NDArray[np.float64]
OWN = ("buckling", "gap_closing")  # judged without a limit of the case
NEAR = {"degC": 0.1, "um": 1e-3, "ppm": 0.1}  # within which a limit counts as just met
SHARE = 1e-3  # the same of every other limit


@dataclass(frozen=True)
class Placed:
    """Where a trial prints, as if its membrane were flat.

    aligned : printed error after shift and rotation at three depths, m, (3, n, 2), at the points of
        a coarse mesh
    scale : magnification at these, (3,);  blur : largest, m
    load : share of the thermal stress that buckles the membrane; from 1 on nothing of it is known
    """

    aligned: Array
    scale: Array
    blur: float
    load: float


@dataclass(frozen=True)
class Trial:
    """What a changed case does to its limits, and what it costs.

    lines : values beside the limits of the case;  own : buckling and closing of the gap, where
        both bodies were expanded;  on_mask : W per m of beam width
    placed : where both were
    """

    lines: tuple[Judged, ...]
    own: tuple[Judged, ...]
    dose: DosePlan
    on_mask: float
    fine: bool
    placed: Placed | None = None

    @property
    def excess(self) -> dict[str, float]:
        """How far each value lies above its limit, negative: room left.

        What is not known counts as twice the limit.
        """
        return {line.name: line.scale if line.over is None else line.over for line in self.lines}

    @property
    def holds(self) -> bool:
        """Whether every limit of the case is known to be kept by typical values."""
        return all(over <= 0 for over in self.excess.values())


def near(line: Judged) -> float:
    """Within what a value counts as at its limit, in the limit's unit."""
    return NEAR.get(line.unit, SHARE * abs(line.limit))


@dataclass(frozen=True)
class _Solved:
    """A fine trial with what others start from; expanded where moved.

    key : of the input that was changed, '' in the case itself
    """

    key: str
    trial: Trial
    state: State
    outcome: Outcome | None = None

    @property
    def is_own(self) -> bool:
        """Whether nothing of it was told from another: what follows it is one step away."""
        if self.outcome is None or self.outcome.expansion is None:
            return True
        return not (self.outcome.expansion.motion.told or self.outcome.membrane.followed)

    def distance(self, state: State) -> float:
        """Largest difference of a layer's mean temperature, K."""
        return max(abs(a - b) for a, b in zip(self.state.layer_T, state.layer_T, strict=True))


class Trials:
    """Trials round one case; the coarse runs of the case itself are made once.

    base : the case itself on the coarse mesh, as every coarse trial is
    solved : fine trials that others start from: the last, and the last that is its own
    """

    @one_blas_thread()
    def __init__(self, case: Case, still: bool = False) -> None:
        self.case, self.still = case, still
        self.runs = CoarseRuns(case, still)
        self.moved = hangs_on_expansion(case)
        self.base = self._coarse(case, "ring.current")
        self.solved: tuple[_Solved, ...] = ()

    def dose(self, case: Case) -> Trial:
        """Only what the light alone decides: nothing is solved."""
        scene = describe(case, self.still)
        plan = dose_plan(scene)
        return _trial(scene, tuple(dose_lines(case, plan)), plan, fine=False)

    def coarse(self, case: Case, key: str) -> Trial:
        """Trial on the coarse mesh of a case in which the input `key` was changed."""
        return self.base if case is self.case else self._coarse(case, key)

    def _coarse(self, case: Case, key: str) -> Trial:
        if self.moved:
            outcome = self.runs.changed(case, key, far=True)
            return _printed(outcome, fine=False)
        state = self.runs.heated(case).state
        return self._heat(state, fine=False)

    def fine(self, case: Case, key: str) -> Trial:
        """Trial as an estimate of the case would work it out.

        What the input `key` leaves alone is taken over: the factors of bodies that stay as stiff,
        and, where the mask is the same, how near its membrane is to buckling but for its heat.
        """
        return self.fine_at_once((case,), key)[0]

    def fine_at_once(self, cases: Sequence[Case], key: str) -> list[Trial]:
        """Fine trials of several cases in which the same input was changed."""
        found = at_once(lambda case: self._fine(case, key), cases)
        every = [*self.solved, *found]
        own = [one for one in every[:-1] if one.is_own][-1:]
        self.solved = (*own, every[-1])
        return [solved.trial for solved in found]

    def _fine(self, case: Case, key: str) -> _Solved:
        stiff = is_as_stiff(key)
        like = self.runs if stiff else None
        runs = self.runs if case is self.case else CoarseRuns(case, self.still, like)
        scene = replace(describe(case, runs.still), gap_change=runs.gap_change)
        meshed = mesh(scene)
        same = [s for s in self.solved if s.key in ("", key)]
        alike = [s for s in same if s.state.meshed.is_like(meshed)]
        own = "" if case is self.case else key
        state, course = runs.fine(scene, meshed, alike[-1].state if alike else None)
        if not self.moved:
            return _Solved(own, self._heat(state, fine=True), state)
        alike.sort(key=lambda s: (not s.is_own, s.distance(state)))
        kept, nearest = None, alike[0] if alike else None
        if nearest and nearest.outcome and stiff:
            membrane = nearest.outcome.membrane
            flat = not key.startswith("mask.") and membrane.follows(nearest.state, state)
            kept = Kept(nearest.outcome, ("mask", "sample"), membrane=flat, rough=False)
        outcome = run_once(state, course, kept=kept)
        return _Solved(own, _printed(outcome, fine=True), state, outcome)

    def _heat(self, state: State, fine: bool) -> Trial:
        plan, scene = dose_plan(state.scene), state.scene
        lines = (*temperature_lines(state, plan), *dose_lines(scene.case, plan))
        return _trial(scene, lines, plan, fine)


def _printed(outcome: Outcome, fine: bool) -> Trial:
    """Trial of a case whose limits hang on the expansion."""
    scene, expansion = outcome.scene, outcome.expansion
    assert expansion is not None
    fits, points = expansion.fits, expansion.points
    own = common(points, field_points(scene.stack.pattern.field, FEWER))
    aligned = np.stack([fit.aligned[own] for fit in fits])
    scale = np.array([fit.magnification for fit in fits])
    blur = float(expansion.printed.blur.max())
    placed = Placed(aligned, scale, blur, 1 / outcome.membrane.factor)
    return replace(_trial(scene, outcome.judged, outcome.dose, fine), placed=placed)


def _trial(scene: Scene, lines: tuple[Judged, ...], plan: DosePlan, fine: bool) -> Trial:
    limits = tuple(line for line in lines if line.name not in OWN)
    limits += tuple(_evenness(limits, plan))
    own = tuple(line for line in lines if line.name in OWN)
    return Trial(limits, own, plan, scene.beam.on_mask, fine)


def _evenness(lines: tuple[Judged, ...], plan: DosePlan) -> Iterator[Judged]:
    """The unevenness that practice allows, where the case judges others and not this."""
    known = plan.unevenness
    if known is not None and "dose_unevenness" not in {line.name for line in lines}:
        limit, source = 100 * EVEN, "common practice"
        yield Judged("dose_unevenness", "resist", "%", 100 * known, limit, source)


def by_name(lines: tuple[Judged, ...]) -> Mapping[str, Judged]:
    """Lines by their names."""
    return {line.name: line for line in lines}
