"""From temperatures on a heat mesh to the rise in the layers of an elastic body.

The rise through a layer is its best straight line: same mean and same first moment, which is what
moves and bends a layer,

    a = mean - 6 moment/h^2,  b = mean + 6 moment/h^2,  moment = (1/h) int T (z - middle) dz   (1)

and in the plane the body's nodes take what the heat mesh says at their place.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.answer.scene import Meshed
from thermo.mesh import CHORD, interpolation

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Slab:
    """One elastic layer: the layer of the stack it is of, and where it begins and ends, m.

    jump : share of its temperature difference that falls in a contact at its end, not in the layer
    """

    layer: int
    top: float
    bottom: float
    jump: float = 0.0


@dataclass(frozen=True)
class Transfer:
    """Linear map from nodal temperatures of one heat mesh to a body's cell corners.

    weights : in the plan, (body nodes, heat nodes);  lines : (1) of every slab, (2 slabs, levels)
    quads : plan nodes of the body's cells, (4, cells)
    """

    weights: sparse.csr_array
    lines: Array
    quads: NDArray[np.int64]

    def rise(self, fields: NDArray[np.floating], reference: float = 0.0) -> Array:
        """Rise above a reference at the cells' corners, K, (k, slabs, cells, 2, 4).

        fields : temperatures (k, nodes, levels), nan where there is nothing
        """
        own = self.lines.any(axis=0)  # levels of this body
        some = np.nan_to_num(np.asarray(fields[:, :, own], float) - reference)
        ends = some @ self.lines[:, own].T  # (k, nodes, 2 slabs)
        count, nodes, lines = ends.shape
        flat = np.ascontiguousarray(ends.transpose(1, 0, 2)).reshape(nodes, count * lines)
        at = np.asarray(self.weights @ flat).reshape(-1, count, lines // 2, 2)
        return np.asarray(at[self.quads.T].transpose(2, 3, 0, 4, 1))


def transfer(
    meshed: Meshed, points: Array, quads: NDArray[np.int64], slabs: Sequence[Slab]
) -> Transfer:
    """Map from a heat mesh to a body of plan nodes (2, n) m and cells, and its slabs."""
    plan = meshed.grid.plan
    places = points if plan.lines is not None else points * (1 - CHORD)
    lines = np.concatenate([_line(meshed.grid.levels, s) for s in slabs])
    return Transfer(interpolation(plan, places), lines, quads)


def _line(levels: Array, slab: Slab) -> Array:
    """The slab's line; where it ends in a contact, counted from its beginning."""
    line = straight_line(levels, slab.top, slab.bottom)
    start = np.interp(slab.top, levels, np.arange(len(levels)))
    first = np.maximum(0.0, 1 - np.abs(np.arange(len(levels)) - start))
    return np.asarray((1 - slab.jump) * line + slab.jump * first)


def straight_line(levels: Array, top: float, bottom: float) -> Array:
    """Both ends of the line (1) over top to bottom (m), of values on levels, (2, levels)."""
    tiny = 1e-9 * (bottom - top)
    inside = levels[(levels > top + tiny) & (levels < bottom - tiny)]
    z = np.concatenate([[top], inside, [bottom]])
    T = np.stack([np.interp(z, levels, hat) for hat in np.eye(len(levels))], axis=1)
    middle, h = (z[0] + z[-1]) / 2, z[-1] - z[0]
    dz, lever = np.diff(z)[:, None], (z[:-1] - middle)[:, None]
    a, b = T[:-1], T[1:]
    mean = (dz * (a + b) / 2).sum(0) / h
    moment = (dz * (lever * (a + b) / 2 + dz * (a + 2 * b) / 6)).sum(0) / h
    return np.stack([mean - 6 * moment / h, mean + 6 * moment / h])
