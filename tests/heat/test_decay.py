"""Free decay as a sum of exponentials: closed forms, dense modes, balance, hostile input."""

from functools import cache
from importlib import import_module

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.optimize import brentq

from thermo.errors import PhysicsError, SolveError
from thermo.heat import Fields, Film, heat_system
from thermo.heat.decay import decay
from thermo.mesh import extrude, rectangle_plan
from thermo.solve import Solver, plan_matrices, solved_directly


def system_of(cuts, k, capacity, films, nx=1, present=None, size=0.01):
    """Slabs of equal properties all over; films as (level, h)."""
    line = np.linspace(0, size, nx + 1)
    plan = rectangle_plan(line, line)
    whole = np.ones(nx * nx, bool)
    grid = extrude(plan, cuts, present or [whole] * len(cuts), 0.0)
    shape = grid.active.shape
    k, rho_c = (np.broadcast_to(np.asarray(v, float).reshape(-1, 1), shape) for v in (k, capacity))
    matrices = plan_matrices(plan.points, plan.quads)
    faces = tuple(Film(f"film {level}", level, whole, h, 293.0) for level, h in films)
    return heat_system(grid, matrices, Fields(k, k, rho_c), faces)


@cache
def stack(nx):
    """Membrane, gap, resist on copper, joint, holder with water; and two starts.  Invented.

    The starts: the steady rise of heat in membrane and resist, and a stripe of sigma 1.4 mm at
    the edge in membrane and resist alone, which stops short at the copper; 50 K each.
    """
    thick = [1.5e-4, 1e-4, 3e-4, 1e-3, 5e-5, 5e-3]
    slabs = [2, 1, 8, 3, 1, 2]
    cuts = [np.linspace(0, t, n + 1) for t, n in zip(thick, slabs, strict=True)]
    k = np.repeat([110.0, 0.05, 0.19, 390.0, 0.2, 180.0], slabs)
    rho_c = np.repeat([1.5e6, 130.0, 1.75e6, 3.4e6, 1.5e6, 2.4e6], slabs)
    system = system_of(cuts, k, rho_c, [(0, 6.0), (sum(slabs), 3000.0)], nx, size=0.02)
    x, y = system.grid.plan.points
    heat = np.zeros(system.C.shape)
    heat[:, :3] = (np.exp(-(((x - 0.01) / 4e-3) ** 2)) * (y > 0.004))[:, None]
    heat[:, 3:11] = 0.3 * heat[:, :1]
    steady = solved_directly(system.K, heat * system.C)
    stripe = np.zeros_like(steady)
    stripe[:, :12] = np.exp(-((y / 1.4e-3) ** 2) / 2)[:, None]
    stripe[:, 3] = 0
    return system, tuple(50 * d / d.max() for d in (steady, stripe))


def modes(system):
    """Every rate and shape of C dD/dt + K D = 0; massless nodes eliminated exactly."""
    K, C = system.K.matrix().toarray(), system.C.ravel()
    own, free = np.flatnonzero(C > 0), np.flatnonzero((C == 0) & system.used.ravel())
    follow = -np.linalg.solve(K[np.ix_(free, free)], K[np.ix_(free, own)])
    scale = 1 / np.sqrt(C[own])
    A = K[np.ix_(own, own)] + K[np.ix_(own, free)] @ follow
    rates, V = eigh(scale[:, None] * A * scale)
    shapes = np.zeros((len(C), len(own)))
    shapes[own] = scale[:, None] * V
    shapes[free] = follow @ shapes[own]
    return rates, shapes


def full(system, found, start, times):
    rates, shapes = found
    c = shapes.T @ (system.C * start).ravel()
    D = (np.exp(-np.outer(times, rates)) * c) @ shapes.T
    return D.reshape(len(times), *start.shape)


@cache
def dense(nx):
    return modes(stack(nx)[0])


