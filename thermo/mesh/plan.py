"""Plan mesh: quads in the plane of the mask, from two sets of lines or any quad mesh."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.errors import PhysicsError

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True)
class Plan:
    """Quads in the plane.

    points : (2, nodes) m;  quads : (4, cells) node numbers, counter-clockwise
    """

    points: Array
    quads: Index

    @property
    def corners(self) -> Array:
        """Corner positions, (2, 4, cells)."""
        return self.points[:, self.quads]

    @property
    def centres(self) -> Array:
        """Cell middles, (2, cells)."""
        return np.asarray(self.corners.mean(1))

    @property
    def boxes(self) -> Array:
        """Smallest rectangles around the cells: x0, x1, y0, y1, shape (4, cells)."""
        x, y = self.corners
        return np.stack([x.min(0), x.max(0), y.min(0), y.max(0)])

    @property
    def areas(self) -> Array:
        """Cell areas, m2, (cells,)."""
        x, y = self.corners
        return np.asarray(((x[2] - x[0]) * (y[3] - y[1]) - (x[3] - x[1]) * (y[2] - y[0])) / 2)


def rectangle_plan(x_lines: Array, y_lines: Array) -> Plan:
    """Plan of rectangles between two increasing sets of lines, m; x runs fastest."""
    for name, lines in (("x", x_lines), ("y", y_lines)):
        if not (np.diff(lines) > 0).all():
            raise PhysicsError(f"plan lines in {name} must increase; remove doubled lines")
    x, y = np.meshgrid(x_lines, y_lines)
    row = len(x_lines)
    first = (np.arange(len(y_lines) - 1)[:, None] * row + np.arange(row - 1)).ravel()
    quads = np.stack([first, first + 1, first + row + 1, first + row])
    return Plan(np.stack([x.ravel(), y.ravel()]), quads)


def interpolation(plan: Plan, places: Array) -> sparse.csr_array:
    """Weights that give a nodal field at places (2, n) m inside the plan, (n, nodes)."""
    from skfem import Basis, ElementQuad1, MeshQuad

    points, quads = np.ascontiguousarray(plan.points), np.ascontiguousarray(plan.quads)
    mesh = MeshQuad(points, quads, validate=False, sort_t=False)
    return sparse.csr_array(Basis(mesh, ElementQuad1(), intorder=2).probes(places))
