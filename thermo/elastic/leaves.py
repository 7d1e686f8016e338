"""Stiffness of the leaves of the dissection: from cells between levels to whole columns."""

from dataclasses import dataclass

import numpy as np

from thermo.elastic.columns import Columns
from thermo.elastic.solid import Floats, Ints
from thermo.elastic.supports import Spring


@dataclass(frozen=True)
class Leaves:
    """Dense stiffness of a few plan cells for the free unknowns of their columns.

    quads : plan nodes of the cells, (4, m); K : stiffness of the cells for (u, d), N/m,
    (nz, m, 24, 24); springs : springs of joined faces; columns : numbering of the unknowns
    """

    quads: Ints
    K: Floats
    springs: tuple[Spring, ...]
    columns: Columns

    def stiffness(self, cells: Ints, columns: Ints) -> Floats:
        """Stiffness of plan cells for the unknowns of `columns`, N/m, square."""
        levels = self.K.shape[0] + 1
        size = 3 * levels
        place = np.searchsorted(columns, self.quads[:, cells], sorter=np.argsort(columns))
        place = np.argsort(columns)[place]  # position of the corners' columns, (4, cells)
        inside = (np.arange(levels)[:, None, None] * 3 + np.arange(3)) + np.zeros((1, 4, 1), int)
        full = np.zeros((len(columns) * size, len(columns) * size), order="F")
        for corner, K in zip(place.T, self._cells(cells), strict=True):
            at = (inside + size * corner[:, None]).ravel()
            full[np.ix_(at, at)] += K
        self._eliminate_given(full, columns)
        keep = np.flatnonzero(self.columns.number[columns].ravel() >= 0)
        return full.T[np.ix_(keep, keep)].T  # by columns, as LAPACK wants it

    def _cells(self, cells: Ints) -> Floats:
        """Stiffness of plan cells over all their levels for (level, corner, component)."""
        K = self.K[:, cells]
        levels = len(K) + 1
        low = np.zeros((levels, len(cells), 12, 12))
        low[:-1] = K[:, :, :12, :12]
        for spring in self.springs:
            low[spring.level] += spring.stiffness[cells]
        above = np.cumsum(low[::-1], axis=0)[::-1]  # q_j moves every node from level j up
        out = np.empty((len(cells), levels, 12, levels, 12))
        for j in range(levels):
            U = above[j] + (K[j - 1][:, :12, 12:] if j else 0.0)
            out[:, :j, :, j] = U[:, None]
            out[:, j, :, :j] = U.transpose(0, 2, 1)[:, :, None]
            out[:, j, :, j] = above[j] + (K[j - 1][:, 12:, 12:] if j else 0.0)
        return out.reshape(len(cells), levels * 12, levels * 12)

    def _eliminate_given(self, full: Floats, columns: Ints) -> None:
        """Replace unknowns that follow from others, equation (1) of `columns`, in place."""
        size = 3 * (self.K.shape[0] + 1)
        place = np.full(len(self.columns.first), -1)
        place[columns] = np.arange(len(columns)) * size
        at = place[self.columns.given // size]
        here = at >= 0
        given = at[here] + self.columns.given[here] % size
        source = at[here] + self.columns.source[here] % size
        for g, s in zip(given, source, strict=True):
            full[s] -= full[g]
            full[:, s] -= full[:, g]
