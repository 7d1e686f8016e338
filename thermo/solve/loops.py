"""Compiled loops over the plan nodes and down the lines through the layers.

A nodal field is (nodes, levels): the levels of one node lie side by side in memory, so that a loop
over them runs in the processor's vector units and one neighbour is looked up once for all levels.
Node i has the neighbours `neighbour[start[i]:start[i + 1]]`, ascending, over the plan edges
`edge[...]`; the arrays of an operator are explained in `operator.py`.
"""

from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

QUICK = {"contract", "arcp", "nsz"}  # multiply-add in one step; nan stays nan
Args = ParamSpec("Args")
Out = TypeVar("Out")
Values = NDArray[Any]  # real or complex, single or double
Index = NDArray[np.int32]


def compiled(loop: Callable[Args, Out]) -> Callable[Args, Out]:
    """The loop compiled when first called, kept on disk for the next run where there is room."""
    try:
        made = njit(cache=True, fastmath=QUICK)(loop)
    except RuntimeError:  # no folder that can be written
        made = njit(fastmath=QUICK)(loop)
    return cast(Callable[Args, Out], made)


@compiled
def times(
    start: Index,
    neighbour: Index,
    edge: Index,
    side: Values,
    link: Values,
    loss: Values,
    x: Values,
    y: Values,
) -> None:
    """y = K x, written with differences so that a constant loses nothing but through `loss`."""
    nodes, levels = x.shape
    for i in range(nodes):
        for z in range(levels):
            y[i, z] = loss[i, z] * x[i, z]
        for z in range(levels - 1):
            flow = link[i, z] * (x[i, z] - x[i, z + 1])
            y[i, z] += flow
            y[i, z + 1] -= flow
        for k in range(start[i], start[i + 1]):
            j, e = neighbour[k], edge[k]
            for z in range(levels):
                y[i, z] += side[e, z] * (x[i, z] - x[j, z])


@compiled
def add_cross(
    start: Index, neighbour: Index, edge: Index, cross: Values, x: Values, y: Values
) -> None:
    """y += the part of K x that couples a node with the neighbours' levels above and below."""
    nodes, levels = x.shape
    for i in range(nodes):
        for k in range(start[i], start[i + 1]):
            j, e = neighbour[k], edge[k]
            for z in range(levels - 1):
                y[i, z] += cross[e, z] * (x[i, z] - x[j, z + 1])
                y[i, z + 1] += cross[e, z] * (x[i, z + 1] - x[j, z])


@compiled
def factor_lines(
    start: Index,
    edge: Index,
    side: Values,
    link: Values,
    loss: Values,
    ratio: Values,
    pivot: Values,
) -> bool:
    """Factors of every line's tridiagonal part T = L D L^T: `pivot` holds 1/D, `ratio` -L.

    What leaves a node other than down the line is carried from level to level as a sum of
    positive numbers, never as a difference of large ones: a micrometre of metal (1e8 W/(m2 K)
    across) then hides no film of 10 W/(m2 K), not even in single precision.
    Returns False where a pivot is not positive.
    """
    nodes, levels = loss.shape
    leaves = loss[0].copy()
    for i in range(nodes):
        for z in range(levels):
            leaves[z] = loss[i, z]
        for k in range(start[i], start[i + 1]):
            for z in range(levels):
                leaves[z] += side[edge[k], z]
        rest = leaves[0] * 0
        for z in range(levels):
            rest = rest + leaves[z]
            d = rest + link[i, z]
            if d == 0:  # nothing there
                d = d + 1
            if not d.real > 0:
                return False
            pivot[i, z] = 1 / d
            ratio[i, z] = link[i, z] / d
            rest = rest * (link[i, z] / d)
    return True


@compiled
def solve_line(i: int, ratio: Values, pivot: Values, y: Values, x: Values) -> None:
    """x[i] = T^-1 y for the line of node i; y is spent."""
    levels = len(y)
    for z in range(1, levels):
        y[z] += ratio[i, z - 1] * y[z - 1]
    x[i, levels - 1] = y[levels - 1] * pivot[i, levels - 1]
    for z in range(levels - 2, -1, -1):
        x[i, z] = y[z] * pivot[i, z] + ratio[i, z] * x[i, z + 1]


