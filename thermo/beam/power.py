"""Absorbed power as a function of place in the stack, averaged over the scan.

A place belongs to a column: the layers that lie above each other there.  Columns with absorber
and without are mixed by the pattern's coverage.  Over the lit width the beam is even in x; in y
each interval of depth has its own vertical profile, averaged over the time the stripe spends at
each place.

The plane is cut into strips along x of even mean power and bands along y of even coverage; a cell
takes its area in each.  So every cell of a plan is counted whole, and what no cell covers, beside.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.beam.absorption import ColumnHeat, Piece, column_heat
from thermo.beam.motion import mean_over_scan
from thermo.beam.white import WhiteBeam
from thermo.case.stack import Stack
from thermo.errors import SolveError

Array = NDArray[np.float64]
Index = NDArray[np.int64]
STRIPS = 8  # strips over the stripe's height at half maximum where cells are no rectangles
ONE = 1e-9  # m: places closer than that are one
BOOK = 1e-6  # power that may be lost in the book-keeping, share of what reaches the mask


@dataclass(frozen=True)
class AbsorbedPower:
    """Heat of the whole stack and where the rest goes, scan mean, W.

    heat : (slabs, cells) in the cells asked for
    escaped, transmitted : in the columns of the cells;  beside : what misses all cells
    incident : what reaches the mask over the lit width
    """

    heat: Array
    escaped: float
    transmitted: float
    beside: float
    incident: float

    @property
    def balance(self) -> float:
        """Power lost in the book-keeping, share of the incident power."""
        found = self.heat.sum() + self.escaped + self.transmitted + self.beside
        return abs(float(found) - self.incident) / self.incident


@dataclass(frozen=True)
class LitColumn:
    """Cells with the same layers above each other, with absorber or without.

    width : lit width of each of the cells in each strip, m, (cells, strips)
    heat : W/m by ray in every slab, (slabs, heights);  passing : that escapes and passes, by ray
    """

    cells: Index
    width: sparse.csr_array
    heat: Array
    passing: Array


def column_pieces(
    stack: Stack, present: Sequence[bool], covered: bool, cuts: Sequence[Array]
) -> list[Piece]:
    """What the beam meets where the given layers are present, with or without absorber."""
    return [
        Piece(layer.name, layer.material, depths)
        for layer, here, depths in zip(stack.layers, present, cuts, strict=True)
        if here and not layer.is_contact and (covered or layer.name != "absorber")
    ]


def column_profiles(
    stack: Stack, beam: WhiteBeam, present: Sequence[bool], covered: bool, cuts: Sequence[Array]
) -> tuple[Array, ColumnHeat]:
    """Heat by ray in every slab of the stack, W/m, (slabs, heights); zero where nothing absorbs."""
    column = column_heat(beam, column_pieces(stack, present, covered, cuts))
    heat = dict(zip(column.names, column.heat, strict=True))
    empty = len(beam.height)
    rows = [
        heat.get(layer.name, np.zeros((len(depths) - 1, empty)))
        for layer, depths in zip(stack.layers, cuts, strict=True)
    ]
    return np.concatenate(rows), column


def absorbed_power(
    stack: Stack,
    beam: WhiteBeam,
    places: tuple[Array, Array],
    cuts: Sequence[Array],
    present: NDArray[np.bool_],
    corners: Array,
) -> AbsorbedPower:
    """Scan-mean heat in cells of a plan; raises SolveError when the power does not add up.

    places : places of the stripe and shares of time
    cuts : depths that cut each layer into slabs, m
    present : (layers, cells) where each layer is present
    corners : of each cell, counter-clockwise, m, (2, 4, cells), not overlapping
    """
    edges, columns, met = lit_columns(stack, beam, cuts, present, corners)
    found = np.zeros((sum(len(c) - 1 for c in cuts) + 2, corners.shape[2]))
    for column in columns:
        profiles = np.vstack([column.heat, column.passing])
        found[:, column.cells] += (column.width @ _mean(beam, profiles, places, edges).T).T
    incident = beam.on_mask * stack.lit_width
    beside = incident - float((met @ _mean(beam, beam.power.sum(1)[None], places, edges)[0]).sum())
    power = AbsorbedPower(
        found[:-2], float(found[-2].sum()), float(found[-1].sum()), beside, incident
    )
    if not power.balance <= BOOK:
        raise SolveError(f"absorbed power is off by {power.balance:.1e}, allowed {BOOK:.0e}")
    if not beside >= -BOOK * incident:
        raise SolveError(f"cells overlap: they meet {1 - beside / incident:.4g} times the beam")
    return power


def lit_columns(
    stack: Stack,
    beam: WhiteBeam,
    cuts: Sequence[Array],
    present: NDArray[np.bool_],
    corners: Array,
) -> tuple[Array, list[LitColumn], sparse.csr_array]:
    """Edges of strips along x (m), what is lit in them, and the lit width of all cells in each.

    Arguments as those of `absorbed_power`.
    """
    edges = _strips(beam, stack, corners)
    open_, dark = _lit_widths(stack, edges, corners)
    kinds, kind = np.unique(present, axis=1, return_inverse=True)
    found = []
    for number, layers in enumerate(kinds.T):
        for covered, width in ((False, open_), (True, dark)):
            own = np.flatnonzero((kind.ravel() == number) & (width.sum(1) > ONE))
            if len(own):
                heat, column = column_profiles(stack, beam, layers, covered, cuts)
                passing = np.vstack([column.escaped, column.transmitted])
                found.append(LitColumn(own, width[own], heat, passing))
    return edges, found, open_ + dark


def _mean(beam: WhiteBeam, profiles: Array, places: tuple[Array, Array], edges: Array) -> Array:
    return mean_over_scan(beam.height, profiles, places, edges)


def _strips(beam: WhiteBeam, stack: Stack, corners: Array) -> Array:
    """Edges of strips along x in which the mean power is taken as even, m, rising.

    Those of rectangles, which are made of whole strips, so that their heat is exact; steps of the
    pattern; and, where there are other cells, enough to follow the stripe.
    """
    x, y = corners
    upright = (x == np.roll(x, 1, 0)) | (y == np.roll(y, 1, 0))  # sides along x or y
    boxes = upright.all(0)
    steps = stack.pattern.steps()[1]
    places = np.unique(np.concatenate([y[:, boxes].ravel(), steps]))
    if not boxes.all():
        low, high = float(y.min()), float(y.max())
        fine = np.linspace(low, high, int(np.ceil((high - low) / (beam.fwhm / STRIPS))) + 1)
        places = np.unique(np.concatenate([places, fine]))
    return np.asarray(places[np.concatenate([[True], np.diff(places) > ONE])])


def _lit_widths(
    stack: Stack, edges: Array, corners: Array
) -> tuple[sparse.csr_array, sparse.csr_array]:
    """Lit width of each cell in each strip (cells, strips), m: open, and under the absorber.

    Area by Green's formula, band by band of even coverage: int over the cell inside x0 < x < x1
    dA = closed integral of clip(x, x0, x1) dy round it.
    """
    pattern, half = stack.pattern, stack.lit_width / 2
    steps = pattern.steps()[0]
    cell, strip, ends, rise = _sides(corners, edges)
    height = np.diff(edges)[strip]
    middle_y = (edges[strip] + edges[strip + 1]) / 2
    clear = pattern.clear.covers(*corners.mean(1))[cell]
    open_, dark = np.zeros(len(cell)), np.zeros(len(cell))
    for low, high in pairwise([-half, *steps[np.abs(steps) < half], half]):
        area = _mean_clipped(ends, low, high) * rise
        middle_x = (low + high) / 2
        coverage = np.where(
            pattern.field.covers(middle_x, middle_y),
            pattern.coverage(middle_x, middle_y),
            clear * pattern.beyond,
        )
        dark += area * coverage / height
        open_ += area * (1 - coverage) / height
    shape = (corners.shape[2], len(edges) - 1)
    at = (cell, strip)
    return sparse.csr_array((open_, at), shape=shape), sparse.csr_array((dark, at), shape=shape)


def _sides(corners: Array, edges: Array) -> tuple[Index, Index, Array, Array]:
    """Sides of the cells cut at the strips' edges: cell, strip, x at both ends (2, n), rise in y.

    Sides along x are left out: nothing rises along them.
    """
    start, end = corners.reshape(2, -1), np.roll(corners, -1, 1).reshape(2, -1)
    cell = np.tile(np.arange(corners.shape[2]), 4)
    rising = np.flatnonzero(start[1] != end[1])
    start, end, cell = start[:, rising], end[:, rising], cell[rising]
    low, high = np.minimum(start[1], end[1]), np.maximum(start[1], end[1])
    strips = len(edges) - 1
    first = np.clip(np.searchsorted(edges, low, "right") - 1, 0, strips - 1)
    count = np.clip(np.searchsorted(edges, high, "left"), first + 1, strips) - first
    side = np.repeat(np.arange(len(cell)), count)
    strip = np.arange(len(side)) - np.repeat(np.cumsum(count) - count - first, count)
    y = np.clip(np.stack([edges[strip], edges[strip + 1]]), low[side], high[side])
    slope = (end[0] - start[0]) / (end[1] - start[1])
    x = start[0, side] + slope[side] * (y - start[1, side])
    return cell[side], strip, x, np.diff(y, axis=0)[0] * np.sign(end[1] - start[1])[side]


def _mean_clipped(ends: Array, low: float, high: float) -> Array:
    """Mean of clip(x, low, high) over x from one end to the other, ends (2, n), m."""
    inside = np.clip(ends, low, high)
    whole = inside**2 / 2 + inside * (ends - inside)
    apart = ends[1] - ends[0]
    flat = np.abs(apart) < ONE
    mean = np.diff(whole, axis=0)[0] / np.where(flat, 1.0, apart)
    return np.asarray(np.where(flat, inside.mean(0), mean))
