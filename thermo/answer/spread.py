"""How sure each judged value is: one-at-a-time re-solves over the inputs that carry a range.

    low  = value - sqrt(sum_i down_i^2),   high = value + sqrt(sum_i up_i^2)          (1)

down_i and up_i are the changes when input i goes to the end of its range that lowers or raises the
value, all others typical.  The changes are taken between runs on one coarser mesh, where its error
cancels, and added to the value on the fine one.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.left_alone import ELASTIC
from thermo.case import Case, Range, ranges, with_value
from thermo.errors import CaseError
from thermo.solve import at_once

SMALL = 3e-3  # of a limit: a change that needs no second run to be known


@dataclass(frozen=True)
class Band:
    """Spread of one judged value: how far down and up, and the input that raises it most."""

    down: float
    up: float
    decider: str | None


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
