"""Coarser plans: the Galerkin product of the couplings, weights, and how fast plans shrink."""

import numpy as np
import pytest
from operators import disc, plan_of, rectangles, skewed, unstructured
from scipy import sparse

from thermo.solve import layered_operator, plan_matrices
from thermo.solve.coarser import coarser_plans


def sheet_operator(plan, decades=2):
    """One slab of random conductivities."""
    cells = plan.share.shape[1]
    k = 10 ** np.random.default_rng(1).uniform(0, decades, (1, cells))
    return layered_operator(plan, np.array([1e-3]), k, k)


def laplacian(graph, c):
    K = sparse.csr_array((-c, tuple(graph.ends)), shape=(graph.nodes, graph.nodes))
    K = K + K.T
    return K - sparse.diags_array(K.sum(1))


@pytest.mark.parametrize("shape", [rectangles, skewed, disc, unstructured])
def test_each_coarser_plan_is_the_galerkin_product_of_the_finer(shape):
    """P^T K P for random couplings; 1e-13 is rounding.

    Rows of P sum to 1 and have no negative weight, which would turn the sign of what couples
    through the stack.
    """
    _, _, plan = plan_of(shape, 20, 18)
    operator = sheet_operator(plan)
    graph, c = plan.graph, operator.side.sum(1)
    found = coarser_plans(operator)
    assert len(found) >= 2
    for step in found:
        K, P = laplacian(graph, c), step.up
        graph, c = step.coarse, step.gather @ c
        product = P.T @ K @ P
        assert abs(laplacian(graph, c) - product).max() <= 1e-13 * abs(product).max()
        assert P.sum(1) == pytest.approx(np.ones(P.shape[0]), abs=1e-12)
        assert P.data.min() >= 0
        assert (step.down - P.T).nnz == 0


@pytest.mark.parametrize("shape", [rectangles, disc, unstructured])
def test_plans_shrink_to_a_few_nodes_and_all_together_cost_little(shape):
    """All coarser plans together: at most 1.5 times the nodes of the finest (0.6 a step)."""
    _, _, plan = plan_of(shape, 60, 60)
    sizes = [step.coarse.nodes for step in coarser_plans(sheet_operator(plan, 0))]
    assert sizes[-1] <= 40
    assert sum(sizes) <= 1.5 * plan.nodes


def test_lines_closest_together_go_first():
    """Cells 10 times longer in x than in y: the first step leaves the lines in x alone."""
    points, quads = rectangles(20, 20, 0.8, 0.08)
    x, y = points[0, :21], points[1, ::21]
    plan = plan_matrices(points, quads, "lumped", (x, y))
    kept_x, kept_y = coarser_plans(sheet_operator(plan, 0))[0].coarse.lines
    assert kept_x.tolist() == x.tolist()
    assert len(kept_y) < 0.6 * len(y)
    assert (kept_y[0], kept_y[-1]) == (y[0], y[-1])
