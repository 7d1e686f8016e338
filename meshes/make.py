"""Two plan meshes for the outlines of cases/round-wafer.toml: rings, and quads without structure.

    python meshes/make.py [FOLDER]

The second has points on rings and on lines of the pattern field, joined to triangles (Delaunay),
each cut into three quads; points that are on no outline are then moved to the middle of their
neighbours.  Both follow the circles of 70, 90, 100 and 110 mm and the field of 44 mm.
"""

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.spatial import Delaunay

from thermo.case.pattern import disc
from thermo.mesh import Plan, edges_of, lines_between, rings, write_plan
from thermo.mesh.plan import NEAR

Array = NDArray[np.float64]
DIAMETERS = (0.070, 0.090, 0.100, 0.110)  # m: opening, frame, wafer, holder
FIELD = 0.044  # m
SPACING = 0.0055  # m, of the points of the second mesh
TURN = 0.618  # of a spacing from ring to ring, so that no four points lie on one circle
ROUNDS = 5  # of smoothing


def ring_plan() -> Plan:
    """A core of rectangles and rings round it, spacing 2 to 6 mm."""
    lines = lines_between(np.array([-1, 0, 1]) * FIELD / 2, 2e-3, 4e-3)
    return rings(lines, lines, [disc(d) for d in DIAMETERS], 2e-3, 6e-3).plan()


def free_plan() -> Plan:
    """Quads without structure."""
    points = _points()
    triangles = Delaunay(points.T).simplices.T
    x, y = points[:, triangles]
    left = (x[1] - x[0]) * (y[2] - y[0]) > (x[2] - x[0]) * (y[1] - y[0])
    triangles = np.where(left, triangles, triangles[::-1])
    ends, number = edges_of(triangles)
    middles = points[:, ends].mean(1)
    for r in np.array(DIAMETERS) / 2:
        on = (np.abs(np.hypot(*points[:, ends]) - r) < NEAR).all(0)
        middles[:, on] *= r / np.hypot(*middles[:, on])
    middle_of = points.shape[1] + number
    centre = points.shape[1] + ends.shape[1] + np.arange(triangles.shape[1])
    every = np.hstack([points, middles, points[:, triangles].mean(1)])
    parts = [np.stack([triangles[i], middle_of[i], centre, middle_of[i - 1]]) for i in range(3)]
    return _smoothed(Plan(every, np.hstack(parts)))


def _points() -> Array:
    """Points on the field's edge and middle lines, on all circles, and on rings in between."""
    half, count = FIELD / 2, 2 * round(FIELD / SPACING / 2)
    lines = np.linspace(-half, half, count + 1)
    x, y = (part.ravel() for part in np.meshgrid(lines, lines))
    field = np.stack([x, y])[:, _on_field(x, y)]
    outer = [_ring(d / 2, turn) for turn, d in enumerate(DIAMETERS)]
    outer.append(_ring((DIAMETERS[0] + DIAMETERS[1]) / 4, 2.5))
    radii = np.arange(SPACING, DIAMETERS[0] / 2 - 0.7 * SPACING, SPACING)
    inside = np.hstack([_ring(r, turn) for turn, r in enumerate(radii)])
    x, y = np.abs(inside)
    beyond = np.hypot(np.maximum(x - half, 0), np.maximum(y - half, 0))
    away = np.where(beyond > 0, beyond, np.minimum.reduce([half - x, half - y, x, y]))
    return np.hstack([field, inside[:, away > 0.6 * SPACING], *outer])


def _ring(r: float, turn: float) -> Array:
    """Points round a circle, about the spacing apart."""
    count = round(2 * np.pi * r / SPACING)
    angle = 2 * np.pi * (np.arange(count) + TURN * turn) / count
    return r * np.stack([np.cos(angle), np.sin(angle)])


def _on_field(x: Array, y: Array) -> NDArray[np.bool_]:
    """Whether points lie on the field's edge or middle lines, where its coverage may jump."""
    across = np.minimum.reduce([np.abs(x), np.abs(y), *(np.abs(np.abs([x, y]) - FIELD / 2))])
    return np.asarray((across < NEAR) & (np.maximum(np.abs(x), np.abs(y)) < FIELD / 2 + NEAR))


def _smoothed(plan: Plan) -> Plan:
    """Points that are on no outline in the middle of their neighbours."""
    points, radius = plan.points.copy(), np.hypot(*plan.points)
    on_circle = (np.abs(radius[:, None] - np.array(DIAMETERS) / 2) < NEAR).any(1)
    free = ~(on_circle | _on_field(*points))
    a, b = edges_of(plan.quads)[0]
    ones = np.ones(2 * len(a))
    beside = sparse.csr_array((ones, (np.append(a, b), np.append(b, a))))
    for _ in range(ROUNDS):
        points[:, free] = ((beside @ points.T).T / beside.sum(1))[:, free]
    return Plan(points, plan.quads)


def main(folder: Path) -> None:
    """Write both files."""
    write_plan(folder / "wafer-rings.vtu", ring_plan())
    write_plan(folder / "wafer-free.vtu", free_plan())


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
