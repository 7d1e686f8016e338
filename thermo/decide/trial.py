"""A case with changed settings tried: on the coarse mesh to look round, on the fine to be sure.

A fine trial is worked out as an estimate works it out, so that an estimate at a found value says
the same: its own regime, its own change of the gap, the fine mesh.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from thermo.answer.exposure import DosePlan, dose_plan
from thermo.answer.outcome import (
    EVEN,
    Judged,
    Kept,
    Outcome,
    dose_lines,
    run_once,
    temperature_lines,
)
from thermo.answer.scene import Scene, describe, mesh
from thermo.answer.spread import CoarseRuns, hangs_on_expansion, is_as_stiff
from thermo.answer.state import State
from thermo.case import Case

OWN = ("buckling", "gap_closing")  # judged without a limit of the case
NEAR = {"degC": 0.1, "um": 1e-3, "ppm": 0.1}  # within which a limit counts as just met
SHARE = 1e-3  # the same of every other limit


@dataclass(frozen=True)
class Trial:
    """What a changed case does to its limits, and what it costs.

    lines : values beside the limits of the case;  own : buckling and closing of the gap, where
        both bodies were expanded;  on_mask : W per m of beam width
    """

    lines: tuple[Judged, ...]
    own: tuple[Judged, ...]
    dose: DosePlan
    on_mask: float
    fine: bool

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


class Trials:
    """Trials round one case; the coarse runs of the case itself are made once."""

    def __init__(self, case: Case, still: bool = False) -> None:
        self.case, self.still = case, still
        self.runs = CoarseRuns(case, still)
        self.moved = hangs_on_expansion(case)
        self.before: tuple[State, Outcome | None] | None = None

    def dose(self, case: Case) -> Trial:
        """Only what the light alone decides: nothing is solved."""
        scene = describe(case, self.still)
        plan = dose_plan(scene)
        return _trial(scene, tuple(dose_lines(case, plan)), plan, fine=False)

    def coarse(self, case: Case, key: str) -> Trial:
        """Trial on the coarse mesh of a case in which the input `key` was changed."""
        if self.moved:
            outcome = self.runs.changed(case, key, far=True)
            return _trial(outcome.scene, outcome.judged, outcome.dose, fine=False)
        state = self.runs.heated(case).state
        return self._heat(state, fine=False)

    def fine(self, case: Case, key: str) -> Trial:
        """Trial as an estimate of the case would work it out.

        What the input `key` leaves alone is taken over: the factors of bodies that stay as stiff,
        and, where the mask is the same, how near its membrane is to buckling but for its heat.
        """
        stiff = is_as_stiff(key)
        bodies = self.runs.bodies if stiff else None
        runs = self.runs if case is self.case else CoarseRuns(case, self.still, bodies)
        scene = replace(describe(case, runs.still), gap_change=runs.gap_change)
        meshed, before = mesh(scene), self.before
        if before is None or before[0].mean.shape != meshed.grid.shape:
            before = None
        state, course = runs.fine(scene, meshed, before[0] if before else None)
        if not self.moved:
            self.before = state, None
            return self._heat(state, fine=True)
        kept = None
        if before and before[1] and stiff:
            flat = not key.startswith("mask.")
            kept = Kept(before[1], ("mask", "sample"), membrane=flat, rough=False)
        outcome = run_once(state, course, kept=kept)
        self.before = state, outcome
        return _trial(scene, outcome.judged, outcome.dose, fine=True)

    def _heat(self, state: State, fine: bool) -> Trial:
        plan, scene = dose_plan(state.scene), state.scene
        lines = (*temperature_lines(state, plan), *dose_lines(scene.case, plan))
        return _trial(scene, lines, plan, fine)


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
