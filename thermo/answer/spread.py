"""How sure each judged value is: one-at-a-time re-solves over the inputs that carry a range.

    low  = value - sqrt(sum_i down_i^2),   high = value + sqrt(sum_i up_i^2)          (1)

down_i and up_i are the changes when input i goes to the end of its range that lowers or raises the
value, all others typical.  The changes are taken between runs on one coarser mesh, where its error
cancels, and added to the value on the fine one.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import hypot

import numpy as np

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
from thermo.answer.outcome import Kept, Outcome, roughened_outcome, run_once
from thermo.answer.scene import Meshed, Scene, describe, mesh
from thermo.answer.state import State, mean_state, solve_state
from thermo.case import Case, Range, ranges, with_value
from thermo.errors import CaseError
from thermo.solve import Solver, at_once

BODIES: tuple[Name, Name] = ("mask", "sample")
SMALL = 3e-3  # of a limit: a change that needs no second run to be known
ROUGH = 0.05  # K: error of the coarse mesh's limit cycles
ELASTIC = (  # inputs that heat does not feel
    "youngs_modulus",
    "poisson_ratio",
    "expansion",
    "tension",
    "measured_at",
    "mask.scale",
    "free_strain",
    "stiffness",
    "frame.joint.thickness",
)
NEAR = 0.25  # of buckling load or gap: from there on the spread of it is looked at
LIGHT_AND_GAS = ("ring.", "beam.", "scan.", "chamber.")  # rooms of no solid part
SAME_STIFFNESS = (  # inputs that leave shape and supports; stiffness but for E at temperature
    "conductivity",
    "expansion",
    "measured_at",
    "mask.scale",
    "free_strain",
    "resistance",
    "contact",
    "emissivity",
    "cooling",
    "film",
    "water",
)


@dataclass(frozen=True)
class Band:
    """Spread of one judged value: how far down and up, and the input that raises it most."""

    down: float
    up: float
    decider: str | None


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
        before = like.usual.state if like else None
        if before is not None and before.mean.shape != meshed.grid.shape:
            before = None
        start = mean_state(flat, meshed, self.solver, before)
        mask, sample = like.bodies if like else (make_body(start, n) for n in BODIES)
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
        same = state.mean.shape == self.usual.state.mean.shape
        unchanged = _untouched(case, key) if same else None
        stiff = same and is_as_stiff(key)
        same_bodies = tuple(n for n in BODIES if stiff or n == unchanged)
        motion = unchanged is not None or (same and not self.short and not key.endswith(ELASTIC))
        pushed = key.endswith(ELASTIC) and unchanged != "mask" and self.near_buckling
        pushed |= far and not (key and _leaves_membrane(key))
        kept = Kept(self.typical, same_bodies, unchanged, motion, not pushed)
        return run_once(state, course, self.moved, kept)

    def heated(self, case: Case) -> Course:
        """Temperatures of a changed case; a settled one on an equal mesh warms up as before."""
        solver = Solver()  # of its own: runs may be made at once, in any order
        state = self._state(case, solver)
        if self.short:
            return over_exposure(course_of(state, solver))
        same = state.mean.shape == self.usual.state.mean.shape
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
        before = typical if typical.mean.shape == meshed.grid.shape else None
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


def is_as_stiff(key: str) -> bool:
    """Whether an input leaves shape and supports of both bodies, and stiffness but with heat."""
    return key.startswith(LIGHT_AND_GAS) or key.endswith(SAME_STIFFNESS)


def _leaves_membrane(key: str) -> bool:
    """Whether an input changes a membrane's nearness to buckling by its heat alone."""
    if key == "mask.scale" or not key.startswith(("mask.", "materials.")):
        return True
    return is_as_stiff(key) and not key.endswith(ELASTIC)


def _untouched(case: Case, key: str) -> Name | None:
    """The body that an elastic input leaves alone, if it does so with one."""
    if not key.endswith(ELASTIC):
        return None
    mask, sample = case.mask, case.sample
    joint = mask.frame.joint.material if mask.frame.joint else None
    parts = (mask.membrane.material, mask.absorber.material, mask.frame.material)
    of_mask = {*parts, mask.frame.mount, joint}
    of_sample = {*(la.material for la in sample.layers), sample.joint.material}
    room, _, name = key.partition(".")
    stuff = name.rpartition(".")[0]
    if room == "sample" or (stuff in {*of_sample, sample.holder.material} and stuff not in of_mask):
        return "mask"
    if room == "mask" or (stuff in of_mask and stuff not in {*of_sample, sample.holder.material}):
        return "sample"
    return None


def hangs_on_expansion(case: Case) -> bool:
    """Whether a limit of the case is one of placement."""
    limits = case.limits
    return any((limits.placement, limits.magnification, limits.blur))


def spread_inputs(case: Case, elastic: bool) -> tuple[Range, ...]:
    """Inputs with a range that the judged values can feel; elastic ones only where asked for."""
    return tuple(r for r in ranges(case) if elastic or not r.key.endswith(ELASTIC))


@dataclass(frozen=True)
class Spread:
    """Band (1) of every judged value and sensor that is known.

    by_input : what each input's low and high end change, by its key
    """

    bands: Mapping[str, Band]
    by_input: Mapping[str, tuple[dict[str, float], ...]]


def spread_of(
    case: Case, runs: CoarseRuns, tell: Callable[[int, int], None] = lambda *_: None
) -> Spread:
    """Re-solve over every input that carries a range; tell(done, of) after each."""
    inputs = spread_inputs(case, runs.moved or runs.near_buckling)
    small = {line.name: SMALL * abs(line.limit) for line in runs.rough.judged}
    both = at_once(
        lambda one: _both_ends(case, one, runs, small), inputs, lambda n: tell(n, len(inputs))
    )
    ends = dict(zip((one.key for one in inputs), both, strict=True))
    down: dict[str, list[float]] = {}
    up: dict[str, list[tuple[float, str]]] = {}
    for key, (first, other) in ends.items():
        for name in first:
            changes = first[name], other.get(name, 0.0)
            down.setdefault(name, []).append(min(0.0, *changes))
            up.setdefault(name, []).append((max(0.0, *changes), key))
    return Spread({name: band_of(down[name], up[name]) for name in up}, ends)


def _both_ends(
    case: Case, one: Range, runs: CoarseRuns, small: Mapping[str, float]
) -> tuple[dict[str, float], dict[str, float]]:
    """What the low and the high end of an input change.

    Where the end that lies farther off hardly changes anything, the other is its share of that.
    """

    def change(end: float | str) -> dict[str, float]:
        return runs.change(runs.changed(with_value(case, one.key, end), one.key))

    low, value, high = one.low, one.value, one.high
    if isinstance(low, str) or isinstance(value, str) or isinstance(high, str):
        return change(low), change(high)
    first, last = sorted((low, high), key=lambda end: abs(end - value))
    far = change(last)
    if all(abs(far[name]) <= small.get(name, np.inf) for name in far):
        share = (first - value) / (last - value)
        near = {name: share * moved for name, moved in far.items()}
    else:
        near = change(first)
    return (near, far) if first == low else (far, near)


def band_of(down: Sequence[float], up: Sequence[tuple[float, str]]) -> Band:
    """Band (1) of what every input changes down and up, the latter with the input's key."""
    most, key = max(up)
    return Band(hypot(*down), hypot(*(rise for rise, _ in up)), key if most > 0 else None)


def try_setting(case: Case, key: str, value: float | str) -> Case | None:
    """The case with one setting changed, None where the case room refuses it."""
    try:
        return with_value(case, key, value)
    except CaseError:
        return None