def test_a_lumped_body_decays_as_one_exponential():
    """Equal films to both sides of one slab: rate 2 h/(rho cp L), exact in the mesh too; 1e-10."""
    system = system_of([np.array([0, 1e-3])], 200.0, 2e6, [(0, 15.0), (1, 15.0)], 2)
    start = np.full(system.C.shape, 40.0)
    found = decay(system, [start], 1.0, 1e-3, Solver())
    assert len(found.rates) == 1
    assert found.slowest == pytest.approx(2e6 * 1e-3 / 30.0, rel=1e-10)
    times = np.array([0.0, 1.0, 50.0, 500.0])
    exact = 40 * np.exp(-times / (2e6 * 1e-3 / 30.0))
    assert found.at(times) == pytest.approx(exact[:, None, None] + 0 * start, rel=1e-10)


def slab_series(Bi, Fo, place, terms=60):
    """Plane wall, uniform start 1, one film: sum C exp(-zeta^2 Fo) cos(zeta place).

    zeta tan zeta = Bi, C = 4 sin zeta/(2 zeta + sin 2 zeta); H. S. Carslaw and J. C. Jaeger,
    Conduction of Heat in Solids (1959), 3.11, and the charts of M. P. Heisler (1947); from memory.
    """
    roots = [
        brentq(lambda z: z * np.sin(z) - Bi * np.cos(z), n * np.pi + 1e-12, (n + 0.5) * np.pi)
        for n in range(terms)
    ]
    z = np.array(roots)
    C = 4 * np.sin(z) / (2 * z + np.sin(2 * z))
    return z, float((C * np.exp(-(z**2) * Fo) * np.cos(z * place)).sum())


@pytest.mark.parametrize("Bi", [0.1, 1.0, 10.0])
def test_a_slab_with_a_film_follows_the_classical_series(Bi):
    """100 slabs: a rate is off by (zeta/100)^2/12, 3e-4 at the third; temperatures by 3e-4 of 1.

    Centre at Bi 1, Fo 0.5: 0.77253, surface 0.50452 (the same series summed by other hands).
    """
    L, k, rho_c = 2e-3, 0.19, 1.75e6
    second = rho_c * L**2 / k  # Fo = 1
    system = system_of([np.linspace(0, L, 101)], k, rho_c, [(100, Bi * k / L)])
    start = np.ones(system.C.shape)
    found = decay(system, [start], 0.02 * second, 1e-6, Solver())
    for Fo in (0.02, 0.05, 0.5, 2.0):
        for level, place in ((0, 0.0), (100, 1.0)):
            zeta, exact = slab_series(Bi, Fo, place)
            assert found.at(Fo * second)[0, :, level] == pytest.approx(exact, abs=3e-4)
    assert found.rates[:3] * second == pytest.approx(zeta[:3] ** 2, rel=6e-4)
    if Bi == 1.0:
        assert found.at(0.5 * second)[0, 0, [0, 100]] == pytest.approx([0.77253, 0.50452], abs=1e-4)


def two_bodies():
    """Time constants 0.01 s and 1000 s, a void between; equal films to both sides of each."""
    full, empty = np.ones(4, bool), np.zeros(4, bool)
    cuts = [np.array([0, 1e-3])] * 3
    films = [(0, 500.0), (1, 500.0), (2, 2.5), (3, 2.5)]
    capacity = [1e4, 0.0, 5e6]
    return system_of(cuts, [300.0, 0.0, 300.0], capacity, films, 2, [full, empty, full])


def test_two_bodies_five_decades_apart_decay_each_at_its_own_rate():
    """Exact: 30 K exp(-t/0.01 s) and 20 K exp(-t/1000 s); 1e-9 of 30 K is round-off."""
    system = two_bodies()
    start = np.where(np.arange(4) < 2, 30.0, 20.0) * np.ones(system.C.shape)
    found = decay(system, [start], 1e-3, 1e-4, Solver())
    assert found.slowest == pytest.approx(1000.0, rel=1e-9)
    times = np.geomspace(1e-3, 5000, 20)
    D = found.at(times)
    rates = np.where(np.arange(4) < 2, 1 / 0.01, 1 / 1000)
    exact = start * np.exp(-times[:, None, None] * rates)
    assert np.abs(D - exact).max() < 3e-8


