"""Operators on a plan of quads extruded through slabs, built slab by slab.

    K = sum_slabs  A(k_xy) x M_z + M(k_z) x A_z                       (1)
    A_ij = integral grad phi_i . grad phi_j,  M_ij = integral phi_i phi_j over the plan   (2)

x is the Kronecker product with the slab's own 2 x 2 matrices in z.  With k constant in each cell
this equals the assembly of trilinear bricks on the same points.  "lumped" takes the integrals at
the corners: on rectangles K then has no positive off-diagonal entry, and a positive source cannot
give a negative answer.  "exact" integrates fully: fewer cells for the same accuracy, no such
guarantee.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.errors import SolveError
from thermo.solve.graph import Array, PlanGraph
from thermo.solve.operator import LayeredOperator

Integration = Literal["lumped", "exact"]
SIDES = ((0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 3))  # pairs of corners of a quad


@dataclass(frozen=True)
class PlanMatrices:
    """The plan's integrals (2) at unit coefficient, by cell.

    conduct : (edges, cells) -A_ij of each coupling
    share : (nodes, cells) m2 of a cell that belong to a node, sum_j M_ij
    overlap : (edges, cells) M_ij of each coupling, None where lumped
    """

    graph: PlanGraph
    conduct: sparse.csr_array
    share: sparse.csr_array
    overlap: sparse.csr_array | None

    @property
    def nodes(self) -> int:
        """Number of plan nodes."""
        return self.graph.nodes

    @cached_property
    def parting(self) -> sparse.csr_array:
        """Share of each cell's content that goes to each node, (nodes, cells); columns sum to 1."""
        return sparse.csr_array(self.share @ sparse.diags_array(1 / self.share.sum(0)))


def plan_matrices(
    points: Array,
    quads: NDArray[np.int64],
    integration: Integration = "lumped",
    lines: tuple[Array, Array] | None = None,
) -> PlanMatrices:
    """Plan matrices of bilinear quads, equation (2); points (2, nodes) m, quads (4, cells).

    lines : the lines in x and y that the plan consists of, where it is a grid

    Raises SolveError where a quad is turned over or has a corner of 180 degrees or more.
    """
    exact = integration == "exact"
    conduct, overlap, corner = _cell_integrals(points[:, quads], exact)
    nodes, cells = points.shape[1], quads.shape[1]
    flat = np.abs(conduct[4:]).max() <= 1e-12 * np.abs(conduct).max()
    pairs = SIDES[:4] if flat and not exact else SIDES
    i, j = (quads[[pair[end] for pair in pairs]] for end in (0, 1))
    key, slot = np.unique(
        np.minimum(i, j).astype(np.int64) * nodes + np.maximum(i, j), return_inverse=True
    )
    ends = np.stack(np.divmod(key, nodes)).astype(np.int32)
    at = (slot.ravel(), np.tile(np.arange(cells), len(pairs)))

    def by_edge(values: Array) -> sparse.csr_array:
        return sparse.csr_array((values[: len(pairs)].ravel(), at), shape=(len(key), cells))

    where = (quads.ravel(), np.tile(np.arange(cells), 4))
    share = sparse.csr_array((corner.ravel(), where), shape=(nodes, cells))
    return PlanMatrices(
        PlanGraph(nodes, ends, lines), by_edge(conduct), share, by_edge(overlap) if exact else None
    )


def _cell_integrals(corners: Array, exact: bool) -> tuple[Array, Array, Array]:
    """-A_ij and M_ij of each pair of corners in SIDES, and sum_j M_ij of each corner, by cell.

    Four points: 2 x 2 of Gauss and Legendre, or the corners themselves.
    """
    s = 1 / np.sqrt(3) if exact else 1.0
    conduct, overlap, share = (np.zeros((n, corners.shape[2])) for n in (6, 6, 4))
    sign = np.array([[-1, 1, 1, -1], [-1, -1, 1, 1]])
    for place in (s * sign).T:
        shape = (1 + sign[0] * place[0]) * (1 + sign[1] * place[1]) / 4
        slope = sign * (1 + sign[::-1] * place[::-1, None]) / 4
        (xu, yu), (xv, yv) = np.einsum("dc,kcn->dkn", slope, corners)
        area = xu * yv - xv * yu
        if not (area > 0).all():
            raise SolveError(
                f"plan cell {int(area.argmin())} is turned over or not convex; repair the plan mesh"
            )
        gx = (slope[0][:, None] * yv - slope[1][:, None] * yu) / area
        gy = (slope[1][:, None] * xu - slope[0][:, None] * xv) / area
        for n, (i, j) in enumerate(SIDES):
            conduct[n] -= area * (gx[i] * gx[j] + gy[i] * gy[j])
            overlap[n] += area * shape[i] * shape[j]
        share += area * shape[:, None]
    return conduct, overlap, share


def layered_operator(
    plan: PlanMatrices, heights: Array, in_plane: Array, across: Array
) -> LayeredOperator:
    """Operator (1) for coefficients k_xy and k_z given per slab and plan cell, (slabs, cells).

    heights : slab thicknesses, m
    """
    pierce = np.ascontiguousarray((across / heights[:, None]).T)
    link = _up_to_last(plan.share @ pierce)
    tied = None if plan.overlap is None else plan.overlap @ pierce
    del pierce
    same = plan.conduct @ np.ascontiguousarray((in_plane * heights[:, None]).T)
    cross = None
    if tied is None:
        same /= 2
    else:
        cross = _up_to_last(same / 6 + tied)
        same = same / 3 - tied
    side = _up_to_last(same)
    side[:, 1:] += same
    K = LayeredOperator(plan.graph, side, link, np.zeros_like(link), cross)
    if cross is None:
        return K
    return LayeredOperator(plan.graph, side, link - K.graph.at_ends(cross), K.loss, cross)


def _up_to_last(slabs: Array) -> Array:
    """Values of slabs as those of the levels above them, 0 for the last level."""
    return np.concatenate([slabs, np.zeros((len(slabs), 1))], axis=1)
