"""Absorbed power as a function of place in the stack, averaged over the scan.

A place belongs to a column: the layers that lie above each other there.  Columns with absorber
and without are mixed by the pattern's coverage.  Over the lit width the beam is even in x; in y
each interval of depth has its own vertical profile, averaged over the time the stripe spends at
each place.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.beam.absorption import ColumnHeat, Piece, column_heat
from thermo.beam.motion import mean_over_scan
from thermo.beam.white import WhiteBeam
from thermo.case.stack import Stack
from thermo.errors import SolveError

Array = NDArray[np.float64]
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
    boxes: Array,
) -> AbsorbedPower:
    """Scan-mean heat in cells given as boxes; raises SolveError when the power does not add up.

    places : places of the stripe and shares of time
    cuts : depths that cut each layer into slabs, m
    present : (layers, cells) where each layer is present
    boxes : x0, x1, y0, y1 of each cell, m, (4, cells), not overlapping
    """
    x0, x1, y0, y1 = boxes
    half = stack.lit_width / 2
    lit = np.clip(x1, -half, half) - np.clip(x0, -half, half)
    edges, at = np.unique(np.concatenate([y0, y1]), return_inverse=True)
    low, high = at[: len(y0)], at[len(y0) :]
    coverage = stack.pattern.coverage((x0 + x1) / 2, (y0 + y1) / 2)
    kinds, kind = np.unique(present, axis=1, return_inverse=True)
    kind = kind.ravel()
    rows = sum(len(c) - 1 for c in cuts) + 2
    found = np.zeros((rows, len(x0)))
    for number, layers in enumerate(kinds.T):
        for covered in (False, True):
            share = coverage if covered else 1 - coverage
            own = (kind == number) & (lit > 0) & (share > 0)
            if not own.any():
                continue
            heat, column = column_profiles(stack, beam, layers, covered, cuts)
            profiles = np.vstack([heat, column.escaped, column.transmitted])
            below = np.pad(_mean(beam, profiles, places, edges), ((0, 0), (1, 0))).cumsum(1)
            found[:, own] += (below[:, high[own]] - below[:, low[own]]) * (lit * share)[own]
    incident = beam.on_mask * stack.lit_width
    beside = incident - _met(beam, places, edges, low, high, lit)
    power = AbsorbedPower(
        found[:-2], float(found[-2].sum()), float(found[-1].sum()), beside, incident
    )
    if not power.balance <= BOOK:
        raise SolveError(f"absorbed power is off by {power.balance:.1e}, allowed {BOOK:.0e}")
    return power


def _mean(beam: WhiteBeam, profiles: Array, places: tuple[Array, Array], edges: Array) -> Array:
    return mean_over_scan(beam.height, profiles, places, edges)


def _met(
    beam: WhiteBeam,
    places: tuple[Array, Array],
    edges: Array,
    low: NDArray[np.int64],
    high: NDArray[np.int64],
    lit: Array,
) -> float:
    """Power that meets any cell, W, straight from the beam's own profile."""
    between = _mean(beam, beam.power.sum(1)[None], places, edges)[0]
    below = np.concatenate([[0], between.cumsum()])
    return float(((below[high] - below[low]) * lit).sum())
