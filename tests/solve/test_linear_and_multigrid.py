"""Solver: multigrid symmetry and speed, agreement with the direct solve, and its own checks."""

import tracemalloc

import numpy as np
import pytest
from operators import cooled, disc, plan_of, rectangles, skewed, unstructured
from scipy.sparse.linalg import spsolve

from thermo.errors import SolveError
from thermo.solve import Multigrid, Solver, linear, plan_matrices, solved_directly
from thermo.solve.linear import within_reach

# slab heights (m) and conductivities of invented stacks, mask to holder
STACK = np.array([8e-3, 180e-6, 12e-6, 150e-6, 60e-6, 100e-6, 100e-6, 25e-6, 4e-3, 1e-5, 12e-3])
K_STACK = np.array([160.0, 90, 317, 0.15, 0.2, 0.2, 0.2, 0.2, 390, 0.1, 160])
RESIST = 4  # first level of the resist
PLANS = [rectangles, skewed, disc, unstructured]


def stack(nx, ny, k=K_STACK, heights=STACK, voids=True, shape=rectangles, film=100.0):
    points, quads, plan = plan_of(shape, nx, ny)
    active = np.ones((len(heights), quads.shape[1]))
    if voids:
        x, y = points[:, quads].mean(1)
        x, y = (x - points[0].min()) / np.ptp(points[0]), (y - points[1].min()) / np.ptp(points[1])
        active[0, (abs(x - 0.5) < 0.3) & (abs(y - 0.5) < 0.3)] = 0  # the frame's opening
        active[4:8, (x < 0.1) | (y > 0.9)] = 0  # a sample smaller than its holder
    return cooled(
        plan, heights, k.reshape(len(heights), -1) * np.ones(quads.shape[1]), active, film
    )


def load(K, seed=5):
    """Random heat wherever there is something."""
    b = np.random.default_rng(seed).uniform(0, 1, K.shape)
    return np.where(K.diagonal != 0, b, 0.0)


def reached(K, x):
    """Residual 1e-10, or what rounding x leaves in K x where that is more (12 um of gold here).

    From the matrix, not from what the solver says of itself.
    """
    A, b = K.matrix(), load(K).ravel()
    rounding = np.finfo(float).eps * np.linalg.norm(abs(A) @ np.abs(x.ravel()))
    return np.linalg.norm(b - A @ x.ravel()) <= 1.02 * max(1e-10 * np.linalg.norm(b), rounding)


@pytest.mark.parametrize("shape", PLANS)
def test_one_cycle_is_symmetric_and_positive(shape):
    """u.Bv = v.Bu to the rounding of single precision, or conjugate gradients would stray."""
    K = stack(24, 20, shape=shape)
    multigrid = Multigrid(K)
    u, v = np.where(K.diagonal != 0, np.random.default_rng(7).standard_normal((2, *K.shape)), 0)
    Bu, Bv = multigrid.cycle(u).astype(float), multigrid.cycle(v).astype(float)
    assert len(multigrid.stages) >= 2
    size = np.sqrt((u * Bu).sum() * (v * Bv).sum())
    assert (u * Bv).sum() == pytest.approx((v * Bu).sum(), abs=1e-5 * size)
    assert (u * Bu).sum() > 0


@pytest.mark.parametrize("voids", [False, True], ids=["full", "voids"])
@pytest.mark.parametrize(
    ("thin", "jump"), [(1.0, 1.0), (0.01, 1.0), (100.0, 1.0), (1.0, 1e5), (0.01, 1e5)]
)
def test_few_iterations_over_thickness_ratios_and_conductivity_jumps(thin, jump, voids):
    """15 is the promise; layers from 0.1 um to metres thick, random conductivities 1e5 apart."""
    k = K_STACK if jump == 1 else 10 ** np.random.default_rng(11).uniform(-2.5, 2.5, len(STACK))
    K = stack(32, 32, k, STACK * thin, voids)
    assert 0 < Solver().solve(K, load(K)).iterations <= 15


@pytest.mark.parametrize("voids", [False, True], ids=["full", "voids"])
def test_few_iterations_where_cells_differ_side_by_side(voids):
    """In-plane jumps of 1e3 between neighbours, as islands of metal make them."""
    k = K_STACK[:, None] * np.ones(1600)
    k[2] = 10 ** np.random.default_rng(13).uniform(-0.5, 2.5, 1600)
    K = stack(40, 40, k, voids=voids)
    assert 0 < Solver().solve(K, load(K)).iterations <= 15


