"""Plan mesh: quads in the plane of the mask, from two sets of lines or any quad mesh."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.errors import PhysicsError

Array = NDArray[np.float64]
Index = NDArray[np.int64]
XI, ETA = np.array([[[-1.0], [1.0], [1.0], [-1.0]], [[-1.0], [-1.0], [1.0], [1.0]]])
NEWTON = 8  # steps; a convex quad takes 4 to 6 to round-off, a parallelogram 1
CHORD = 2e-3  # share by which nodes on a circle are pulled inwards, into another plan's chord
NEAR = 1e-7  # m: a place so near to a cell lies in it; a file in single precision rounds 1 m so


@dataclass(frozen=True)
class Plan:
    """Quads in the plane.

    points : (2, nodes) m;  quads : (4, cells) node numbers, counter-clockwise
    lines : positions (m) of the lines in x and y where the plan is a grid of them
    """

    points: Array
    quads: Index
    lines: tuple[Array, Array] | None = None

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
    return Plan(np.stack([x.ravel(), y.ravel()]), quads, (x_lines, y_lines))


def interpolation(plan: Plan, places: Array) -> sparse.csr_array:
    """Weights that give a nodal field at places (2, n) m inside the plan, (n, nodes).

    Bilinear in each cell: x(xi, eta) = sum_a N_a x_a is inverted by Newton's method.
    """
    cell = cells_at(plan, places)
    corners = plan.corners[:, :, cell]
    local = np.zeros((2, places.shape[1]))
    for _ in range(NEWTON):
        N, dN = _shape(local)
        off = places - (corners * N).sum(1)
        (a, b), (c, d) = np.einsum("iap,jap->ijp", corners, dN)
        local += np.stack([d * off[0] - b * off[1], a * off[1] - c * off[0]]) / (a * d - b * c)
        local = np.clip(local, -1, 1)
    row = np.tile(np.arange(places.shape[1]), 4)
    entries = (_shape(local)[0].ravel(), (row, plan.quads[:, cell].ravel()))
    return sparse.csr_array(entries, shape=(places.shape[1], plan.points.shape[1]))


def cells_at(plan: Plan, places: Array) -> Index:
    """Cells that hold places (2, n) m, (n,); raises PhysicsError for a place outside the plan."""
    if plan.lines is not None:
        return _between_lines(plan.lines, places)
    x0, x1, y0, y1 = plan.boxes + np.array([[-NEAR], [NEAR], [-NEAR], [NEAR]])
    corners = plan.corners
    found = np.full(places.shape[1], -1)
    for number, (x, y) in enumerate(places.T):
        near = np.flatnonzero((x0 <= x) & (x <= x1) & (y0 <= y) & (y <= y1))
        at = corners[:, :, near]
        along = np.roll(at, -1, 1) - at
        to = np.array([x, y])[:, None, None] - at
        depth = (along[0] * to[1] - along[1] * to[0]) / np.hypot(*along)  # inside an edge, m
        if len(near) and depth.min(0).max() >= -NEAR:
            found[number] = near[depth.min(0).argmax()]
    _refuse_outside(found < 0, places)
    return found


def _between_lines(lines: tuple[Array, Array], places: Array) -> Index:
    outside = np.zeros(places.shape[1], bool)
    number = []
    for own, place in zip(lines, places, strict=True):
        outside |= ~((own[0] - NEAR <= place) & (place <= own[-1] + NEAR))
        number.append(np.clip(np.searchsorted(own, place, "right") - 1, 0, len(own) - 2))
    _refuse_outside(outside, places)
    return np.asarray(number[1] * (len(lines[0]) - 1) + number[0])


def _refuse_outside(outside: NDArray[np.bool_], places: Array) -> None:
    if outside.any():
        x, y = 1e3 * places[:, outside.argmax()]
        raise PhysicsError(f"x = {x:.4g}, y = {y:.4g} mm lies outside the plan; move it inside")


def _shape(local: Array) -> tuple[Array, Array]:
    """Shape functions of the corners (4, n) and their slopes (2, 4, n) at (xi, eta), (2, n)."""
    xi, eta = 1 + local[0] * XI, 1 + local[1] * ETA
    return xi * eta / 4, np.stack([XI * eta, ETA * xi]) / 4
