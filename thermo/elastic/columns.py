"""Unknowns of the body: every plan node is a column of one displacement and its stretches.

A column whose nodes sit on levels b < ... < c carries q_b = u_b and, above it, the stretches
q_k = u_k - u_(k-1), so that u_k is the sum of q up to k. Holding u_k at ub_k takes q_k away; with
j the next held level below it (for the lowest held one: j = b - 1 and ub_j = 0)

    q_k = ub_k - ub_j - sum(q_(j+1) .. q_(k-1))                                              (1)

All coefficients are 0 and 1, so no digit of a thin layer's stretch is lost.
"""

from dataclasses import dataclass

import numpy as np

from thermo.elastic.solid import Bools, Floats, Ints


@dataclass(frozen=True)
class Columns:
    """Numbering of the free unknowns; a full unknown (column, level, component) is one of three.

    number : its free unknown, -1 where there is none, shape (n, levels, 3), in elimination order
    first, count : first free unknown of each column and how many it has, shape (n,)
    given : full unknowns that follow from others by (1); source : one of those others, each (p,)
    """

    number: Ints
    first: Ints
    count: Ints
    given: Ints
    source: Ints

    @property
    def free(self) -> Ints:
        """Full unknowns of the free ones, in the order of elimination, shape (unknowns,)."""
        flat = self.number.ravel()
        full = np.flatnonzero(flat >= 0)
        return full[np.argsort(flat[full])]

    def unknowns(self, x: Floats) -> Floats:
        """Full unknowns q, m, (levels, n, 3, k), of free ones x, (unknowns, k), clamps at zero."""
        n, levels, _ = self.number.shape
        full = np.zeros((self.number.size, x.shape[1]))
        full[self.free] = x
        np.subtract.at(full, self.given, full[self.source])
        return full.reshape(n, levels, 3, -1).transpose(1, 0, 2, 3)

    def forces(self, r: Floats) -> Floats:
        """Forces on the free unknowns, N, (unknowns, k), of nodal forces r, (levels, n, 3, k).

        A stretch moves every node above it; the transpose of `unknowns`.
        """
        lifted = np.cumsum(r[::-1], axis=0)[::-1].transpose(1, 0, 2, 3)
        full = np.array(lifted.reshape(self.number.size, -1))
        np.subtract.at(full, self.source, full[self.given])
        return full[self.free]


def number_columns(exists: Bools, held: Bools, order: Ints) -> Columns:
    """Number the free unknowns.

    Parameters
    ----------
    exists : nodes of the body, shape (levels, n)
    held : components prescribed, shape (levels, n, 3); True only where the node exists
    order : columns in the order of elimination; those without a node are left out
    """
    levels, n = exists.shape
    there = np.broadcast_to(exists[:, :, None], held.shape)
    next_held = np.full(held.shape, levels)
    for k in reversed(range(levels)):
        above = next_held[k + 1 : k + 2].min(axis=0, initial=levels)
        next_held[k] = np.where(held[k], k, above)
    free = (there & ~held).transpose(1, 0, 2)
    count = free.sum(axis=(1, 2)).astype(np.int64)
    first = np.zeros(n, np.int64)
    first[order] = np.cumsum(count[order]) - count[order]
    within = np.cumsum(free.reshape(n, -1), axis=1).reshape(free.shape) - 1
    number = np.where(free, first[:, None, None] + within, -1)
    floor, column, i = np.nonzero(there & ~held & (next_held < levels))
    given = (column * levels + next_held[floor, column, i]) * 3 + i
    source = (column * levels + floor) * 3 + i
    return Columns(number, first, count, given, source)


def stretches(u: Floats, exists: Bools) -> Floats:
    """Full unknowns q of nodal displacements u, m, both of shape (levels, n, ...); void is zero."""
    q = np.zeros_like(u)
    below = np.zeros_like(u[0])
    for k, there in enumerate(exists):
        q[k, there] = u[k, there] - below[there]
        below[there] = u[k, there]
    return q
