"""Direct solution by modes where layers are even: against elimination and as the oracle."""

import numpy as np
import pytest
from operators import grid_of_lines

from thermo.errors import SolveError
from thermo.solve import Solver, layered_operator, plan_matrices, solved_directly
from thermo.solve.separable import Separable

# slab heights (m) and conductivities of an invented stack: layers 1e5 apart
HEIGHTS = np.array([8e-3, 180e-6, 12e-6, 150e-6, 60e-6, 100e-6, 25e-6, 4e-3, 1e-5, 12e-3])
K_XY = np.array([160.0, 90, 317, 0.004, 0.2, 0.2, 0.2, 390, 0.1, 160])
K_Z = K_XY * np.linspace(0.5, 2, len(K_XY))
BOTH = pytest.mark.parametrize("integration", ["lumped", "exact"])


def films():
    loss = np.zeros(len(HEIGHTS) + 1)
    loss[0], loss[4], loss[-1] = 6.0, 20.0, 3000.0
    return loss


def operator(x, y, integration, loss, heights=HEIGHTS, k_xy=K_XY, k_z=K_Z):
    """The same by the layered operator; films by the mass of the integration."""
    plan = plan_matrices(*grid_of_lines(x, y), integration, (x, y))
    ones = np.ones(plan.share.shape[1])
    K = layered_operator(plan, heights, k_xy[:, None] * ones, k_z[:, None] * ones)
    K.loss[:] += loss * (plan.share @ ones)[:, None]
    if plan.overlap is not None:
        K.side[:] -= loss * (plan.overlap @ ones)[:, None]
    return K


def graded_lines(n, length, seed):
    steps = np.random.default_rng(seed).uniform(0.1, 3, n)
    return np.concatenate([[0], np.cumsum(steps)]) * length / steps.sum()


@BOTH
def test_modes_give_what_elimination_gives(integration):
    """Uneven lines, films at three levels: 1e-10 of the peak, as elimination itself rounds."""
    x, y = graded_lines(14, 0.03, 1), graded_lines(11, 0.05, 2)
    K = operator(x, y, integration, films())
    b = np.random.default_rng(3).uniform(size=K.shape)
    T = solved_directly(K, b)
    found = Separable((x, y), integration, HEIGHTS, K_XY, K_Z, films()).solve(b)
    assert abs(found - T).max() <= 1e-10 * T.max()


@pytest.mark.parametrize("shift", [3.0e4, 40j, 2e6j], ids=["real", "slow", "fast"])
def test_a_shift_is_a_larger_loss_real_or_complex(shift):
    x, y = graded_lines(9, 0.03, 1), graded_lines(8, 0.05, 2)
    C = np.linspace(1, 2, len(HEIGHTS) + 1)
    K = operator(x, y, "lumped", films())
    mass = K.loss[:, -1:] / films()[-1] * C
    b = np.random.default_rng(3).uniform(size=K.shape) * np.ones_like(shift)
    T = solved_directly(K.shifted(shift, mass), b)
    found = Separable((x, y), "lumped", HEIGHTS, K_XY, K_Z, films() + shift * C).solve(b)
    assert abs(found - T).max() <= 1e-10 * abs(T).max()


def test_an_even_source_heats_evenly_whatever_the_lines():
    """Rise q/h under a flux q on the back film; lines from 1 um to 5 mm apart: 1e-10 is rounding.

    The even mode is put in exactly: its computed eigenvalue would leak as a film of its own.
    """
    x = np.concatenate([np.linspace(0, 1e-5, 11), np.linspace(5e-3, 0.1, 20)])
    loss = np.zeros(len(HEIGHTS) + 1)
    loss[-1] = 5.0
    share = (np.append(np.diff(x), 0) + np.insert(np.diff(x), 0, 0)) / 2
    b = np.zeros((len(x) ** 2, len(loss)))
    b[:, -1] = 700.0 * np.outer(share, share).ravel()
    T = Separable((x, x), "lumped", HEIGHTS, K_XY, K_Z, loss).solve(b)
    assert abs(T[:, -1] / 140.0 - 1).max() < 1e-10
    assert abs(T / 140.0 - 1).max() < 1e-10


