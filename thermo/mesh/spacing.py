"""Spacing of mesh lines: fine beside steps, coarser away from them."""

from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermo.case.nesting import SAME

Array = NDArray[np.float64]


def merged(places: ArrayLike, apart: float = SAME) -> Array:
    """Sorted places with those closer than `apart` (m) taken as one."""
    places = np.sort(np.asarray(places, float).ravel())
    keep = np.concatenate([[True], np.diff(places) > apart])
    return np.asarray(places[keep])


def graded(start: float, stop: float, first: float, largest: float, growth: float = 1.4) -> Array:
    """Lines from start to stop, cells of about `first` at both ends growing to `largest` (m)."""
    half = (stop - start) / 2
    sizes = [min(first, half)]
    while sum(sizes) < half * (1 - 1e-9):
        sizes.append(min(sizes[-1] * growth, largest))
    cells = np.array([*sizes, *reversed(sizes)])
    if len(sizes) == 1 and first >= 2 * half:
        cells = np.ones(1)
    lines = start + np.concatenate([[0], np.cumsum(cells)]) * (stop - start) / cells.sum()
    lines[-1] = stop
    return np.asarray(lines)


def lines_between(breaks: ArrayLike, first: float, largest: float) -> Array:
    """Lines through all breaks (m), graded between each two of them."""
    breaks = merged(breaks)
    parts = [graded(a, b, first, largest)[:-1] for a, b in pairwise(breaks)]
    return np.concatenate([*parts, breaks[-1:]])


def halved(lines: Array) -> Array:
    """The lines with one more in the middle of each cell."""
    return np.sort(np.concatenate([lines, (lines[:-1] + lines[1:]) / 2]))


def from_face(thickness: float, cells: int, ratio: float) -> Array:
    """Depths from the lit face that cut a layer into cells, each `ratio` times the one before."""
    sizes = ratio ** np.arange(cells)
    depths = thickness * np.concatenate([[0], np.cumsum(sizes)]) / sizes.sum()
    depths[-1] = thickness
    return np.asarray(depths)