@pytest.mark.parametrize("tolerance", [1e-2, 1e-3, 1e-4])
@pytest.mark.parametrize("nx", [7, pytest.param(12, marks=pytest.mark.slow)])
def test_every_node_keeps_to_all_modes_of_the_stack_within_the_stated_error(nx, tolerance):
    """Against scipy.linalg.eigh of the whole system (1152 or 3042 unknowns), rounding 1e-9 K."""
    system, starts = stack(nx)
    found = decay(system, starts, 0.05, tolerance, Solver())
    rates, _ = dense(nx)
    times = np.geomspace(0.05, 5 / rates[0], 40)
    for number, start in enumerate(starts):
        off = np.abs(found.at(times, number) - full(system, dense(nx), start, times)).max()
        assert off <= found.error + 1e-9
        assert np.abs(found.at(0.0, number)[0] - start).max() < 1e-9  # starts are in the space
    assert found.error <= tolerance * (1 + 1e-6)
    assert found.slowest == pytest.approx(1 / rates[0], rel=1e-2)
    assert found.rates[0] >= rates[0] * (1 - 1e-9)  # Rayleigh quotients come from above


def test_a_thousandth_of_a_kelvin_of_fifty_takes_some_twenty_poles():
    system, starts = stack(7)
    assert 12 <= decay(system, starts, 0.05, 1e-3, Solver()).poles <= 26


def test_the_slowest_time_is_right_for_a_start_that_hides_it():
    """Only the fast body is warm; the slow one is found all the same."""
    system = two_bodies()
    start = np.where(np.arange(4) < 2, 30.0, 0.0) * np.ones(system.C.shape)
    found = decay(system, [start], 1e-3, 1e-4, Solver())
    assert found.slowest == pytest.approx(1000.0, rel=1e-2)
    assert np.abs(found.at([0.0, 0.01])[:, :, 2:]).max() < 1e-9


def test_shapes_are_orthonormal_in_heat_capacity_and_rates_ascend():
    """1e-9: Gram-Schmidt twice, then one turn."""
    system, starts = stack(7)
    found = decay(system, starts, 0.05, 1e-3, Solver())
    G = np.einsum("jnl,nl,knl->jk", found.shapes, system.C, found.shapes)
    assert np.abs(G - np.eye(len(G))).max() < 1e-9
    assert (np.diff(found.rates) > 0).all()
    assert found.rates[0] > 0


@pytest.mark.parametrize(("t0", "t1"), [(0.0, 0.3), (0.05, 20.0), (1.0, np.inf)])
def test_what_the_films_carry_away_is_what_the_stack_loses(t0, t1):
    """sum C (D(t0) - D(t1)) = sum loss * integral; exact in the space as 1 is in it: 1e-8."""
    system, starts = stack(7)
    found = decay(system, starts, 0.05, 1e-3, Solver())
    for number in range(len(starts)):
        D = found.at([t0, min(t1, 1e9)], number)
        lost = (system.C * (D[0] - D[1])).sum()
        out = (system.K.loss * found.integral(t0, t1, number)).sum()
        assert out == pytest.approx(lost, rel=1e-8)


def test_the_integral_over_all_time_is_the_steady_answer_to_the_heat_content():
    """K int D dt = C D0, by sparse elimination; K^-1 C D0 is in the space up to its solve: 1e-6."""
    system, starts = stack(7)
    found = decay(system, starts, 0.05, 1e-3, Solver())
    for number, start in enumerate(starts):
        exact = solved_directly(system.K, system.C * start)
        assert found.integral(0, np.inf, number) == pytest.approx(exact, abs=1e-6 * exact.max())


