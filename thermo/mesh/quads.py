"""Edges, angles and splitting of any plan of quads."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from thermo.mesh.plan import Plan

Array = NDArray[np.float64]
Index = NDArray[np.int64]
ON_OUTLINE = 1e-3  # of half an outline's smaller side: an edge whose ends are nearer lies on it


def corner_angles(plan: Plan) -> Array:
    """Inner angles of the cells, degrees, (4, cells), 180 or more where a cell is folded.

    The scaled Jacobian of a corner is the sine of its angle.
    """
    corners = plan.corners
    ahead, back = np.roll(corners, -1, 1) - corners, np.roll(corners, 1, 1) - corners
    turn = np.arctan2(ahead[0] * back[1] - ahead[1] * back[0], (ahead * back).sum(0))
    return np.asarray(np.degrees(turn) % 360)


def edges_of(cells: Index) -> tuple[Index, Index]:
    """Edges as pairs of nodes, first < second, (2, edges), and those of each cell.

    cells : (sides, cells) nodes of quads, or of triangles
    """
    sides = np.sort(np.stack([cells, np.roll(cells, -1, 0)]), axis=0).reshape(2, -1)
    ends, number = np.unique(sides, axis=1, return_inverse=True)
    return ends, number.reshape(cells.shape)


def rim(quads: Index) -> Index:
    """Edges with a cell on one side only, (2, edges)."""
    ends, number = edges_of(quads)
    return np.asarray(ends[:, np.bincount(number.ravel(), minlength=ends.shape[1]) == 1])


def border_of(number: Index, inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which edges have a cell inside on one side, and on the other one outside, or none.

    number : (4, cells) edges of each cell, from `edges_of`;  inside : (cells,)
    """
    sides = np.bincount(number.ravel(), np.tile(np.where(inside, 1, -1), 4))
    return np.asarray((sides == 0) | (sides == 1))


def split(plan: Plan, diameters: Sequence[float] = ()) -> Plan:
    """The plan with every cell cut in four.

    diameters : of circles (m) that edges follow; the new nodes of those edges lie on them
    """
    nodes, (ends, number) = plan.points.shape[1], edges_of(plan.quads)
    middles = plan.points[:, ends].mean(1)
    radius = np.hypot(*plan.points)
    for diameter in diameters:
        r = diameter / 2
        border = border_of(number, np.hypot(*plan.centres) < r)
        on = border & (np.abs(radius[ends] - r) <= ON_OUTLINE * r).all(0)
        middles[:, on] *= r / np.hypot(*middles[:, on])
    points = np.hstack([plan.points, middles, plan.points[:, plan.quads].mean(1)])
    side = nodes + number
    centre = nodes + ends.shape[1] + np.arange(plan.quads.shape[1])
    parts = [np.stack([plan.quads[i], side[i], centre, side[i - 1]]) for i in range(4)]
    return Plan(points, np.hstack(parts))
