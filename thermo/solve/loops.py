"""Compiled loops over the plan nodes and down the lines through the layers.

A nodal field is (nodes, levels): the levels of one node lie side by side in memory, so that a loop
over them runs in the processor's vector units and one neighbour is looked up once for all levels.
In a multigrid cycle a complex field is (nodes, parts, levels), real and imaginary part apart, for
the same reason; a real one has one part.
Node i has the neighbours `neighbour[start[i]:start[i + 1]]`, ascending, over the plan edges
`edge[...]`; the arrays of an operator are explained in `operator.py`.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermo.solve.compiled import Index, Values, compiled
from thermo.solve.lines import solve_line


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
    nodes, parts, levels = b.shape
    y = np.empty((parts, levels), b.dtype)
    for i in range(nodes):
        y[:] = b[i]
        for k in range(start[i], start[i + 1]):
            j, e = neighbour[k], edge[k]
            if j > i:
                break
            for c in range(parts):
                for z in range(levels):
                    y[c, z] += side[e, z] * x[j, c, z]
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
    nodes, parts, levels = x.shape
    r = np.empty((parts, levels), x.dtype)
    coarse[:] = 0
    for i in range(nodes):
        r[:] = 0
        for k in range(start[i + 1] - 1, start[i] - 1, -1):
            j, e = neighbour[k], edge[k]
            if j < i:
                break
            for c in range(parts):
                for z in range(levels):
                    r[c, z] += side[e, z] * x[j, c, z]
        for k in range(p_start[i], p_start[i + 1]):
            for c in range(parts):
                for z in range(levels):
                    coarse[p_node[k], c, z] += p_share[k] * r[c, z]


@compiled
def add_prolonged(
    p_start: Index, p_node: Index, p_share: Values, coarse: Values, x: Values
) -> None:
    """x += P coarse."""
    nodes, parts, levels = x.shape
    for i in range(nodes):
        for k in range(p_start[i], p_start[i + 1]):
            for c in range(parts):
                for z in range(levels):
                    x[i, c, z] += p_share[k] * coarse[p_node[k], c, z]


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
    nodes, parts, levels = b.shape
    y = np.empty((parts, levels), b.dtype)
    for i in range(nodes - 1, -1, -1):
        y[:] = b[i]
        for k in range(start[i], start[i + 1]):
            j, e = neighbour[k], edge[k]
            for c in range(parts):
                for z in range(levels):
                    y[c, z] += side[e, z] * x[j, c, z]
        solve_line(i, ratio, pivot, y, x)


@compiled
def part(x: Values, parts: Values) -> None:
    """Real and imaginary part of x (nodes, levels) to parts (nodes, 2, levels)."""
    nodes, levels = x.shape
    for i in range(nodes):
        for z in range(levels):
            parts[i, 0, z] = x[i, z].real
            parts[i, 1, z] = x[i, z].imag


@compiled
def join(parts: Values, x: Values) -> None:
    """x (nodes, levels) from its real and imaginary part (nodes, 2, levels)."""
    nodes, levels = x.shape
    for i in range(nodes):
        for z in range(levels):
            x[i, z] = complex(parts[i, 0, z], parts[i, 1, z])


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
def largest(x: Values) -> float:
    """Largest |x|; nan where one is."""
    nodes, levels = x.shape
    most = 0.0
    for i in range(nodes):
        for z in range(levels):
            square = x[i, z].real ** 2 + x[i, z].imag ** 2
            if not square <= most:
                most = square
    return float(np.sqrt(most))


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
