"""How sure each judged value is: one-at-a-time re-solves over the inputs that carry a range.

    low  = value - sqrt(sum_i down_i^2),   high = value + sqrt(sum_i up_i^2)          (1)

down_i and up_i are the changes when input i goes to the end of its range that lowers or raises the
value, all others typical.  The changes are taken between runs on one coarser mesh, where its error
cancels, and added to the value on the fine one.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import hypot

from thermo.answer.expansion import Expansion
from thermo.answer.outcome import Judged, Outcome, Regime, run_once
from thermo.answer.scene import describe, mesh
from thermo.answer.state import solve_state
from thermo.case import Case, Range, ranges, with_value
from thermo.errors import CaseError
from thermo.solve import Solver

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
    """Runs of nearly the same case on the coarse mesh, each starting from the first."""

    def __init__(self, case: Case, still: bool, regime: Regime, moved: bool) -> None:
        self.still, self.regime, self.moved = still, regime, moved
        self.solver = Solver()
        self.typical = self._run(case, None, None)

    def changed(self, case: Case, key: str) -> Outcome:
        """Outcome of a case in which the input `key` was changed."""
        kept = self.typical.expansion if key.endswith(SAME_STIFFNESS) else None
        return self._run(case, self.typical, kept)

    def change(self, after: Outcome) -> dict[str, float]:
        """Change of every known judged value against the typical case."""
        old, new = _values(self.typical.judged), _values(after.judged)
        return {name: new[name] - old[name] for name in old if name in new}

    def _run(self, case: Case, start: Outcome | None, kept: Expansion | None) -> Outcome:
        scene = describe(case, self.still)
        meshed = mesh(scene, coarse=True)
        before = start.state if start and start.state.mean.shape == meshed.grid.shape else None
        state = solve_state(scene, meshed, self.solver, before)
        same = kept if before is not None else None
        return run_once(state, self.regime, self.moved, same)


def _values(judged: tuple[Judged, ...]) -> dict[str, float]:
    return {line.name: line.value for line in judged if line.value is not None}


def spread_inputs(case: Case, moved: bool) -> tuple[Range, ...]:
    """Inputs with a range that the judged values can feel; elastic ones only with expansion."""
    return tuple(r for r in ranges(case) if moved or not r.key.endswith(ELASTIC))


def bands(
    case: Case, runs: CoarseRuns, tell: Callable[[int, int], None] = lambda *_: None
) -> Mapping[str, Band]:
    """Band (1) of every judged value that is known; tell(done, of) after each input."""
    inputs = spread_inputs(case, runs.moved)
    down: dict[str, list[float]] = {}
    up: dict[str, list[tuple[float, str]]] = {}
    for done, one in enumerate(inputs, 1):
        cases = [with_value(case, one.key, end) for end in (one.low, one.high)]
        ends = [runs.change(runs.changed(other, one.key)) for other in cases]
        for name in ends[0]:
            changes = [end.get(name, 0.0) for end in ends]
            down.setdefault(name, []).append(min(0.0, *changes))
            up.setdefault(name, []).append((max(0.0, *changes), one.key))
        tell(done, len(inputs))
    return {name: _band(down[name], up[name]) for name in up}


def _band(down: list[float], up: list[tuple[float, str]]) -> Band:
    most, key = max(up)
    return Band(hypot(*down), hypot(*(rise for rise, _ in up)), key if most > 0 else None)


def try_setting(case: Case, key: str, value: float | str) -> Case | None:
    """The case with one setting changed, None where the case room refuses it."""
    try:
        return with_value(case, key, value)
    except CaseError:
        return None
