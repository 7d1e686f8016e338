"""The layered operator against a plain 3D assembly of trilinear bricks, and its signs."""

import numpy as np
import pytest
from operators import bricks, cooled, disc, plan_of, rectangles, skewed, unstructured
from scipy import sparse
from scipy.sparse.linalg import spsolve

from thermo.errors import SolveError
from thermo.solve import Solver, layered_operator, plan_matrices, solved_directly

HEIGHTS = np.array([0.3e-2, 0.05e-2, 0.7e-2])
PLANS = [rectangles, skewed, disc, unstructured]
BOTH = pytest.mark.parametrize("integration", ["lumped", "exact"])


def random_k(cells, seed=1, decades=(-2, 3)):
    rng = np.random.default_rng(seed)
    return (10 ** rng.uniform(*decades, (len(HEIGHTS), cells)) for _ in range(2))


@BOTH
@pytest.mark.parametrize("shape", PLANS)
def test_the_operator_equals_a_3d_assembly_with_the_same_quadrature(shape, integration):
    """1e-12: the same integrals at the same points, only summed in another order."""
    points, quads, plan = plan_of(shape, 4, 3, integration)
    k_xy, k_z = random_k(quads.shape[1])
    K = layered_operator(plan, HEIGHTS, k_xy, k_z).matrix()
    whole = bricks(points, quads, HEIGHTS, k_xy, k_z, integration)
    assert abs(K - whole).max() <= 1e-12 * abs(whole).max()


@BOTH
@pytest.mark.parametrize("shape", PLANS)
def test_temperatures_equal_those_of_the_3d_assembly_solved_directly(shape, integration):
    """1e-10 of the peak: same quadrature, so only rounding is between them."""
    points, quads, plan = plan_of(shape, 10, 9, integration)
    k = np.array([160.0, 0.2, 390.0])[:, None] * np.ones(quads.shape[1])
    K = cooled(plan, HEIGHTS, k, film=3000.0)
    film = np.zeros(K.shape)
    film[:, -1] = 3000.0 * plan.share.sum(1)
    b = np.random.default_rng(2).uniform(size=K.shape)
    whole = bricks(points, quads, HEIGHTS, k, k, integration) + sparse.diags_array(film.ravel())
    T = spsolve(whole.tocsc(), b.ravel()).reshape(K.shape)
    assert abs(solved_directly(K, b) - T).max() <= 1e-10 * T.max()
    assert abs(Solver(1e-13).solve(K, b).x - T).max() <= 1e-10 * T.max()


@BOTH
@pytest.mark.parametrize("kind", [float, complex])
def test_times_is_the_product_with_the_matrix(integration, kind):
    _, quads, plan = plan_of(skewed, 5, 4, integration)
    K = layered_operator(plan, HEIGHTS, *random_k(quads.shape[1]))
    K = K.shifted(2.0 + (0.7j if kind is complex else 0.0), np.ones(K.shape))
    x = np.random.default_rng(3).standard_normal(K.shape) * kind(1)
    expected = K.matrix() @ x.ravel()
    assert abs(K.times(x).ravel() - expected).max() <= 1e-13 * abs(expected).max()
    assert abs(K.diagonal.ravel() - K.matrix().diagonal()).max() <= 1e-14 * abs(K.diagonal).max()


@BOTH
@pytest.mark.parametrize("shape", PLANS)
def test_the_operator_is_symmetric_and_blind_to_a_constant(shape, integration):
    _, quads, plan = plan_of(shape, 4, 3, integration)
    operator = layered_operator(plan, HEIGHTS, *random_k(quads.shape[1]))
    K = operator.matrix()
    assert abs(K - K.T).max() <= 1e-15 * abs(K).max()
    assert abs(K @ np.ones(K.shape[0])).max() <= 1e-13 * abs(K).max()
    assert not operator.times(np.ones(operator.shape)).any()  # differences: not even rounding


def test_lumped_integration_has_no_positive_coupling_on_rectangles():
    """Random conductivities over five decades, one cell void: no off-diagonal entry is above 0."""
    _, quads, plan = plan_of(rectangles, 5, 4)
    k, _ = random_k(quads.shape[1], 3)
    k[1, 7] = 0
    K = layered_operator(plan, HEIGHTS, k, k).matrix()
    off = K - sparse.diags_array(K.diagonal())
    assert off.max() <= 0


@BOTH
def test_the_linear_field_carries_the_flux_of_fouriers_law(integration):
    """T = z through full layers: heat k A in at one face, out at the other, none inside."""
    _, quads, plan = plan_of(skewed, 3, 3, integration)
    k = np.full((3, quads.shape[1]), 7.0)
    K = layered_operator(plan, HEIGHTS, k, k)
    z = np.concatenate([[0], np.cumsum(HEIGHTS)])
    flow = K.times(np.tile(z, (plan.nodes, 1))).sum(0)
    area = plan.share.sum()
    assert flow == pytest.approx([-7 * area, 0, 0, 7 * area], abs=1e-12 * area)


@pytest.mark.parametrize("shape", PLANS)
def test_lumping_the_cross_couplings_keeps_every_row_sum(shape):
    """Row sums are the losses; a tilt through the layers keeps its heat, too."""
    _, quads, plan = plan_of(shape, 4, 3, "exact")
    K = cooled(plan, HEIGHTS, next(random_k(quads.shape[1])))
    lumped = K.lumped()
    assert lumped.cross is None
    ones = np.ones(K.matrix().shape[0])
    size = abs(K.matrix()).max()
    assert abs(lumped.matrix() @ ones - K.matrix() @ ones).max() <= 1e-13 * size
    tilt = np.tile(np.arange(4.0), (plan.nodes, 1))
    assert abs(lumped.times(tilt) - K.times(tilt)).max() <= 1e-13 * size


def test_parts_name_what_a_void_cuts_off():
    """The sample beyond an empty slab is a part of its own, and so is every node of the void."""
    _, quads, plan = plan_of(rectangles, 3, 2)
    k = np.ones((3, quads.shape[1]))
    k[1] = 0
    part = layered_operator(plan, HEIGHTS, k, k).parts()
    assert np.unique(part[:, :2]).size == 1
    assert np.unique(part[:, 2:]).size == 1
    assert part[0, 0] != part[0, 2]
    k[0, 0] = k[1, 1] = 1  # one bridge
    assert np.unique(layered_operator(plan, HEIGHTS, k, k).parts()).size == 1
    k[:] = 0
    k[:, 0] = 1
    part = layered_operator(plan, HEIGHTS, k, k).parts()
    used = np.zeros(plan.nodes, bool)
    used[quads[:, 0]] = True
    assert np.unique(part[used]).size == 1
    assert np.unique(part[~used]).size == 4 * (~used).sum()


def test_a_quad_that_is_not_convex_is_refused_by_number():
    points, quads, _ = plan_of(rectangles, 3, 2)
    bent = points.copy()
    bent[:, 0] = bent[:, 5] + 0.01
    with pytest.raises(SolveError, match="plan cell 0 is turned over or not convex"):
        plan_matrices(bent, quads)