@pytest.mark.parametrize("shape", PLANS)
@pytest.mark.parametrize("voids", [False, True], ids=["full", "voids"])
def test_few_iterations_on_any_plan(shape, voids):
    """Grids of lines and quads of any shape, 10^4 plan nodes under a stack of eleven slabs.

    18 instead of 15 where scattered cells give the voids a ragged edge that no coarser plan keeps.
    """
    K = stack(96, 96, shape=shape, voids=voids, film=3000.0)
    ragged = voids and shape is unstructured
    assert 0 < Solver().solve(K, load(K)).iterations <= (18 if ragged else 15)


@pytest.mark.parametrize("shape", PLANS)
def test_one_micrometre_of_gold_hides_no_weak_film_in_single_precision(shape):
    """3e8 W/(m2 K) across against a film of 10: lost in single precision as a difference."""
    heights = STACK.copy()
    heights[2] = 1e-6
    K = stack(48, 48, heights=heights, voids=False, shape=shape, film=10.0)
    assert K.link[:, 2].max() / K.loss[:, -1].max() > 1e7
    assert 0 < Solver().solve(K, load(K)).iterations <= 15


@pytest.mark.parametrize("shape", PLANS)
def test_direct_and_multigrid_agree(shape):
    """Residual 1e-10 times the condition of a cooled stack, about 1e2 for smooth answers."""
    K = stack(18, 17, shape=shape)
    b = load(K)
    found = Solver().solve(K, b)
    exact = solved_directly(K, b)
    assert found.iterations > 0
    assert found.x == pytest.approx(exact, rel=1e-7, abs=1e-8 * abs(exact).max())


def test_few_nodes_are_solved_at_once():
    """Up to 40 lines the cycle is an elimination; what is left is its rounding, 12 um of gold."""
    K = stack(4, 4)
    found = Solver().solve(K, load(K))
    assert found.iterations <= 6  # a second start where rounding rules
    assert reached(K, found.x)


def test_a_void_stays_empty():
    K = stack(24, 20)
    found = Solver().solve(K, load(K))
    nothing = K.diagonal == 0
    assert nothing.any()
    assert not found.x[nothing].any()


def test_a_stale_multigrid_costs_iterations_but_never_accuracy():
    K = stack(24, 24)
    solver = Solver()
    solver.solve(K, load(K))
    kept = solver.multigrid
    warm = stack(24, 24, K_STACK * np.linspace(0.7, 1.4, len(STACK)))
    found = solver.solve(warm, load(warm))
    assert solver.multigrid is kept
    assert reached(warm, found.x)
    far = stack(24, 24, K_STACK[::-1].copy())
    found = solver.solve(far, load(far))
    assert solver.multigrid is not kept  # too stale: built anew
    assert reached(far, found.x)


def test_a_good_guess_saves_iterations():
    K = stack(24, 24)
    solver, b = Solver(), load(K)
    cold = solver.solve(K, b)
    warm = solver.solve(K, b, cold.x * (1 + 1e-6))
    assert warm.iterations < cold.iterations


def test_no_source_gives_no_answer_to_solve():
    K = stack(4, 4)
    assert not Solver().solve(K, np.zeros(K.shape)).x.any()


def test_a_metal_film_thinner_than_round_off_resolves_is_still_solved():
    """1 um of gold: 3e8 W/(m2 K) across, and the last digit of x alone leaves 1e-9 of the heat."""
    heights = STACK.copy()
    heights[2] = 1e-6
    for size in (6, 24):
        K = stack(size, size, heights=heights, voids=False)
        b = np.zeros(K.shape)
        b[:, 1] = 1.0
        assert Solver().solve(K, b).residual < 1e-8


@pytest.mark.parametrize(
    "shift", [1e-4, 1e3, 1e-4j, 1j, 1e2j, 1e6j, 5 + 5j], ids=lambda s: f"{s:.0e}"
)
def test_a_real_or_complex_shift_is_solved_by_the_same_cycle(shift):
    """K + s M against elimination, M like heat capacities; few iterations from slow to fast.

    1e-7 of the peak: the residual times a condition of 1e2 to 1e3.
    """
    K = stack(20, 18)
    capacity = np.linspace(1, 3, K.shape[1]) * (K.link + np.roll(K.link, 1, axis=1)).mean()
    S = K.shifted(shift, np.where(K.diagonal != 0, capacity, 0))
    b = load(K) * np.ones_like(shift)
    multigrid = Multigrid(S)
    assert multigrid.single is (np.complex64 if np.iscomplexobj(b) else np.float32)
    found = Solver().solve(S, b)
    A = S.matrix()
    A.setdiag(A.diagonal() + (A.diagonal() == 0))
    exact = spsolve(A.tocsc(), b.ravel()).reshape(b.shape)
    assert 0 < found.iterations <= 15
    assert abs(found.x - exact).max() <= 1e-7 * abs(exact).max()


