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

Array = NDArray[np.float64]
Integration = Literal["lumped", "exact"]


@dataclass(frozen=True)
class PlanMatrices:
    """Plan matrices of every cell, (cells, 4, 4), at unit coefficient: stiffness (1), mass (m2)."""

    points: Array
    quads: NDArray[np.int64]
    stiffness: Array
    mass: Array
    integration: Integration

    @property
    def nodes(self) -> int:
        """Number of plan nodes."""
        return int(self.points.shape[1])

    @cached_property
    def pattern(self) -> tuple[NDArray[np.int64], NDArray[np.int64], sparse.csr_array]:
        """Row and column of each plan coupling, and the sum of cell entries into couplings."""
        i = np.broadcast_to(self.quads.T[:, :, None], self.stiffness.shape).ravel()
        j = np.broadcast_to(self.quads.T[:, None, :], self.stiffness.shape).ravel()
        pair, slot = np.unique(i.astype(np.int64) * self.nodes + j, return_inverse=True)
        entries = np.arange(len(slot))
        gather = sparse.csr_array(
            (np.ones(len(slot)), (slot.ravel(), entries)), shape=(len(pair), len(slot))
        )
        return pair // self.nodes, pair % self.nodes, gather


def plan_matrices(
    points: Array, quads: NDArray[np.int64], integration: Integration = "lumped"
) -> PlanMatrices:
    """Plan matrices of bilinear quads, equation (2); points (2, nodes) m, quads (4, cells)."""
    from skfem import Basis, BilinearForm, ElementQuad1, MeshQuad
    from skfem.helpers import dot, grad

    corners = np.array([[0.0, 1.0, 1.0, 0.0], [0.0, 0.0, 1.0, 1.0]])
    rule = (corners, np.full(4, 0.25)) if integration == "lumped" else None
    mesh = MeshQuad(points, quads, validate=False, sort_t=False)
    basis = Basis(mesh, ElementQuad1(), quadrature=rule, intorder=None if rule else 3)

    @BilinearForm
    def diffusion(u, v, _):  # type: ignore[no-untyped-def]
        return dot(grad(u), grad(v))

    @BilinearForm
    def mass(u, v, _):  # type: ignore[no-untyped-def]
        return u * v

    local = [form.elemental(basis).tolocal() for form in (diffusion, mass)]
    return PlanMatrices(points, quads, local[0], local[1], integration)


def layered_matrix(
    plan: PlanMatrices, heights: Array, in_plane: Array, across: Array
) -> sparse.csr_array:
    """Matrix (1) for coefficients k_xy and k_z given per slab and plan cell, (slabs, cells).

    heights : slab thicknesses, m.  Unknowns run down the lines: node * levels + level.
    """
    row, column, gather = plan.pattern
    spread = (in_plane[:, :, None, None] * plan.stiffness).reshape(len(heights), -1)
    pierce = (across[:, :, None, None] * plan.mass).reshape(len(heights), -1)
    A = (gather @ spread.T).T * heights[:, None]
    M = (gather @ pierce.T).T / heights[:, None]
    own, other = (0.5, 0.0) if plan.integration == "lumped" else (1 / 3, 1 / 6)
    levels = len(heights) + 1
    same = np.zeros((levels, len(row)))
    same[:-1] += own * A + M
    same[1:] += own * A + M
    next_ = other * A - M
    level, size = np.arange(levels)[:, None], plan.nodes * levels
    i, j = row * levels + level, column * levels + level
    i = np.concatenate([i.ravel(), i[:-1].ravel(), i[1:].ravel()])
    j = np.concatenate([j.ravel(), j[1:].ravel(), j[:-1].ravel()])
    values = np.concatenate([same.ravel(), next_.ravel(), next_.ravel()])
    keep = values != 0
    return sparse.csr_array((values[keep], (i[keep], j[keep])), shape=(size, size))


def plan_operator(plan: PlanMatrices, sheet: Array) -> sparse.csr_array:
    """Operator of the plane alone for a sheet conductance k t of each cell, made definite."""
    row, column, gather = plan.pattern
    stiffness = gather @ (sheet[:, None, None] * plan.stiffness).ravel()
    shape = (plan.nodes, plan.nodes)
    A = sparse.csr_array((stiffness, (row, column)), shape=shape)
    return sparse.csr_array(A + sparse.diags_array(1e-6 * A.diagonal()))
