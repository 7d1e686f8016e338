"""Displacement of mask and sample, read from their field files, at any place of theirs."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from scipy.spatial import Delaunay

Array = NDArray[np.float64]
Index = NDArray[np.int64]
LEVEL = 1e-9  # m: nodes so near in z lie on one level


@dataclass(frozen=True)
class Moving:
    """A body: its levels (m), and on each how its nodes move (m) and what spreads that.

    largest : displacement, m
    """

    levels: Array
    spreads: tuple["_Spread", ...]
    largest: float

    def at(self, plan: Array, levels: Array) -> Array:
        """Displacement (levels, n, 3) m at places (2, n) m, linear between the body's own levels.

        Past the body it fades to nothing over the depth asked for: what it is tied to is at rest.
        """
        out = np.zeros((len(levels), plan.shape[1], 3))
        if levels[0] >= self.levels[-1] + LEVEL:  # not even its top touches the body
            return out
        z = np.clip(levels, self.levels[0], self.levels[-1])
        fade = 1 - np.maximum(levels - z, 0) / max(float(levels[-1] - z[-1]), LEVEL)
        upper = np.clip(np.searchsorted(self.levels, z, "right") - 1, 0, len(self.levels) - 2)
        share = (z - self.levels[upper]) / (self.levels[upper + 1] - self.levels[upper])
        own = {i: self.spreads[i].at(plan.T) for i in sorted({*upper.tolist(), *(upper + 1)})}
        for row, i, s, f in zip(out, upper.tolist(), share, fade, strict=True):
            row[:] = f * ((1 - s) * own[i] + s * own[i + 1])
        return out


@dataclass(frozen=True)
class _Spread:
    """Displacement of one level between its nodes; of the nearest where a place lies past them."""

    triangles: "Delaunay"
    u: Array

    def at(self, places: Array) -> Array:
        from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator

        found = np.asarray(LinearNDInterpolator(self.triangles, self.u)(places))
        outside = np.isnan(found[:, 0])
        if outside.any():
            nearest = NearestNDInterpolator(self.triangles.points, self.u)
            found[outside] = nearest(places[outside])
        return found


Bodies = tuple[Moving, Moving]


def body_of(path: Path) -> Moving:
    """The body in a displacement file."""
    import meshio
    from scipy.spatial import Delaunay

    mesh = meshio.vtu.read(path)
    xyz, u = np.asarray(mesh.points, float), np.asarray(mesh.point_data["displacement_m"], float)
    z = np.round(xyz[:, 2] / LEVEL) * LEVEL
    levels = np.unique(z)
    spreads: list[_Spread] = []
    for level in levels:
        own = z == level
        plan = xyz[own, :2]
        same = spreads and np.array_equal(spreads[-1].triangles.points, plan)
        spreads.append(_Spread(spreads[-1].triangles if same else Delaunay(plan), u[own]))
    return Moving(levels, tuple(spreads), float(np.sqrt((u**2).sum(1)).max()))


def read_hexahedra(path: Path, point: str, cell: str) -> tuple[Array, Index, Array, Array]:
    """Points (n, 3) m, hexahedra (m, 8), one field at the points and one of the cells of a file."""
    import meshio

    mesh = meshio.vtu.read(path)
    points, hexahedra = np.asarray(mesh.points, float), np.asarray(mesh.cells[0].data, np.int64)
    fields = mesh.point_data[point], mesh.cell_data[cell][0]
    return points, hexahedra, np.asarray(fields[0], float), np.asarray(fields[1], float)