def test_the_integral_between_two_times_is_that_of_the_course():
    """Gauss and Legendre, 40 points over 0.5 s, of which faster modes have left nothing; 1e-9."""
    system, starts = stack(7)
    found = decay(system, starts, 0.05, 1e-3, Solver())
    x, w = np.polynomial.legendre.leggauss(40)
    t0, t1 = 1.0, 1.5
    course = found.at((t0 + t1) / 2 + (t1 - t0) / 2 * x, 1)
    by_points = np.tensordot(w * (t1 - t0) / 2, course, 1)
    assert found.integral(t0, t1, 1) == pytest.approx(by_points, abs=1e-9 * by_points.max())


def test_a_weighted_mean_under_a_decaying_weight_is_a_shifted_solve():
    """int exp(-a t) D dt = (K + a C)^-1 C D0 (Laplace); off by at most error/a, and before
    `shortest` by less than 50 K of 0.05 s times what the space leaves there, 1e-4: 1e-3 K s.
    """
    system, starts = stack(7)
    found = decay(system, starts, 0.05, 1e-3, Solver())
    a = 0.7
    mean = found.combined(1 / (a + found.rates)[None], 1)[0]
    exact = solved_directly(system.K.shifted(a, system.C), system.C * starts[1])
    assert mean == pytest.approx(exact, abs=1e-3)
    assert exact.max() > 1


def test_chosen_nodes_are_those_of_the_whole_field():
    """Order of summation alone: the usual 1e-6 of approx is ample."""
    system, starts = stack(7)
    found = decay(system, starts, 0.05, 1e-2, Solver())
    some = np.array([5, 0, 17])
    assert found.at([0.1, 3.0], 1, some) == pytest.approx(found.at([0.1, 3.0], 1)[:, some])
    assert found.integral(0, 1, 0, some) == pytest.approx(found.integral(0, 1, 0)[some])


def test_shapes_weighted_by_hand_make_the_same_field():
    """combined_shapes with c exp(-lambda t) is D(t); order of summation alone."""
    system, starts = stack(7)
    found = decay(system, starts, 0.05, 1e-2, Solver())
    weights = found.amplitudes[1] * np.exp(-found.rates * 0.3)
    assert found.combined_shapes(weights) == pytest.approx(found.at(0.3, 1)[0], rel=1e-9)


def test_starts_in_one_space_decay_as_they_do_alone():
    """Linear: each to the tolerance, so they differ by no more than both errors."""
    system, (first, second) = stack(7)
    both = decay(system, [first, second], 0.05, 1e-3, Solver())
    times = np.geomspace(0.05, 50, 12)
    for number, start in enumerate((first, second)):
        alone = decay(system, [start], 0.05, 1e-3, Solver())
        off = np.abs(alone.at(times) - both.at(times, number)).max()
        assert off <= alone.error + both.error


def test_voids_stay_zero_whatever_the_start_says_there():
    full = np.ones(9, bool)
    part = full.copy()
    part[:4] = False
    cuts = [np.linspace(0, 1e-3, 3), np.array([0, 1e-3])]
    system = system_of(cuts, [1.0] * 3, [2e6] * 3, [(3, 500.0)], 3, [part, full])
    start = np.where(system.used, 10.0, np.nan)
    found = decay(system, [start], 0.01, 1e-5, Solver())
    assert not system.used.all()
    assert (found.shapes[:, ~system.used] == 0).all()
    times = np.geomspace(0.01, 30, 12)
    exact = full_course(system, np.where(system.used, start, 0.0), times)
    assert np.abs(found.at(times) - exact).max() <= found.error + 1e-9


def full_course(system, start, times):
    return full(system, modes(system), start, times)


@pytest.mark.parametrize("tolerance", [1e-1, 1e-3, 1e-4])
@pytest.mark.parametrize("seed", [3, 5])
def test_nodes_without_heat_capacity_follow_their_neighbours(seed, tolerance):
    """Two massless slabs on top; a start that contradicts them is theirs only at t = 0.

    Against all modes with the massless nodes eliminated.
    """
    cuts = [np.linspace(0, 1e-4, 3), np.linspace(0, 1e-3, 5)]
    capacity = [0.0] * 2 + [2e6] * 4
    system = system_of(cuts, [0.1] * 2 + [1.0] * 4, capacity, [(0, 50.0), (6, 500.0)], 3)
    assert (system.used & (system.C == 0)).any()
    start = np.random.default_rng(seed).uniform(0, 50, system.C.shape)
    found = decay(system, [start], 0.01, tolerance, Solver())
    times = np.geomspace(0.01, 30, 12)
    off = np.abs(found.at(times) - full_course(system, start, times)).max()
    assert off <= found.error + 1e-9


