"""The 3D grid: a plan of quads extruded through layers, void where a layer is absent."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.mesh.plan import Plan

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Grid:
    """Plan x levels.

    levels : (slabs + 1,) m along the beam
    layer : (slabs,) number of the layer that each slab belongs to
    active : (slabs, cells) False where there is nothing
    """

    plan: Plan
    levels: Array
    layer: NDArray[np.int64]
    active: Mask

    @property
    def heights(self) -> Array:
        """Slab thicknesses, m."""
        return np.diff(self.levels)

    @property
    def shape(self) -> tuple[int, int]:
        """Levels and plan nodes: the shape of a nodal field."""
        return len(self.levels), self.plan.points.shape[1]

    @property
    def node_used(self) -> Mask:
        """Nodes that touch something, (levels, nodes)."""
        used = np.zeros(self.shape, bool)
        for corner in self.plan.quads:
            used[:-1, :] |= _at(corner, self.active, self.shape[1])
            used[1:, :] |= _at(corner, self.active, self.shape[1])
        return used

    def slabs(self, layer: int) -> slice:
        """The slabs of one layer."""
        own = np.flatnonzero(self.layer == layer)
        return slice(int(own[0]), int(own[-1]) + 1)


def _at(corner: NDArray[np.int64], active: Mask, nodes: int) -> Mask:
    out = np.zeros((active.shape[0], nodes), bool)
    slab, cell = np.nonzero(active)
    out[slab, corner[cell]] = True
    return out


def extrude(plan: Plan, cuts: Sequence[Array], present: Sequence[Mask], top: float) -> Grid:
    """Grid of layers stacked from z = top, each given by its depth cuts (m) and plan cells."""
    heights = np.concatenate([np.diff(c) for c in cuts])
    layer = np.repeat(np.arange(len(cuts)), [len(c) - 1 for c in cuts])
    levels = top + np.concatenate([[0], np.cumsum(heights)])
    return Grid(plan, levels, layer, np.stack(list(present))[layer])
