"""Runs of nearly the same case on the coarse mesh: what a change of an input changes.

The coarse mesh's error is nearly the same in all of them and cancels in their differences.
"""

from dataclasses import replace
from functools import cached_property

from thermo.answer.bodies import Body, Name, make_body
from thermo.answer.course import (
    Course,
    course_of,
    followed,
    is_short,
    over_exposure,
    settled_course,
    which_regime,
)
from thermo.answer.expansion import gap_change
from thermo.answer.left_alone import ELASTIC, is_as_stiff, leaves_membrane, untouched
from thermo.answer.outcome import Kept, Outcome, roughened_outcome, run_once
from thermo.answer.scene import Meshed, Scene, describe, mesh
from thermo.answer.state import State, mean_state, solve_state
from thermo.case import Case
from thermo.solve import Solver

BOTH: tuple[Name, Name] = ("mask", "sample")
ROUGH = 0.05  # K: error of the coarse mesh's limit cycles
NEAR = 0.25  # of buckling load or gap: from there on the spread of it is looked at


class CoarseRuns:
    """Runs of nearly the same case on the coarse mesh, each starting from the first.

    like : runs of nearly the same case whose bodies are as stiff: they are taken over, and the
        fields are where these start
    bodies : mask and sample
    first : its limit cycle or steady state and how that comes about;  regime, why : what holds;
        short : worked out from cold;  gap_change : by the bow of the bodies, the same for all
    usual, typical : the same with the regime's own state;  rough : typical with fewer harmonics of
        the pattern's motion, as the others have, which are compared with it
    """

    def __init__(self, case: Case, still: bool, like: "CoarseRuns | None" = None) -> None:
        self.still = still
        self.solver = Solver()
        self.bodies: tuple[Body, Body]
        self.usual: Course
        flat = describe(case, still)
        meshed = mesh(flat, coarse=True)
        if like and not like.usual.state.meshed.is_like(meshed):
            like = None
        before = like.usual.state if like else None
        start = mean_state(flat, meshed, self.solver, before)
        mask, sample = like.bodies if like else (make_body(start, n) for n in BOTH)
        self.bodies = mask.again(start), sample.again(start)
        self.gap_change = gap_change(start, *self.bodies)
        scene = replace(flat, gap_change=self.gap_change)
        state = solve_state(scene, meshed, self.solver, before or start, close=ROUGH)
        self.first = course_of(state, self.solver)
        self.regime, self.why = which_regime(self.first)
        self.short = is_short(self.first)
        self.usual = settled_course(self.first, self.solver)
        if self.short:  # its own bow, not that of the settled state
            self.gap_change = gap_change(
                self.usual.state, *(body.again(self.usual.state) for body in self.bodies)
            )
            scene = replace(flat, gap_change=self.gap_change)
            state = solve_state(scene, meshed, self.solver, state, close=ROUGH)
            self.usual = settled_course(course_of(state, self.solver), self.solver)

    @cached_property
    def typical(self) -> Outcome:
        """The case itself, expanded; settled, its bodies are as stiff as they were at the start."""
        state = self.usual.state
        mask, sample = self.bodies
        bodies = None if self.short else (mask.again(state), sample.again(state))
        return run_once(state, self.usual, bodies=bodies)

    @cached_property
    def rough(self) -> Outcome:
        """The typical outcome as those are that are compared with it."""
        return roughened_outcome(self.typical, self.usual)

    @property
    def near_buckling(self) -> bool:
        """Whether the membrane's thermal stress is no small share of what buckles it."""
        return 1 / self.typical.membrane.factor > NEAR

    @property
    def moved(self) -> bool:
        """Whether changed cases are expanded: a limit hangs on it, or much of the gap closes."""
        expansion, gap = self.typical.expansion, self.typical.scene.stack.layer("gap")
        assert expansion is not None  # of the typical case
        closes = -float(expansion.gap_change[0].min()) > NEAR * gap.thickness
        return closes or hangs_on_expansion(self.typical.scene.case)

    def changed(self, case: Case, key: str, far: bool = False) -> Outcome:
        """Outcome of a case in which the input `key` was changed.

        far : beyond what a range reaches, so that a changed mask is as near to buckling as it is
        """
        if key.endswith(ELASTIC):  # temperatures stay
            scene = replace(describe(case, self.still), gap_change=self.gap_change)
            state = replace(self.usual.state, scene=scene)
            course = replace(self.usual, state=state)
        else:
            course = self.heated(case)
            state = course.state
        same = state.meshed.is_like(self.usual.state.meshed)
        unchanged = untouched(case, key) if same else None
        stiff = same and is_as_stiff(key)
        same_bodies = tuple(n for n in BOTH if stiff or n == unchanged)
        motion = unchanged is not None or (same and not self.short and not key.endswith(ELASTIC))
        pushed = key.endswith(ELASTIC) and unchanged != "mask" and self.near_buckling
        pushed |= far and not (key and leaves_membrane(key))
        kept = Kept(self.typical, same_bodies, unchanged, motion, not pushed)
        return run_once(state, course, self.moved, kept)

    def heated(self, case: Case) -> Course:
        """Temperatures of a changed case; a settled one on an equal mesh warms up as before."""
        solver = Solver()  # of its own: runs may be made at once, in any order
        state = self._state(case, solver)
        if self.short:
            return over_exposure(course_of(state, solver))
        same = state.meshed.is_like(self.usual.state.meshed)
        return followed(self.usual, state, solver) if same else course_of(state, solver)

    def course(self, case: Case) -> Course:
        """How a changed case comes about."""
        solver = Solver()
        return course_of(self._state(case, solver), solver)

    def _state(self, case: Case, solver: Solver) -> State:
        """Limit cycle of a changed case; of few passes with the layers' properties as they are."""
        typical = self.usual.state
        scene = replace(describe(case, self.still), gap_change=self.gap_change)
        meshed = mesh(scene, coarse=True)
        before = typical if typical.meshed.is_like(meshed) else None
        layers = typical.layer_T if self.short else None
        return solve_state(scene, meshed, solver, before, layers, ROUGH)

    def fine(
        self, scene: Scene, meshed: Meshed, before: State | None = None
    ) -> tuple[State, Course]:
        """State on a finer mesh and how it comes about: but for short ones the coarse tells that.

        before : a state of nearly the same scene on an equal mesh, to start from
        """
        solver = Solver()
        if not self.short:
            return solve_state(scene, meshed, solver, before), self.usual
        layers = self.usual.state.layer_T
        state = solve_state(scene, meshed, solver, before, layers)
        course = over_exposure(course_of(state, solver))
        return course.state, course

    def change(self, after: Outcome) -> dict[str, float]:
        """Change of every known judged value against the typical case."""
        old, new = self.rough.values, after.values
        return {name: new[name] - old[name] for name in old if name in new}


def hangs_on_expansion(case: Case) -> bool:
    """Whether a limit of the case is one of placement."""
    limits = case.limits
    return any((limits.placement, limits.magnification, limits.blur))
