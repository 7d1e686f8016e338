"""Compiled loops down one line through the layers: factors of its tridiagonal part, and its solve.

Lines are eliminated from both ends towards the middle: two chains that do not wait for each other
take half the time of one.  Factors are (nodes, parts, levels), real and imaginary part apart.
"""

from typing import Any

import numpy as np

from thermo.solve.compiled import Index, Values, compiled


@compiled
def keep(to: Values, i: int, z: int, value: Any) -> None:
    """Write a real or complex number to the parts of an array (nodes, parts, levels)."""
    to[i, 0, z] = value.real
    if to.shape[1] == 2:
        to[i, 1, z] = value.imag


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
    """Factors of every line: `pivot` 1/D, `ratio` the share that the next level inwards takes over.

    What leaves a node other than along the line is carried from level to level as a sum of
    positive numbers, never as a difference of large ones: a micrometre of metal (1e8 W/(m2 K)
    across) then hides no film of 10 W/(m2 K), not even in single precision.
    Returns False where a pivot is not positive.
    """
    nodes, levels = loss.shape
    middle = levels // 2
    leaves = loss[0].copy()
    for i in range(nodes):
        for z in range(levels):
            leaves[z] = loss[i, z]
        for k in range(start[i], start[i + 1]):
            for z in range(levels):
                leaves[z] += side[edge[k], z]
        for first, inwards in ((0, 1), (levels - 1, -1)):
            rest = leaves[0] * 0
            for z in range(first, middle, inwards):
                rest = rest + leaves[z]
                tie = link[i, min(z, z + inwards)]
                d = rest + tie
                if d == 0:  # nothing there
                    d = d + 1
                if not d.real > 0:
                    return False
                inverse = np.conj(d) * (1 / (d.real * d.real + d.imag * d.imag))
                keep(pivot, i, z, inverse)
                keep(ratio, i, z, tie * inverse)
                rest = rest * (tie * inverse)
            leaves[middle] += rest
        d = leaves[middle]
        if d == 0:
            d = d + 1
        if not d.real > 0:
            return False
        keep(pivot, i, middle, np.conj(d) * (1 / (d.real * d.real + d.imag * d.imag)))
    return True


@compiled
def solve_line(i: int, ratio: Values, pivot: Values, y: Values, x: Values) -> None:
    """x[i] = T^-1 y for the line of node i; y (parts, levels) is spent."""
    if y.shape[0] == 1:
        solve_real_line(ratio[i, 0], pivot[i, 0], y[0], x[i, 0])
    else:
        solve_complex_line(ratio[i], pivot[i], y, x[i])


@compiled
def solve_real_line(ratio: Values, pivot: Values, y: Values, x: Values) -> None:
    """The same for one real line."""
    levels = len(y)
    middle, last = levels // 2, levels - 1
    upper, lower = y[0], y[last]
    for z in range(1, middle):
        upper = y[z] + ratio[z - 1] * upper
        y[z] = upper
        k = last - z
        if k > middle:
            lower = y[k] + ratio[k + 1] * lower
            y[k] = lower
    if middle > 0:
        y[middle] += ratio[middle - 1] * upper
    if last > middle:
        y[middle] += ratio[middle + 1] * lower
    for z in range(levels):
        y[z] *= pivot[z]
    upper = lower = x[middle] = y[middle]
    for step in range(1, middle + 1):
        z = middle - step
        upper = y[z] + ratio[z] * upper
        x[z] = upper
        k = middle + step
        if k <= last:
            lower = y[k] + ratio[k] * lower
            x[k] = lower


@compiled
def solve_complex_line(ratio: Values, pivot: Values, y: Values, x: Values) -> None:
    """The same for one complex line, arrays (2, levels); plain real products, no complex type."""
    levels = y.shape[1]
    middle, last = levels // 2, levels - 1
    u, v = y[0, 0], y[1, 0]
    p, q = y[0, last], y[1, last]
    for z in range(1, middle):
        a, b = ratio[0, z - 1], ratio[1, z - 1]
        u, v = y[0, z] + a * u - b * v, y[1, z] + a * v + b * u
        y[0, z], y[1, z] = u, v
        k = last - z
        if k > middle:
            a, b = ratio[0, k + 1], ratio[1, k + 1]
            p, q = y[0, k] + a * p - b * q, y[1, k] + a * q + b * p
            y[0, k], y[1, k] = p, q
    if middle > 0:
        a, b = ratio[0, middle - 1], ratio[1, middle - 1]
        y[0, middle] += a * u - b * v
        y[1, middle] += a * v + b * u
    if last > middle:
        a, b = ratio[0, middle + 1], ratio[1, middle + 1]
        y[0, middle] += a * p - b * q
        y[1, middle] += a * q + b * p
    for z in range(levels):
        a, b = pivot[0, z], pivot[1, z]
        u, v = y[0, z], y[1, z]
        y[0, z] = a * u - b * v
        y[1, z] = a * v + b * u
    u, v = y[0, middle], y[1, middle]
    p, q = u, v
    x[0, middle], x[1, middle] = u, v
    for step in range(1, middle + 1):
        z = middle - step
        a, b = ratio[0, z], ratio[1, z]
        u, v = y[0, z] + a * u - b * v, y[1, z] + a * v + b * u
        x[0, z], x[1, z] = u, v
        k = middle + step
        if k <= last:
            a, b = ratio[0, k], ratio[1, k]
            p, q = y[0, k] + a * p - b * q, y[1, k] + a * q + b * p
            x[0, k], x[1, k] = p, q
