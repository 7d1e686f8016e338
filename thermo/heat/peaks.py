"""Highest and lowest temperature of every node over a limit cycle, and when.

The series is summed at even times by a fast Fourier transform, block by block so that memory stays
bounded.  A node is hottest after the up pass or after the down pass, and both may come close: the
highest samples of both halves of the period are refined on their own, each by the quartic through
the five samples about it, and the higher is taken.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft

from thermo.heat.cycle import Cycle
from thermo.solve import compiled

Array = NDArray[np.float64]
Course = NDArray[np.float32]
Cuts = tuple[int, int]
NONE = (-1, -1)
Change = Callable[[slice, Course], Course]
SAMPLES = 512  # a period at least
PER_HARMONIC = 3.5  # samples a period of the highest harmonic at least
BLOCK_BYTES = 8_000_000
NEWTON = 4  # steps to the top of the quartic; two suffice


@dataclass(frozen=True)
class Extremes:
    """Over the cycle, fields (nodes, levels): rises in K and times in s.

    peak, when : highest and when it is reached;  lowest
    """

    peak: Array
    when: Array
    lowest: Array


def samples_of(cycle: Cycle) -> int:
    """Times a period at which the series is summed: a power of two."""
    samples = SAMPLES
    while samples < PER_HARMONIC * len(cycle.X):
        samples *= 2
    return samples


def extremes(
    cycle: Cycle, change: Change | None = None, halves: int = 2, cuts: Cuts = NONE
) -> Extremes:
    """Highest and lowest rise of every node over the cycle.

    change : what else acts on a block of nodes: from (nodes, course) to the course to be looked at,
        both (samples, nodes, levels)
    halves : 1 looks for the highest in the first half of the period only
    cuts : samples before which the changed course jumps: nothing is refined across them
    """
    count, nodes, levels = cycle.X.shape
    samples = samples_of(cycle)
    step = max(1, BLOCK_BYTES // (4 * samples * levels))
    found = np.zeros((3, nodes, levels))
    for first in range(0, nodes, step):
        own = slice(first, min(first + step, nodes))
        series = np.zeros((samples // 2 + 1, own.stop - first, levels), np.complex64)
        series[0] = cycle.mean[own]
        series[1 : count + 1] = cycle.X[:, own]
        course: Course = np.asarray(
            irfft(series, samples, axis=0, norm="forward", overwrite_x=True), np.float32
        )
        if change is not None:
            course = change(own, course)
        highest_and_lowest(course.reshape(samples, -1), halves, cuts, found[:, own].reshape(3, -1))
    peak, when, lowest = found
    return Extremes(peak, when * cycle.period / samples, lowest)


@compiled
def highest_and_lowest(course: NDArray[np.float32], halves: int, cuts: Cuts, found: Array) -> None:
    """found = highest, its place in samples, lowest of each column of course (samples, columns)."""
    samples, columns = course.shape
    half = samples // 2
    tops = np.zeros((3, columns), np.int32)  # highest of both halves of the period, lowest of all
    best = np.empty(columns, np.float32)
    for k in range(3):
        first, last, sign = (0, samples, -1) if k == 2 else (k * half, (k + 1) * half, 1)
        best[:] = -np.inf
        for i in range(first, last):
            for j in range(columns):
                value = sign * course[i, j]
                better = value > best[j]
                best[j] = value if better else best[j]
                tops[k, j] = i if better else tops[k, j]
    for j in range(columns):
        first, where = top_of(course, tops[0, j], j, 1.0, cuts)
        second, later = top_of(course, tops[1, j], j, 1.0, cuts)
        if halves == 2 and second > first:
            first, where = second, later
        found[0, j] = first
        found[1, j] = where % samples
        found[2, j] = -top_of(course, tops[2, j], j, -1.0, cuts)[0]


@compiled
def top_of(
    course: NDArray[np.float32], i: int, j: int, sign: float, cuts: Cuts
) -> tuple[float, float]:
    """Top of the quartic through the samples i - 2 to i + 2 of column j, and its place."""
    n = len(course)
    for cut in cuts:
        if cut >= 0 and (i + 2 - cut) % n < 4:
            return sign * float(course[i, j]), float(i)
    a, b = sign * float(course[i - 2, j]), sign * float(course[i - 1, j])
    c = sign * float(course[i, j])
    d, e = sign * float(course[(i + 1) % n, j]), sign * float(course[(i + 2) % n, j])
    c1 = (a - 8 * b + 8 * d - e) / 12
    c2 = (-a + 16 * b - 30 * c + 16 * d - e) / 24
    c3 = (-a + 2 * b - 2 * d + e) / 12
    c4 = (a - 4 * b + 6 * c - 4 * d + e) / 24
    s = 0.0
    for _ in range(NEWTON):
        bend = 2 * c2 + 6 * c3 * s + 12 * c4 * s * s
        if not bend < 0:
            return c, float(i)
        s -= (c1 + 2 * c2 * s + 3 * c3 * s * s + 4 * c4 * s**3) / bend
        if not abs(s) <= 1:
            return c, float(i)
    return c + s * (c1 + s * (c2 + s * (c3 + s * c4))), i + s
