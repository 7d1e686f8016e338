"""Moments of a scan: rules of quadrature in time, a log's cycles and its time in each interval.

A mean over the time of a periodic motion becomes a sum over moments with shares of the time,

    (1/T_p) int f(y_b(t), t/T_p) dt = sum_k share_k f(place_k, phase_k)               (1)
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.beam.quadrature import gauss_legendre

Array = NDArray[np.float64]
AWAY = 1 / 8  # share of the stroke beyond its middle at which a way counts as begun
PANEL = 64  # points of a quadrature rule; more places are made of several panels


@dataclass(frozen=True, eq=False)
class Moments:
    """Moments of an up-and-down cycle, equation (1).

    place : of the stripe, m, (cycles, moments): several cycles are looked at in equal phase
    phase : time since the start of the cycle over its period, 0 to 1, (moments,)
    share : of time, (cycles, moments), together 1
    mirrored : the way back is the way up backwards; only the way up is given, phases up to 1/2
    """

    place: Array
    phase: Array
    share: Array
    mirrored: bool


def gauss_panels(count: int) -> tuple[Array, Array]:
    """Gauss-Legendre points in (-1, 1) and weights, in panels where there are many."""
    panels = -(-count // PANEL)
    x, w = gauss_legendre(-(-count // panels))
    middle = (2 * np.arange(panels) + 1) / panels - 1
    return (middle[:, None] + x / panels).ravel(), np.tile(w / panels, panels)


def cycle_bounds(time: Array, place: Array) -> Array:
    """Times at which the cycles of a log start, and the end of the last one, s.

    time, place : rows of the log, s and shares of the stroke from its middle; first row at a turn

    All but the first lie as far apart as the moments at which the stripe has set out and is an
    eighth of the stroke beyond the middle: jitter and rests at the turns do not move them.
    """
    out = -np.sign(place[0]) * place - AWAY
    sides = np.flatnonzero((out > 0) | (out < -2 * AWAY))
    row = sides[1:][(out[sides[1:]] > 0) & (out[sides[:-1]] < 0)]
    before = out[row - 1] / (out[row - 1] - out[row])
    passed = time[row - 1] + before * (time[row] - time[row - 1])
    return np.concatenate([time[0] + passed - passed[0], time[-1:]])


def time_within(time: Array, place: Array, edges: Array) -> tuple[Array, Array, Array]:
    """Time in each interval, s, and first and second moment of y - its middle, m s and m2 s."""
    count, middle, width = len(edges) - 1, (edges[:-1] + edges[1:]) / 2, np.diff(edges)
    low, high = np.minimum(place[:-1], place[1:]), np.maximum(place[:-1], place[1:])
    a, b = np.clip(low, edges[0], edges[-1]), np.clip(high, edges[0], edges[-1])
    inside = ((low >= edges[0]) & (low <= edges[-1])).astype(float)  # for rows at rest
    spent = np.diff(time) * np.divide(b - a, high - low, out=inside, where=high > low)
    rate = np.divide(spent, b - a, out=np.zeros_like(a), where=b > a)
    first = np.clip(np.searchsorted(edges, a, "right") - 1, 0, count - 1)
    last = np.clip(np.searchsorted(edges, b, "left") - 1, first, count - 1)
    more, far = last > first, last > first + 1
    stop = np.where(more, edges[first + 1], b)
    pieces = (
        (first, a, stop, np.where(more, rate * (stop - a), spent)),
        (last[more], edges[last[more]], b[more], (rate * (b - edges[last]))[more]),
    )
    across = np.bincount(first[far] + 1, rate[far], count) - np.bincount(
        last[far], rate[far], count
    )
    total = np.clip(across.cumsum(), 0, None) * width
    moments = [total, np.zeros(count), total * width**2 / 12]
    for interval, lower, upper, t in pieces:
        u, w = lower - middle[interval], upper - middle[interval]
        for k, value in enumerate((1.0, (u + w) / 2, (u**2 + u * w + w**2) / 3)):
            moments[k] += np.bincount(interval, t * value, count)
    return moments[0], moments[1], moments[2]
