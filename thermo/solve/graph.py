"""Which nodes of a plan couple, and the step from a plan to a coarser one."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Array = NDArray[np.float64]
Index = NDArray[np.int32]
Lines = tuple[Array, Array]


@dataclass(frozen=True)
class PlanGraph:
    """Couplings between plan nodes.

    nodes : how many;  ends : (2, edges) the two nodes of each coupling, first < second
    lines : positions (m) of the lines in x and y where the plan is a grid of them, x fastest
    """

    nodes: int
    ends: Index
    lines: Lines | None = None

    @property
    def nbytes(self) -> int:
        """Memory of the couplings and of their rows."""
        return self.ends.nbytes + sum(array.nbytes for array in self.rows)

    @cached_property
    def rows(self) -> tuple[Index, Index, Index]:
        """Start of each node's neighbours, the neighbours in ascending order, and the edges."""
        number = np.arange(self.ends.shape[1], dtype=np.int32)
        row = np.concatenate([self.ends[0], self.ends[1]])
        column = np.concatenate([self.ends[1], self.ends[0]])
        shape = (self.nodes, self.nodes)
        A = sparse.csr_array((np.concatenate([number, number]), (row, column)), shape=shape)
        A.sort_indices()
        return int32(A.indptr), int32(A.indices), A.data

    def at_ends(self, per_edge: Array) -> Array:
        """Sum of a value per coupling over the couplings of each node, (nodes, levels)."""
        start, _, edge = self.rows
        ones = np.ones(len(edge), per_edge.dtype)
        shape = (self.nodes, self.ends.shape[1])
        return np.asarray(sparse.csr_array((ones, edge, start), shape=shape) @ per_edge)


@dataclass(frozen=True)
class Coarsening:
    """One step to a coarser plan.

    up : P, (nodes, coarse nodes), rows sum to 1
    gather : (coarse edges, edges) conductance of each coarse coupling from those of the finer plan
    coarse : the coarser plan
    """

    up: sparse.csr_array
    gather: sparse.csr_array
    coarse: PlanGraph

    @property
    def nbytes(self) -> int:
        """Memory of what leads there and back."""
        parts = (self.up, self.down, self.gather)
        return sum(m.data.nbytes + m.indices.nbytes + m.indptr.nbytes for m in parts)

    @cached_property
    def down(self) -> sparse.csr_array:
        """P^T."""
        return sparse.csr_array(self.up.T)


def coarsening(graph: PlanGraph, P: sparse.csr_array, lines: Lines | None = None) -> Coarsening:
    """The coarser plan that P leads to.

    A coupling c between nodes a and b loses c (x_a - x_b)^2.  With x = P X that is
    c (sum_I D_I X_I)^2, D = P_a - P_b, whose entries sum to 0: a coupling -c D_I D_J between each
    two coarse nodes I and J.  This is the Galerkin product P^T K P in the plane.
    """
    a, b = graph.ends
    D = sparse.csr_array(P[a] - P[b])
    D.data[np.abs(D.data) < 1e-12] = 0
    D.eliminate_zeros()
    count = np.diff(D.indptr)
    entry = np.arange(len(D.data))
    edge = np.repeat(np.arange(len(count)), count)
    times = D.indptr[1:][edge] - entry - 1  # pairs of an entry with those after it in its row
    first = np.repeat(entry, times)
    second = first + 1 + np.arange(len(first)) - np.repeat(np.cumsum(times) - times, times)
    one, other = D.indices[first], D.indices[second]
    low, high = np.minimum(one, other), np.maximum(one, other)
    shape = (P.shape[1], P.shape[1])
    number = sparse.csr_array((np.ones(len(low), np.int32), (low, high)), shape=shape)
    number.sum_duplicates()
    pairs = number.nnz
    number.data = np.arange(pairs, dtype=np.int32)
    ends = np.stack([np.repeat(np.arange(P.shape[1]), np.diff(number.indptr)), number.indices])
    share = -D.data[first] * D.data[second]
    at = (number[low, high], edge[first])
    gather = sparse.csr_array((share, at), shape=(pairs, len(count)))
    up = sparse.csr_array((P.data, int32(P.indices), int32(P.indptr)), shape=P.shape)
    return Coarsening(up, gather, PlanGraph(P.shape[1], int32(ends), lines))


def int32(index: NDArray[np.integer]) -> Index:
    """Numbers of nodes or edges in half the memory."""
    return np.asarray(index, np.int32)