def test_multigrid_agrees_with_the_modes_at_200_000_unknowns():
    """Residual 1e-10 leaves 1e-8 of the peak: the condition of a cooled stack is about 1e2."""
    x, y = np.linspace(0, 0.08, 140), np.linspace(0, 0.07, 131)
    K = operator(x, y, "lumped", films())
    b = np.random.default_rng(4).uniform(size=K.shape)
    b[: len(b) // 2] = 0
    assert b.size > 200_000
    found = Solver().solve(K, b)
    T = Separable((x, y), "lumped", HEIGHTS, K_XY, K_Z, films()).solve(b)
    assert found.iterations <= 12
    assert abs(found.x - T).max() <= 1e-8 * T.max()


def test_the_solver_takes_the_modes_without_iterating_and_checks_their_residual():
    x, y = graded_lines(9, 0.03, 1), graded_lines(8, 0.05, 2)
    K = operator(x, y, "lumped", films())
    b = np.random.default_rng(3).uniform(size=K.shape)
    found = Solver().solve(K, b, even=Separable((x, y), "lumped", HEIGHTS, K_XY, K_Z, films()))
    assert found.iterations == 0
    assert abs(found.x - solved_directly(K, b)).max() <= 1e-10 * found.x.max()
    wrong = Separable((x, y), "lumped", HEIGHTS, 1.01 * K_XY, K_Z, films())
    mended = Solver().solve(K, b, even=wrong)  # the residual finds it out, the iteration goes on
    assert mended.iterations > 0
    assert abs(mended.x - found.x).max() <= 1e-8 * found.x.max()


def test_a_stack_that_loses_nothing_is_refused():
    x = np.linspace(0, 1, 5)
    none = np.zeros(len(HEIGHTS) + 1)
    with pytest.raises(SolveError, match="loses no heat"):
        Separable((x, x), "lumped", HEIGHTS, K_XY, K_Z, none).solve(np.ones((25, len(none))))
    void = K_XY.copy()
    void[3] = 0
    none[-1] = 5.0
    with pytest.raises(SolveError, match="loses no heat"):
        Separable((x, x), "lumped", HEIGHTS, void, void, none).solve(np.ones((25, len(none))))


# The block of tests/verification: 10 x 10 mm, PMMA 0.5, glue 0.1, silicon 0.5 mm; films 300 and
# 2000 W/(m2 K), 1000 W/m2 on a corner patch of 2.5 x 2.5 mm.  Double cosine series in the style of
# H. S. Carslaw and J. C. Jaeger (derived): corner and far corner, back of each layer.
SERIES = [
    [0.22143680778, 0.0438564985706, 0.0428126738524],
    [0.0084758173641, 0.0089536781366, 0.0089259212519],
]


def patch_errors(integration, x, cuts):
    """Errors of six temperatures relative to the series, and unknowns."""
    heights = np.concatenate([np.diff(c) for c in cuts])
    count = [len(c) - 1 for c in cuts]
    k = np.repeat([0.2, 0.3, 148.0], count)
    loss = np.zeros(len(heights) + 1)
    loss[0], loss[-1] = 300.0, 2000.0
    h = np.diff(x)
    lit = x[1:] <= 2.5e-3 * (1 + 1e-9)
    share = (np.append(h * lit, 0) + np.insert(h * lit, 0, 0)) / 2
    b = np.zeros((len(x) ** 2, len(loss)))
    b[:, 0] = 1000.0 * np.outer(share, share).ravel()
    T = Separable((x, x), integration, heights, k, k, loss).solve(b)
    return T[[0, -1]][:, np.cumsum(count)] / SERIES - 1, b.size


def patch_lines(n, m, growth):
    """Lines over 10 mm, closer beside the edge of the patch."""

    def beside(length, cells):
        sizes = growth ** np.arange(cells)
        return length * np.concatenate([[0], np.cumsum(sizes)]) / sizes.sum()

    inner, outer = beside(2.5e-3, n), beside(7.5e-3, m)
    return np.concatenate([2.5e-3 - inner[::-1], 2.5e-3 + outer[1:]])


@pytest.mark.parametrize(("integration", "allowed"), [("exact", 1e-5), ("lumped", 5e-5)])
def test_block_lit_on_a_corner_patch_agrees_with_the_series_at_two_million(integration, allowed):
    """201 x 201 lines, 48 slabs; measured 5.7e-6 with full and 2.2e-5 with corner integration."""
    cuts = [np.linspace(0, t, n + 1) for t, n in ((0.5e-3, 24), (0.1e-3, 6), (0.5e-3, 18))]
    errors, unknowns = patch_errors(integration, patch_lines(80, 120, 1.02), cuts)
    assert unknowns > 1.9e6
    assert abs(errors).max() < allowed
