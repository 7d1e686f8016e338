"""The layered matrix against a plain 3D assembly of trilinear bricks, and its signs."""

import numpy as np
import pytest
from operators import rectangles, skewed
from scipy import sparse
from skfem import Basis, BilinearForm, ElementHex1, MeshHex
from skfem.helpers import grad

from thermo.solve import layered_matrix, plan_matrices

HEIGHTS = np.array([0.3, 0.05, 0.7])


def bricks(points, quads, k_xy, k_z):
    """3D assembly by scikit-fem, unknowns reordered to node * levels + level."""
    z = np.concatenate([[0], np.cumsum(HEIGHTS)])
    nodes, levels = points.shape[1], len(z)
    xyz = np.vstack([np.tile(points, levels), np.repeat(z, nodes)])
    lower = [quads + i * nodes for i in range(levels - 1)]
    bottom = np.hstack(lower)
    a, b, c, d = bottom
    e, f, g, h = bottom + nodes
    # corner order of the library's reference brick
    mesh = MeshHex(xyz, np.stack([a, b, d, e, c, f, h, g]), validate=False, sort_t=False)
    basis = Basis(mesh, ElementHex1(), intorder=3)

    @BilinearForm
    def conduction(u, v, w):
        du, dv = grad(u), grad(v)
        return w.kxy * (du[0] * dv[0] + du[1] * dv[1]) + w.kz * du[2] * dv[2]

    fields = {"kxy": k_xy.reshape(-1, 1), "kz": k_z.reshape(-1, 1)}
    K = conduction.assemble(basis, **fields)
    order = (np.arange(levels)[None, :] * nodes + np.arange(nodes)[:, None]).ravel()
    return K.tocsr()[order][:, order]


@pytest.mark.parametrize("shape", [rectangles, skewed])
def test_exact_integration_equals_trilinear_bricks(shape):
    """1e-12: the same integrals by the same Gauss points, only summed in another order."""
    points, quads = shape(4, 3)
    rng = np.random.default_rng(1)
    k_xy, k_z = (10 ** rng.uniform(-2, 3, (3, quads.shape[1])) for _ in range(2))
    K = layered_matrix(plan_matrices(points, quads, "exact"), HEIGHTS, k_xy, k_z)
    whole = bricks(points, quads, k_xy, k_z)
    assert abs(K - whole).max() <= 1e-12 * abs(whole).max()


@pytest.mark.parametrize("shape", [rectangles, skewed])
@pytest.mark.parametrize("integration", ["lumped", "exact"])
def test_the_operator_is_symmetric_and_blind_to_a_constant(shape, integration):
    points, quads = shape(4, 3)
    k = 10 ** np.random.default_rng(2).uniform(-2, 3, (3, quads.shape[1]))
    K = layered_matrix(plan_matrices(points, quads, integration), HEIGHTS, k, k)
    assert abs(K - K.T).max() <= 1e-15 * abs(K).max()
    assert abs(K @ np.ones(K.shape[0])).max() <= 1e-13 * abs(K).max()


def test_lumped_integration_has_no_positive_coupling_on_rectangles():
    """Random conductivities over five decades, one cell void: no off-diagonal entry is above 0."""
    points, quads = rectangles(5, 4, 0.3, 0.1)
    k = 10 ** np.random.default_rng(3).uniform(-2, 3, (3, quads.shape[1]))
    k[1, 7] = 0
    K = layered_matrix(plan_matrices(points, quads, "lumped"), HEIGHTS, k, k)
    off = K - sparse.diags_array(K.diagonal())
    assert off.max() <= 0


def test_the_linear_field_carries_the_flux_of_fouriers_law():
    """T = z through full layers: heat k A in at one face, out at the other, none inside."""
    points, quads = skewed(3, 3)
    k = np.full((3, 9), 7.0)
    plan = plan_matrices(points, quads, "exact")
    K = layered_matrix(plan, HEIGHTS, k, k)
    z = np.concatenate([[0], np.cumsum(HEIGHTS)])
    flow = (K @ np.tile(z, plan.nodes)).reshape(-1, 4)
    area = plan.mass.sum()
    assert flow.sum(0) == pytest.approx([-7 * area, 0, 0, 7 * area], abs=1e-12)
