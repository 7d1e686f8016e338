"""How sure each judged value is: one-at-a-time re-solves over the inputs that carry a range.

    low  = value - sqrt(sum_i down_i^2),   high = value + sqrt(sum_i up_i^2)          (1)

down_i and up_i are the changes when input i goes to the end of its range that lowers or raises the
value, all others typical.  The changes are taken between runs on one coarser mesh, where its error
cancels, and added to the value on the fine one.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import hypot

from thermo.answer.course import (
    Course,
    course_of,
    is_short,
    over_exposure,
    settled_course,
    which_regime,
)
from thermo.answer.outcome import Outcome, run_once
from thermo.answer.scene import describe, mesh
from thermo.answer.state import State, solve_state
from thermo.case import Case, Range, ranges, with_value
from thermo.errors import CaseError
from thermo.solve import Solver

ROUGH = 0.05  # K: error of the coarse mesh's limit cycles
ELASTIC = ("youngs_modulus", "poisson_ratio", "expansion", "tension", "measured_at")  # not heat
SAME_STIFFNESS = (  # inputs that leave the bodies' shape, stiffness and supports as they are
    "conductivity",
    "expansion",
    "measured_at",
    "resistance",
    "pressure",
    "outer_film",
    "accommodation_mask",
    "accommodation_sample",
    "emissivity",
    "cooling",
    "film",
    "water",
    "current",
)


@dataclass(frozen=True)
class Band:
    """Spread of one judged value: how far down and up, and the input that raises it most."""

    down: float
    up: float
    decider: str | None


class CoarseRuns:
    """Runs of nearly the same case on the coarse mesh, each starting from the first.

    first : its limit cycle or steady state and how that comes about;  regime, why : what holds;
        short : worked out from cold
    usual, typical : the same with the regime's own state, which the others are compared with
    """

    def __init__(self, case: Case, still: bool) -> None:
        self.still, self.moved = still, still or case.scan is None
        self.solver = Solver()
        scene = describe(case, still)
        state = solve_state(scene, mesh(scene, coarse=True), self.solver, close=ROUGH)
        self.first = course_of(state, self.solver)
        self.regime, self.why = which_regime(self.first)
        self.short = is_short(self.first)
        self.usual = settled_course(self.first, self.solver)
        self.typical = run_once(self.usual.state, self.moved)

    def changed(self, case: Case, key: str) -> Outcome:
        """Outcome of a case in which the input `key` was changed."""
        state = self._state(case)
        if self.short:
            state = over_exposure(course_of(state, self.solver)).state
        same = state.mean.shape == self.typical.state.mean.shape
        kept = self.typical.expansion if same and key.endswith(SAME_STIFFNESS) else None
        return run_once(state, self.moved, kept)

    def course(self, case: Case) -> Course:
        """How a changed case comes about."""
        return course_of(self._state(case), self.solver)

    def _state(self, case: Case) -> State:
        """Limit cycle of a changed case; of few passes with the layers' properties as they are."""
        scene, typical = describe(case, self.still), self.typical.state
        meshed = mesh(scene, coarse=True)
        before = typical if typical.mean.shape == meshed.grid.shape else None
        layers = typical.layer_T if self.short else None
        return solve_state(scene, meshed, self.solver, before, layers, ROUGH)

    def change(self, after: Outcome) -> dict[str, float]:
        """Change of every known judged value against the typical case."""
        old, new = self.typical.values, after.values
        return {name: new[name] - old[name] for name in old if name in new}


def spread_inputs(case: Case, moved: bool) -> tuple[Range, ...]:
    """Inputs with a range that the judged values can feel; elastic ones only with expansion."""
    return tuple(r for r in ranges(case) if moved or not r.key.endswith(ELASTIC))


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
    inputs = spread_inputs(case, runs.moved)
    ends: dict[str, tuple[dict[str, float], ...]] = {}
    for done, one in enumerate(inputs, 1):
        cases = [with_value(case, one.key, end) for end in (one.low, one.high)]
        ends[one.key] = tuple(runs.change(runs.changed(other, one.key)) for other in cases)
        tell(done, len(inputs))
    down: dict[str, list[float]] = {}
    up: dict[str, list[tuple[float, str]]] = {}
    for key, (first, other) in ends.items():
        for name in first:
            changes = first[name], other.get(name, 0.0)
            down.setdefault(name, []).append(min(0.0, *changes))
            up.setdefault(name, []).append((max(0.0, *changes), key))
    return Spread({name: _band(down[name], up[name]) for name in up}, ends)


def _band(down: list[float], up: list[tuple[float, str]]) -> Band:
    most, key = max(up)
    return Band(hypot(*down), hypot(*(rise for rise, _ in up)), key if most > 0 else None)


def try_setting(case: Case, key: str, value: float | str) -> Case | None:
    """The case with one setting changed, None where the case room refuses it."""
    try:
        return with_value(case, key, value)
    except CaseError:
        return None