def test_a_source_in_step_drives_a_complex_operator():
    """A real right-hand side with a complex operator, from nothing and from a complex guess."""
    K = stack(12, 11)
    S = K.shifted(0.3j, np.where(K.diagonal != 0, 1.0, 0.0))
    b = load(K)
    x = Solver().solve(S, b).x
    assert abs(x.imag).max() > 0
    again = Solver().solve(S, b, x)
    assert again.iterations <= 1
    assert abs(again.x - x).max() <= 1e-7 * abs(x).max()


def spot(K, level=RESIST):
    """Heat at one line of nodes only."""
    b = np.zeros(K.shape)
    b[K.shape[0] // 2, level] = 1.0
    return b


def patch(points, K):
    """Even heat in the resist of a quarter of the plan: steps at its edges, as a pattern makes."""
    b = np.zeros(K.shape)
    b[(points < np.median(points, axis=1, keepdims=True)).all(0), RESIST : RESIST + 4] = 1.0
    return b


def test_no_place_gets_colder_than_its_sink_on_rectangles():
    """M-matrix (R. S. Varga, 1962); -1e-9 of the peak is the solver's tolerance."""
    for K in (stack(40, 40), stack(40, 40, voids=False, film=3000.0)):
        for b in (spot(K), spot(K, 0), load(K)):
            T = Solver().solve(K, np.where(K.diagonal != 0, b, 0)).x
            assert T.min() >= -1e-9 * T.max()


@pytest.mark.parametrize("shape", [skewed, disc, unstructured])
def test_bent_plans_get_hardly_colder_than_their_sink(shape):
    """Obtuse corners give no such guarantee: -1e-4 of the peak for heat as a pattern brings it.

    Heat at a single node, which nothing in a case brings, goes down to -2e-3; printed.
    """
    points, _, _ = plan_of(shape, 48, 48)
    K = stack(48, 48, voids=False, shape=shape, film=3000.0)
    low = [
        (T.min() / T.max()) for T in (Solver().solve(K, b).x for b in (patch(points, K), spot(K)))
    ]
    print(
        f"{shape.__name__}: lowest rise over highest {low[0]:.1e} lit patch, {low[1]:.1e} one node"
    )
    assert low[0] >= -1e-4
    assert low[1] >= -5e-3


def test_memory_reported_is_what_a_solve_allocates():
    """Against the count of the interpreter; 15 % for what lives for an instant only."""
    K = stack(60, 60, voids=False)
    b = load(K)
    Solver().solve(K, b)  # loops compiled, couplings' rows made
    tracemalloc.start()
    found = Solver().solve(K, b)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found.nbytes - K.nbytes - b.nbytes == pytest.approx(peak, rel=0.15)


def test_rounding_excuses_only_what_thin_metal_makes_unreachable():
    """A mild stack has no excuse; 0.05 um of gold has, and its answer is elimination's."""
    mild = stack(24, 24, np.full(len(STACK), 1.0), np.full(len(STACK), 1e-3), voids=False)
    x = Solver().solve(mild, load(mild)).x
    assert within_reach(mild, x, np.linalg.norm(load(mild))) < 1e-12
    heights = STACK.copy()
    heights[2] = 0.05e-6
    K = stack(14, 14, heights=heights, voids=False, film=10.0)
    b = load(K)
    found = Solver().solve(K, b)
    assert 1e-10 < found.residual < 1e-6
    exact = solved_directly(K, b)  # its own rounding is as large: 1e-16 times 6e9/10
    assert abs(found.x - exact).max() <= 1e-6 * exact.max()


def test_no_rounding_excuses_a_residual_above_the_ceiling(monkeypatch):
    heights = STACK.copy()
    heights[2] = 0.05e-6
    K = stack(14, 14, heights=heights, voids=False, film=10.0)
    monkeypatch.setattr(linear, "CEILING", 1e-9)
    with pytest.raises(SolveError, match="relative residual"):
        Solver().solve(K, load(K))


def test_a_first_good_guess_does_not_let_the_multigrid_be_built_again_and_again(monkeypatch):
    K, built = stack(24, 24), []
    x = solved_directly(K, load(K))
    real = linear.Multigrid
    monkeypatch.setattr(linear, "Multigrid", lambda A: built.append(A) or real(A))
    solver = Solver()
    solver.solve(K, load(K), x)
    for seed in range(4):
        solver.solve(K, load(K, seed))
    assert len(built) <= 2  # once more when the first real solve tells what is usual


@pytest.mark.parametrize("shape", [(1, 19), (60, 1), (1, 60)])
@pytest.mark.parametrize("integration", ["lumped", "exact"])
def test_plans_one_cell_wide_are_solved(shape, integration):
    x, y = (np.linspace(0, 0.01 * n, n + 1) for n in shape)
    grid = np.meshgrid(x, y)
    row = len(x)
    first = (np.arange(len(y) - 1)[:, None] * row + np.arange(row - 1)).ravel()
    quads = np.stack([first, first + 1, first + row + 1, first + row])
    points = np.stack([g.ravel() for g in grid])
    plan = plan_matrices(points, quads, integration, (x, y))
    k = K_STACK[:, None] * np.linspace(1, 2, quads.shape[1])
    K = cooled(plan, STACK, k, np.ones_like(k), 100.0)
    b = load(K)
    exact = solved_directly(K, b)
    assert abs(Solver().solve(K, b).x - exact).max() <= 1e-7 * abs(exact).max()


@pytest.mark.parametrize(("ratio", "most"), [(1, 12), (10, 15), (100, 24)])
def test_iterations_over_the_ratio_of_the_longest_to_the_shortest_cell(ratio, most):
    """Lines graded to both sides; about 6 in the shipped cases."""
    half = np.geomspace(1, ratio, 24)
    cells = np.concatenate([half[::-1], half])
    lines = np.concatenate([[0], np.cumsum(cells)]) * 0.08 / cells.sum()
    x, y = np.meshgrid(lines, lines)
    row = len(lines)
    first = (np.arange(row - 1)[:, None] * row + np.arange(row - 1)).ravel()
    quads = np.stack([first, first + 1, first + row + 1, first + row])
    plan = plan_matrices(np.stack([x.ravel(), y.ravel()]), quads, "lumped", (lines, lines))
    k = K_STACK[:, None] * np.ones(quads.shape[1])
    K = cooled(plan, STACK, k, np.ones_like(k), 100.0)
    assert Solver().solve(K, load(K)).iterations <= most


def test_fields_that_do_not_belong_to_the_operator_are_refused():
    K = stack(6, 6)
    with pytest.raises(SolveError, match="complex field for a real operator"):
        Solver().solve(K, load(K) * 1j)
    with pytest.raises(SolveError, match="start from is not finite"):
        Solver().solve(K, load(K), np.full(K.shape, np.nan))
    swinging = K.shifted(1j, np.ones(K.shape))
    assert Solver().solve(swinging, np.zeros(K.shape)).x.dtype == complex


@pytest.mark.parametrize("most", [0, 1])
def test_a_residual_that_stays_raises_with_the_way_out(monkeypatch, most):
    """What did not converge is found out by the solver's own check."""
    K = stack(24, 24)
    monkeypatch.setattr(linear, "MOST", most)
    wanted = rf"relative residual .* after {2 * most} iterations, wanted 1e-10 .*make it easier"
    with pytest.raises(SolveError, match=wanted):
        Solver().solve(K, load(K))


@pytest.mark.parametrize("wrong", [np.nan, np.inf])
def test_a_source_that_is_not_finite_is_refused(wrong):
    K = stack(4, 4)
    b = load(K)
    b[3, 1] = wrong
    with pytest.raises(SolveError, match="not finite"):
        Solver().solve(K, b)


def test_an_operator_that_is_not_positive_is_refused():
    """Negative films, negative conduction, nan."""
    K = stack(24, 24)
    b = load(K)
    for factor in (-1.0, np.nan):
        K.side[:] *= factor
        with pytest.raises(SolveError, match="not positive definite along its lines"):
            Solver().solve(K, b)
    K = stack(24, 24)
    K.loss[:, -1] *= -1e6
    with pytest.raises(SolveError, match="not positive definite along its lines"):
        Solver().solve(K, b)