@compiled
def sweep_down_from_zero(
    start: Index,
    neighbour: Index,
    edge: Index,
    side: Values,
    ratio: Values,
    pivot: Values,
    b: Values,
    x: Values,
) -> None:
    """Gauss-Seidel over the lines in ascending order, from x = 0."""
    nodes, levels = b.shape
    y = b[0].copy()
    for i in range(nodes):
        for z in range(levels):
            y[z] = b[i, z]
        for k in range(start[i], start[i + 1]):
            j, e = neighbour[k], edge[k]
            if j > i:
                break
            for z in range(levels):
                y[z] += side[e, z] * x[j, z]
        solve_line(i, ratio, pivot, y, x)


@compiled
def restrict_residual(
    start: Index,
    neighbour: Index,
    edge: Index,
    side: Values,
    x: Values,
    p_start: Index,
    p_node: Index,
    p_share: Values,
    coarse: Values,
) -> None:
    """coarse = P^T (b - K x) after `sweep_down_from_zero`: only later neighbours are left in it."""
    nodes, levels = x.shape
    r = x[0].copy()
    coarse[:] = 0
    for i in range(nodes):
        r[:] = 0
        for k in range(start[i + 1] - 1, start[i] - 1, -1):
            j, e = neighbour[k], edge[k]
            if j < i:
                break
            for z in range(levels):
                r[z] += side[e, z] * x[j, z]
        for k in range(p_start[i], p_start[i + 1]):
            for z in range(levels):
                coarse[p_node[k], z] += p_share[k] * r[z]


@compiled
def add_prolonged(
    p_start: Index, p_node: Index, p_share: Values, coarse: Values, x: Values
) -> None:
    """x += P coarse."""
    nodes, levels = x.shape
    for i in range(nodes):
        for k in range(p_start[i], p_start[i + 1]):
            for z in range(levels):
                x[i, z] += p_share[k] * coarse[p_node[k], z]


@compiled
def sweep_up(
    start: Index,
    neighbour: Index,
    edge: Index,
    side: Values,
    ratio: Values,
    pivot: Values,
    b: Values,
    x: Values,
) -> None:
    """Gauss-Seidel over the lines in descending order."""
    nodes, levels = b.shape
    y = b[0].copy()
    for i in range(nodes - 1, -1, -1):
        for z in range(levels):
            y[z] = b[i, z]
        for k in range(start[i], start[i + 1]):
            j, e = neighbour[k], edge[k]
            for z in range(levels):
                y[z] += side[e, z] * x[j, z]
        solve_line(i, ratio, pivot, y, x)


@compiled
def product(u: Values, v: Values) -> Any:
    """Sum of u v, not conjugated; a sum for each level first, for the vector units and rounding."""
    nodes, levels = u.shape
    sums = u[0] * v[0]
    for i in range(1, nodes):
        for z in range(levels):
            sums[z] += u[i, z] * v[i, z]
    return sums.sum()


@compiled
def turn(p: Values, z: Values, share: Any) -> None:
    """p = z + share p: the next direction of conjugate gradients."""
    nodes, levels = p.shape
    for i in range(nodes):
        for k in range(levels):
            p[i, k] = z[i, k] + share * p[i, k]


@compiled
def advance(
    step: Any, p: Values, Kp: Values, x: Values, r: Values, scale: float, scaled: Values
) -> float:
    """x += step p, r -= step Kp, scaled = scale r in single precision; returns |r|."""
    nodes, levels = p.shape
    sums = np.zeros(levels)
    for i in range(nodes):
        for z in range(levels):
            x[i, z] += step * p[i, z]
            r[i, z] -= step * Kp[i, z]
            scaled[i, z] = scale * r[i, z]
            sums[z] += r[i, z].real ** 2 + r[i, z].imag ** 2
    return float(np.sqrt(sums.sum()))


@compiled
def root_of(parent: NDArray[np.int64], i: int) -> int:
    """The first of the part that i belongs to; paths are shortened on the way."""
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@compiled
def join_parts(parent: NDArray[np.int64], ends: Index, side: Values, link: Values) -> None:
    """Unite all unknowns that conduct to each other; parent[i] becomes the first of i's part."""
    nodes, levels = link.shape
    for i in range(nodes):
        for z in range(levels - 1):
            if link[i, z] != 0:
                a, b = root_of(parent, i * levels + z), root_of(parent, i * levels + z + 1)
                parent[max(a, b)] = min(a, b)
    for e in range(ends.shape[1]):
        for z in range(levels):
            if side[e, z] != 0:
                a = root_of(parent, ends[0, e] * levels + z)
                b = root_of(parent, ends[1, e] * levels + z)
                parent[max(a, b)] = min(a, b)
    for i in range(len(parent)):
        parent[i] = root_of(parent, i)
