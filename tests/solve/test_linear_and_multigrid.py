"""Solver: multigrid symmetry and speed, agreement with the direct solve, and its own checks."""

import numpy as np
import pytest
from operators import anchored_system, rectangles, skewed
from scipy import sparse
from scipy.sparse.linalg import spsolve

from thermo.errors import SolveError
from thermo.solve import Multigrid, Solver, linear, unanchored

# slab heights (m) and conductivities of invented stacks, mask to holder
STACK = np.array([8e-3, 180e-6, 12e-6, 150e-6, 60e-6, 100e-6, 100e-6, 25e-6, 4e-3, 1e-5, 12e-3])
K_STACK = np.array([160.0, 90, 317, 0.15, 0.2, 0.2, 0.2, 0.2, 390, 0.1, 160])


def stack(nx, ny, k=K_STACK, heights=STACK, voids=True, plan=rectangles):
    points, quads = plan(nx, ny)
    active = np.ones((len(heights), quads.shape[1]))
    if voids:
        x, y = points[:, quads].mean(1) / points.max()
        active[0, (abs(x - 0.5) < 0.3) & (abs(y - 0.5) < 0.3)] = 0  # the frame's opening
        active[4:8, (x < 0.1) | (y > 0.9)] = 0  # a sample smaller than its holder
    return anchored_system(points, quads, heights, k[:, None] * np.ones(quads.shape[1]), active)


def reached(K, x):
    """Residual 1e-10, or twice what rounding x leaves in K x (3e-10 for 12 um of gold here)."""
    b = load(K)
    left = np.linalg.norm(b - K @ x)
    rounding = np.finfo(float).eps * np.linalg.norm(abs(K) @ abs(x))
    return left <= 1.01 * max(1e-10 * np.linalg.norm(b), 2 * rounding)


def load(K):
    return np.random.default_rng(5).uniform(0, 1, K.shape[0])


def test_one_cycle_is_symmetric_and_positive():
    """u.Bv = v.Bu, or conjugate gradients would stray; 1e-12 is round-off over the levels."""
    K, layout = stack(24, 20)
    cycle = Multigrid(K, layout).cycle
    rng = np.random.default_rng(7)
    u, v = rng.standard_normal((2, K.shape[0]))
    Bu, Bv = cycle(u), cycle(v)
    assert len(Multigrid(K, layout).stages) >= 1
    assert u @ Bv == pytest.approx(v @ Bu, rel=1e-11, abs=1e-12 * np.sqrt((u @ Bu) * (v @ Bv)))
    assert u @ Bu > 0


@pytest.mark.parametrize("voids", [False, True], ids=["full", "voids"])
@pytest.mark.parametrize(
    ("thin", "jump"), [(1.0, 1.0), (0.01, 1.0), (100.0, 1.0), (1.0, 1e5), (0.01, 1e5)]
)
def test_few_iterations_over_thickness_ratios_and_conductivity_jumps(thin, jump, voids):
    """15 is the promise; layers from 0.1 um to metres thick, random conductivities 1e5 apart."""
    k = K_STACK if jump == 1 else 10 ** np.random.default_rng(11).uniform(-2.5, 2.5, len(STACK))
    K, layout = stack(32, 32, k, STACK * thin, voids)
    found = Solver().solve(K, layout, load(K))
    assert 0 < found.iterations <= 15


def test_few_iterations_where_cells_differ_side_by_side():
    """In-plane jumps of 1e3 between neighbours, as islands of metal make them."""
    points, quads = rectangles(40, 40)
    k = K_STACK[:, None] * np.ones(quads.shape[1])
    k[2] = 10 ** np.random.default_rng(13).uniform(-0.5, 2.5, quads.shape[1])
    K, layout = anchored_system(points, quads, STACK, k, np.ones_like(k))
    assert 0 < Solver().solve(K, layout, load(K)).iterations <= 15


@pytest.mark.parametrize("plan", [rectangles, skewed])
def test_direct_and_multigrid_agree(plan):
    """Residual 1e-10 times the condition of a cooled stack, about 1e2 for smooth answers."""
    K, layout = stack(18, 17, plan=plan)
    b = load(K)
    found = Solver().solve(K, layout, b)
    assert found.iterations > 0
    exact = spsolve(K.tocsc(), b)
    assert found.x == pytest.approx(exact, rel=1e-7, abs=1e-8 * abs(exact).max())


def test_small_systems_are_solved_directly():
    K, layout = stack(4, 4)
    found = Solver().solve(K, layout, load(K))
    assert found.iterations == 0
    assert reached(K, found.x)


def test_a_stale_multigrid_costs_iterations_but_never_accuracy():
    K, layout = stack(24, 24)
    solver = Solver()
    solver.solve(K, layout, load(K))
    kept = solver._kept
    warm, _ = stack(24, 24, K_STACK * np.linspace(0.7, 1.4, len(STACK)))
    found = solver.solve(warm, layout, load(warm))
    assert solver._kept is kept
    assert reached(warm, found.x)
    far, _ = stack(24, 24, K_STACK[::-1].copy())
    found = solver.solve(far, layout, load(far))
    assert solver._kept is not kept  # too stale: built anew
    assert reached(far, found.x)


def test_a_good_guess_saves_iterations():
    K, layout = stack(24, 24)
    solver, b = Solver(), load(K)
    cold = solver.solve(K, layout, b)
    warm = solver.solve(K, layout, b, cold.x * (1 + 1e-6))
    assert warm.iterations < cold.iterations


def test_no_source_gives_no_answer_to_solve():
    K, layout = stack(4, 4)
    assert not Solver().solve(K, layout, np.zeros(K.shape[0])).x.any()


def test_a_metal_film_thinner_than_round_off_resolves_is_still_solved():
    """1 um of gold: 3e8 W/(m2 K) across, and the last digit of x alone leaves 1e-9 of the heat."""
    heights, k = STACK.copy(), K_STACK.copy()
    heights[2] = 1e-6
    for size in (6, 24):
        K, layout = stack(size, size, k, heights, voids=False)
        b = np.zeros(K.shape[0])
        b[layout.level == 1] = 1.0
        found = Solver().solve(K, layout, b)
        assert found.residual < 1e-8


@pytest.mark.parametrize("size", [4, 24], ids=["direct", "multigrid"])
def test_a_residual_that_stays_raises(monkeypatch, size):
    """A preconditioner or factor that answers wrongly is found out by the solver's own check."""
    K, layout = stack(size, size)
    monkeypatch.setattr(linear, "MOST", 2)
    real = linear.splu
    monkeypatch.setattr(linear, "splu", lambda A: real(A * 1.001))
    with pytest.raises(SolveError, match=r"relative residual .* wanted 1e-10"):
        Solver().solve(K, layout, load(K))


def test_a_source_that_is_not_finite_is_refused():
    K, layout = stack(4, 4)
    b = load(K)
    b[3] = np.nan
    with pytest.raises(SolveError, match="not finite"):
        Solver().solve(K, layout, b)


def test_an_operator_that_is_not_positive_is_not_taken():
    K, layout = stack(24, 24)
    with pytest.raises(ArithmeticError, match="not positive definite"):
        Multigrid(sparse.csr_array(-K), layout)


def test_parts_tied_to_no_anchor_are_named():
    chain = sparse.diags_array([[-1.0, -1.0, 0.0, -1.0]] * 2, offsets=[-1, 1], shape=(5, 5))
    K = sparse.csr_array(chain + sparse.diags_array(np.full(5, 2.0)))
    anchored = np.array([False, True, False, False, False])
    assert unanchored(K, anchored).tolist() == [False, False, False, True, True]