def test_a_start_of_zero_stays_zero_and_still_tells_the_slowest_time():
    system, (warm, _) = stack(7)
    nothing = np.zeros_like(warm)
    alone = decay(system, [nothing], 0.05, 1e-3, Solver())
    assert (alone.at([0, 1, 10]) == 0).all()
    assert alone.slowest == pytest.approx(1 / dense(7)[0][0], rel=1e-2)
    both = decay(system, [nothing, warm], 0.05, 1e-3, Solver())
    assert (both.at([0, 1, 10], 0) == 0).all()
    assert both.at(0, 1)[0] == pytest.approx(warm, abs=1e-9)


def test_a_shortest_time_long_after_everything_is_gone_is_no_trouble():
    system, (warm, _) = stack(7)
    found = decay(system, [warm], 1e6, 1e-3, Solver())
    assert np.abs(found.at(1e6)).max() < 1e-9
    assert found.slowest == pytest.approx(1 / dense(7)[0][0], rel=1e-2)


def test_too_few_poles_for_the_tolerance_is_an_error_with_a_way_out(monkeypatch):
    system, starts = stack(7)
    monkeypatch.setattr(import_module("thermo.heat.decay"), "MOST", 6)
    with pytest.raises(
        SolveError, match=r"K with 6 poles, wanted 1\.0e-04 K.*longer shortest time"
    ):
        decay(system, starts, 0.05, 1e-4, Solver())


def test_a_tolerance_that_rounding_does_not_allow_is_refused_at_once():
    system, starts = stack(7)
    with pytest.raises(SolveError, match=r"right to 2\.5e-05 K here, wanted 1\.0e-05 K"):
        decay(system, starts, 0.05, 1e-5, Solver())


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_a_start_that_is_not_finite_is_refused(bad):
    system, (warm, stripe) = stack(7)
    broken = stripe.copy()
    broken[3, 2] = bad
    with pytest.raises(SolveError, match="start field 1 is not finite"):
        decay(system, [warm, broken], 0.05, 1e-3, Solver())


def test_a_start_of_another_grid_or_none_is_refused():
    system, (warm, _) = stack(7)
    with pytest.raises(SolveError, match=r"start field 0 has shape \(18, 64\)"):
        decay(system, [warm.T], 0.05, 1e-3, Solver())
    with pytest.raises(SolveError, match="no start field"):
        decay(system, [], 0.05, 1e-3, Solver())


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf])
def test_a_time_or_tolerance_that_is_not_above_zero_is_refused(bad):
    system, starts = stack(7)
    with pytest.raises(PhysicsError, match="shortest time of a decay must be > 0 s"):
        decay(system, starts, bad, 1e-3, Solver())
    with pytest.raises(PhysicsError, match="tolerance of a decay must be > 0 K"):
        decay(system, starts, 0.05, bad, Solver())


def test_times_before_the_start_are_refused():
    system, starts = stack(7)
    found = decay(system, starts, 0.05, 1e-2, Solver())
    for bad in (-1.0, np.nan):
        with pytest.raises(PhysicsError, match="times must be >= 0 s"):
            found.at([1.0, bad])
        with pytest.raises(PhysicsError, match="0 s <= t0 <= t1"):
            found.integral(bad, 1.0)
    for t0, t1 in ((2.0, 1.0), (0.0, np.nan), (np.inf, np.inf)):
        with pytest.raises(PhysicsError, match="0 s <= t0 <= t1"):
            found.integral(t0, t1)
