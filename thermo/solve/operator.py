"""Operators on a plan of nodes times levels, symmetric, without a matrix.

    (K x)_iz = loss_iz x_iz + link_iz (x_iz - x_i,z+1) + link_i,z-1 (x_iz - x_i,z-1)
             + sum over plan couplings e = (i, j) of side_ez (x_iz - x_jz)              (1)
             [ + cross_ez (x_iz - x_j,z+1) + cross_e,z-1 (x_iz - x_j,z-1) ]

side, link and cross are conductances between two unknowns, loss to the outside.  Everything that
conducts has its own number, so nothing small is lost in a large diagonal.  A complex or real shift
K + s M, M diagonal, is a larger loss.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.solve import loops
from thermo.solve.graph import Array, PlanGraph


@dataclass(frozen=True)
class LayeredOperator:
    """Equation (1).

    side : (edges, levels);  link : (nodes, levels), the last level's is 0;  loss : (nodes, levels)
    cross : (edges, levels), the last level's is 0; None where there is no such coupling
    """

    graph: PlanGraph
    side: Array
    link: Array
    loss: NDArray[Any]
    cross: Array | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """Nodes and levels."""
        return self.link.shape[0], self.link.shape[1]

    @property
    def nbytes(self) -> int:
        """Memory of the conductances and of the plan's couplings."""
        extra = 0 if self.cross is None else self.cross.nbytes
        return self.graph.nbytes + self.side.nbytes + self.link.nbytes + self.loss.nbytes + extra

    def times(self, x: NDArray[Any], out: NDArray[Any] | None = None) -> NDArray[Any]:
        """K x for x (nodes, levels), written to `out` where that is given."""
        start, beside, edge = self.graph.rows
        x = np.ascontiguousarray(x)
        y = np.empty(x.shape, np.result_type(x, self.loss)) if out is None else out
        loops.times(start, beside, edge, self.side, self.link, self.loss, x, y)
        if self.cross is not None:
            loops.add_cross(start, beside, edge, self.cross, x, y)
        return y

    @property
    def diagonal(self) -> NDArray[Any]:
        """K_ii, (nodes, levels)."""
        d = self.loss + self.link
        d[:, 1:] += self.link[:, :-1]
        d = d + self.graph.at_ends(self.side)
        if self.cross is not None:
            slant = self.graph.at_ends(self.cross)
            d = d + slant
            d[:, 1:] += slant[:, :-1]
        return d

    def shifted(self, shift: complex, mass: Array) -> "LayeredOperator":
        """K + shift M with M diagonal, (nodes, levels)."""
        return replace(self, loss=self.loss + shift * mass)

    def lumped(self) -> "LayeredOperator":
        """The same without cross couplings: each is split into one across and one along a line."""
        if self.cross is None:
            return self
        side, link = self.side + self.cross, self.link + self.graph.at_ends(self.cross)
        side[:, 1:] += self.cross[:, :-1]
        return LayeredOperator(self.graph, side, link, self.loss)

    def matrix(self) -> sparse.csr_array:
        """K as a matrix, unknowns in the order node * levels + level."""
        nodes, levels = self.shape
        number = np.arange(nodes * levels).reshape(nodes, levels)
        a, b = number[self.graph.ends]
        pairs = [(a, b, self.side), (number[:, :-1], number[:, 1:], self.link[:, :-1])]
        if self.cross is not None:
            slant = self.cross[:, :-1]
            pairs += [(a[:, :-1], b[:, 1:], slant), (a[:, 1:], b[:, :-1], slant)]
        i, j, c = (np.concatenate([p[q].ravel() for p in pairs]) for q in range(3))
        K = sparse.csr_array((-c, (i, j)), shape=(number.size, number.size))
        K = K + K.T + sparse.diags_array(self.diagonal.ravel())
        K.eliminate_zeros()
        return sparse.csr_array(K)

    def parts(self) -> NDArray[np.int64]:
        """For each unknown the first unknown that conducts to it, (nodes, levels)."""
        parent = np.arange(self.link.size)
        loops.join_parts(parent, self.graph.ends, self.side, self.link)
        return parent.reshape(self.shape)
