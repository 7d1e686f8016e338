"""Marching in time: closed forms, order, energy, the limit cycle, and hostile input."""

from importlib import import_module

import numpy as np
import pytest
from scipy.special import erfc

from thermo.errors import PhysicsError, SolveError
from thermo.heat import Fields, Film, heat_system, open_faces, steady
from thermo.heat.march import march, periodic
from thermo.mesh import extrude, rectangle_plan
from thermo.solve import Solver, plan_matrices
from thermo.solve.multigrid import elimination

AREA = 1e-4  # m2, of the plan


def system_of(cuts, k, capacity, films, cells=(1, 1), present=None):
    """Stack of layers; k and capacity for each slab, films as (level, h)."""
    nx, ny = cells
    plan = rectangle_plan(np.linspace(0, 0.01, nx + 1), np.linspace(0, 0.01, ny + 1))
    whole = np.ones(nx * ny, bool)
    grid = extrude(plan, cuts, present or [whole] * len(cuts), 0.0)
    k, capacity = (
        np.broadcast_to(np.reshape(v, (-1, 1)), grid.active.shape).astype(float)
        for v in (k, capacity)
    )
    faces = open_faces(grid)
    films = tuple(Film(f"film {n}", n, faces[n], h, 293.0) for n, h in films)
    return heat_system(grid, plan_matrices(plan.points, plan.quads), Fields(k, k, capacity), films)


def lumped(tau, h=705.0):
    """Sheet of one temperature, cooled and heated alike on both faces; the heat is 1 W/m2."""
    system = system_of([np.array([0, 1e-4])], 100.0, h * tau / 1e-4, [(0, h / 2), (1, h / 2)])
    return system, system.load(np.full(system.grid.active.shape, AREA))


def stack(slow=1.0):
    """Membrane, gas gap, thick resist, holder with a film: 10 ms to some 10 s times `slow`."""
    cuts = [np.array([0, 1e-4]), np.array([0, 1e-4]), np.linspace(0, 1e-3, 5), np.array([0, 1e-2])]
    k = [90.0, 0.07, *[0.19] * 4, 200.0]
    capacity = [1.3e6, 1e2, *[1.75e6] * 4, 2.4e6 * slow]
    system = system_of(cuts, k, capacity, [(0, 6.0), (7, 1000.0)], (2, 3))
    heat = np.zeros(system.grid.active.shape)
    heat[0], heat[2:6] = 0.3, 0.1
    return system, heat * system.grid.plan.areas * 1e4 * (1 + np.arange(6) / 6)


def sine_squared(heat, period):
    return lambda t: heat * np.sin(np.pi * t / period) ** 2


def pulses(heat, on, period):
    return lambda t: heat * (t % period < on)


def test_bar_with_a_driven_end_is_the_published_one():
    """NAFEMS thermal benchmark T3 (public restatements): 36.60 C; 36.603115959 by exact series.

    The driven end is a film of huge h whose sink comes as heat.  0.05 C is usual on a converged
    mesh; 1 mm leaves 0.01 C, half of it 0.002 C.
    """
    film = 1e9
    cuts = [np.linspace(0, 0.1, 101)]
    system = system_of(cuts, 35.0, 440.5 * 7200.0, [(0, film), (100, film)])
    heat = np.zeros(system.C.shape)
    heat[:, 100] = system.faces[1]
    found = march(system, lambda t: heat * 100 * np.sin(np.pi * t / 40), 0.0, 32.0, 160)
    assert found.last[:, 80] == pytest.approx(36.603115959, abs=0.01)


def half_space(face_h):
    """10 diffusion lengths of a body, graded towards its face; sqrt(alpha t) = 1 mm at 1 s."""
    depth = 1e-2 * np.linspace(0, 1, 61) ** 1.5
    return system_of([depth], 1.0, 1e6, [(0, face_h), (60, 1.0)])


def test_face_of_a_deep_body_under_constant_flux():
    """(T - Ti) k/(q sqrt(alpha t)) = 2/sqrt(pi); Carslaw and Jaeger 2.9 (from memory); 0.5 %."""
    system = half_space(1e-6)
    heat = np.zeros(system.C.shape)
    heat[:, 0] = 1000 * AREA / 4
    found = march(system, lambda t: heat, 0.0, 1.0, 100)
    assert found.last[:, 0] * 1.0 / (1000 * 1e-3) == pytest.approx(1.1283791671, rel=5e-3)


def test_inside_of_a_deep_body_behind_a_film():
    """theta at x/(2 sqrt(alpha t)) = 0.5, h sqrt(alpha t)/k = 1: 0.229049148028; 0.5 %.

    erfc(n) - exp(2 n H + H2) erfc(n + H); Carslaw and Jaeger 2.7 (from memory).
    """
    system = half_space(1000.0)
    heat = np.zeros(system.C.shape)
    heat[:, 0] = system.faces[0]
    found = march(system, lambda t: heat, 0.0, 1.0, 100)
    theta = np.interp(1e-3, system.grid.levels, found.last[0])
    assert erfc(0.5) - np.exp(2) * erfc(1.5) == pytest.approx(0.229049148028, abs=1e-12)
    assert theta == pytest.approx(0.229049148028, rel=5e-3)


def test_sheet_under_a_pulse_train():
    """theta_max = (q/h)(1 - exp(-tp/tau))/(1 - exp(-T/tau)) = 37.854822, mean 2.836879 (derived).

    C = 160.2 J/(m2 K), h = 705, q = 4e4 W/m2, tp = 0.25 s, T = 5 s.  Edges fall on steps; jumps
    make the error first order in the step: -0.7 and -0.3 %, taken away to 0.1 % by the two.
    """
    system, heat = lumped(160.2 / 705)
    load = pulses(4e4 * heat, 0.25, 5.0)
    coarse, fine = (periodic(system, load, 5.0, n, 0.02) for n in (640, 1280))
    assert fine.highest == pytest.approx(37.854822, rel=5e-3)
    assert 2 * fine.highest - coarse.highest == pytest.approx(37.854822, rel=1e-3)
    assert fine.mean == pytest.approx(2.836879, rel=1e-6)
    assert np.abs(fine.lowest).max() < 0.04  # 3e-8 is left; a parabola over the jump dips by 0.036


def test_order_in_time_is_two():
    """Changes at halved steps shrink by 4 (smooth heat, from rest): observed order 2 +- 0.1."""
    system, heat = stack()
    load = sine_squared(system.load(heat), 4.0)
    runs = [march(system, load, 0.0, 3.0, n) for n in (40, 80, 160)]
    for field in ("last", "mean", "highest"):
        coarse, middle, fine = (getattr(run, field) for run in runs)
        order = np.log2(np.linalg.norm(middle - coarse) / np.linalg.norm(fine - middle))
        assert order == pytest.approx(2, abs=0.1), field


def test_a_peak_between_two_steps_is_found():
    """A sheet far faster than its load follows it: the top of 1 + sin lies between 15 steps.

    Without the parabola 1 - cos(pi/30) = 0.5 % is missing, with it the fourth order of it.
    """
    system, heat = lumped(1e-6)
    found = march(system, lambda t: 705 * heat * (1 + np.sin(2 * np.pi * t)), 1.0, 1.0, 15)
    assert found.highest == pytest.approx(2.0, abs=3e-4)
    assert found.lowest == pytest.approx(0.0, abs=3e-4)


def test_a_body_that_only_cools_is_highest_at_the_start():
    """No parabola before there are three fields: exact.  The balance is relative, however much."""
    system, heat = lumped(1.0)
    for start in (1.0, 1e12):
        found = march(system, lambda t: 0 * heat, start, 1.0, 4)
        assert (found.highest == start).all()
        assert (found.lowest == found.last).all()
        assert found.balance < 1e-12


def test_a_step_far_longer_than_the_time_constant_leaves_nothing():
    """L-stable: 1 K decays to 1e-5 at dt/tau = 1e6, where a trapezoidal step would give -1 K."""
    system, heat = lumped(1e-6)
    found = march(system, lambda t: 0 * heat, 1.0, 1.0, 1)
    assert np.abs(found.last).max() < 1e-5


def test_heat_brought_is_lost_or_stored():
    """Exact for the steps themselves; 1e-12 is round-off.  Voids take no part."""
    full, part = np.ones(12, bool), np.arange(12) > 3
    cuts = [np.array([0, 1e-6]), np.array([0, 1e-3]), np.array([0, 1e-2])]
    films = [(0, 6.0), (1, 6.0), (3, 1000.0)]
    system = system_of(
        cuts, [300.0, 0.2, 150.0], [2.5e6, 1.7e6, 2e6], films, (4, 3), [part, full, full]
    )
    rng = np.random.default_rng(3)
    heat = system.load(rng.uniform(size=system.grid.active.shape) * system.grid.active)
    found = march(system, lambda t: heat * np.exp(-t), 5.0 * rng.uniform(size=heat.shape), 1.0, 30)
    assert found.balance < 1e-12
    assert found.brought == pytest.approx(heat.sum() * (1 - np.exp(-1)), rel=1e-4)
    assert found.brought - found.lost == pytest.approx(found.stored, rel=1e-9)
    assert found.lost > 0
    assert (found.last[~system.used] == 0).all()


def test_constant_heat_is_brought_as_power_times_time():
    system, heat = stack()
    found = march(system, lambda t: system.load(heat), 0.0, 7.0, 3)
    assert found.brought == pytest.approx(7 * heat.sum(), rel=1e-12)


def test_steps_that_do_not_balance_are_not_given(monkeypatch):
    """A solve that is off by 0.1 %."""
    system, heat = stack()
    room = import_module("thermo.heat.march")  # the package's own `march` is the function
    monkeypatch.setattr(room, "elimination", lambda K: elimination(K.shifted(1e-3, K.loss)))
    with pytest.raises(SolveError, match="heat balance in time is off"):
        march(system, lambda t: system.load(heat), 0.0, 5.0, 5)


def test_elimination_and_multigrid_agree():
    """4 layers of 21 x 21 nodes, a void: residuals of 1e-10 at every stage, 1e-8 of the rise."""
    full, part = np.ones(400, bool), np.arange(400) > 70
    cuts = [np.array([0, 1e-4]), np.array([0, 1e-3]), np.array([0, 1e-2])]
    k, capacity, films = [90.0, 0.2, 150.0], [1.3e6, 1.7e6, 2e6], [(0, 20.0), (3, 1000.0)]
    system = system_of(cuts, k, capacity, films, (20, 20), [part, full, full])
    x = system.grid.plan.centres[0]
    lit = system.grid.active * np.exp(-(((x - x.mean()) / 1e-3) ** 2)) * [[1], [0.3], [0]]
    load = sine_squared(1e-3 * system.load(lit), 2.0)
    for found, direct in (
        (march(system, load, 0.0, 2.0, 16, Solver()), march(system, load, 0.0, 2.0, 16)),
        (periodic(system, load, 2.0, 16, 0.02, Solver()), periodic(system, load, 2.0, 16, 0.02)),
    ):
        for field in ("mean", "highest", "lowest"):
            there = getattr(direct, field)
            assert getattr(found, field) == pytest.approx(there, abs=1e-8 * there.max())


def test_marching_on_from_the_last_field_is_marching_through():
    """A few passes with a beam that decays, in one go and pass by pass; round-off apart."""
    system, heat = stack()
    heat = system.load(heat)

    def load(t):
        return heat * np.exp(-t / 50) * np.sin(np.pi * t / 2) ** 2

    whole = march(system, load, 0.0, 6.0, 96, watch=((0, 0), (11, 4)))
    T, course, highest = 0.0, [], -np.inf
    for n in range(3):
        one = march(system, lambda t, n=n: load(2.0 * n + t), T, 2.0, 32, watch=((0, 0), (11, 4)))
        T, highest = one.last, np.maximum(highest, one.highest)
        course.append(one.course[: 32 if n < 2 else 33])
    assert whole.last == pytest.approx(T, rel=1e-10)
    assert whole.course == pytest.approx(np.concatenate(course), rel=1e-10, abs=1e-12)
    assert whole.course[-1] == pytest.approx([T[0, 0], T[11, 4]], rel=1e-10)
    assert whole.highest == pytest.approx(highest, rel=1e-3)  # a peak at a seam has no parabola


@pytest.mark.parametrize("tau", [0.01, 0.3, 1.0, 20.0, 1e4])
def test_cycle_of_a_sheet_under_a_sine_whatever_its_time_constant(tau):
    """T = (q/h)(1 + sin(w t - arctan(w tau))/sqrt(1 + (w tau)2)), in three periods at most.

    100 steps: (w dt)2/12 = 3e-4 of the swing, and 1e-3 of it for not being quite closed.
    """
    system, heat = lumped(tau)
    w = 2 * np.pi
    swing = 1 / np.hypot(1, w * tau)
    load = lambda t: 705 * heat * (1 + np.sin(w * t))  # noqa: E731
    found = periodic(system, load, 1.0, 100, 1e-3 * swing)
    assert found.periods <= 3
    assert found.error <= 1e-3 * swing
    assert found.mean == pytest.approx(1.0, rel=1e-8)
    assert found.highest - 1 == pytest.approx(swing, rel=2e-3)
    assert 1 - found.lowest == pytest.approx(swing, rel=2e-3)
    start = -np.sin(np.arctan(w * tau)) * swing
    assert found.start - 1 == pytest.approx(start, abs=2e-3 * swing)


@pytest.mark.parametrize("slow", [1e-3, 1.0, 1e5])
def test_cycle_of_a_stack_takes_three_periods_however_slow_its_holder(slow):
    """Time constants from 10 ms to 1e6 s at once; 0.02 K of some 50 K is the usual tolerance."""
    system, heat = stack(slow)
    found = periodic(system, sine_squared(system.load(heat), 2.0), 2.0, 100, 0.02)
    assert found.periods <= 3
    assert found.error <= 0.02


def test_cycle_is_what_many_periods_settle_into():
    """Holder light enough to settle in 50 periods; every field within the error it states."""
    system, heat = stack(1e-2)
    load = pulses(system.load(heat), 0.5, 2.0)
    found = periodic(system, load, 2.0, 64, 0.05)
    long = march(system, load, found.mean, 100.0, 50 * 64)
    once = march(system, load, long.last, 2.0, 64)
    assert once.last == pytest.approx(long.last, abs=1e-6)
    assert found.start == pytest.approx(long.last, abs=0.03 * found.error)
    assert found.highest == pytest.approx(once.highest, abs=found.error)
    assert found.lowest == pytest.approx(once.lowest, abs=found.error)
    assert found.mean == pytest.approx(once.mean, abs=1e-6)
    assert once.highest.max() - once.lowest.max() > 1


def test_mean_of_the_cycle_is_the_steady_rise_of_the_mean_heat():
    """Exact for a linear system, jumps and all; 1e-8 is the steady solve's own balance."""
    system, heat = stack(1e3)
    found = periodic(system, pulses(system.load(heat), 0.5, 2.0), 2.0, 64, 0.05)
    rise = steady(system, heat / 4, Solver()).T - system.coldest
    assert found.mean == pytest.approx(rise.T, rel=1e-8)


def test_a_slow_body_starts_from_the_heat_that_the_steps_see():
    """Pulses between steps: a mean by another rule would need a second period; 1e-6 of the rise."""
    system, heat = lumped(1e6)
    found = periodic(system, pulses(705 * heat, 0.33, 1.0), 1.0, 10, 1e-6)
    assert found.periods == 1


def test_the_peak_at_the_seam_of_two_periods_is_refined_too():
    """cos peaks at the start of the period, between the last step but one and the first."""
    system, heat = lumped(0.5 / (2 * np.pi * 10))  # lags by half a step
    w = 2 * np.pi
    found = periodic(system, lambda t: 705 * heat * (1 + np.cos(w * t)), 1.0, 10, 1e-8)
    later = periodic(system, lambda t: 705 * heat * (1 + np.cos(w * (t - 0.3))), 1.0, 10, 1e-8)
    assert found.highest == pytest.approx(later.highest, abs=1e-6)


def test_a_cycle_that_does_not_close_is_not_given():
    system, heat = stack()
    with pytest.raises(SolveError, match=r"open by .* K after 6 periods, allowed 1e-30 K"):
        periodic(system, sine_squared(system.load(heat), 2.0), 2.0, 20, 1e-30)


GOOD = {"start": 0.0, "duration": 1.0, "steps": 4}


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"steps": 0}, "0 steps; allowed: whole numbers from 1"),
        ({"steps": -3}, "-3 steps"),
        ({"steps": 2.5}, "2.5 steps"),
        ({"steps": np.nan}, "nan steps"),
        ({"duration": 0.0}, "0 s to march; allowed: finite and above 0 s"),
        ({"duration": np.nan}, "nan s to march"),
        ({"duration": np.inf}, "inf s to march"),
        ({"start": np.nan}, "allowed: finite rises"),
        ({"start": np.full((12, 8), np.inf)}, "allowed: finite rises"),
        ({"start": np.zeros((8, 12))}, r"shape \(8, 12\); allowed: \(12, 8\)"),
        ({"start": np.zeros((12, 1))}, "turn a shown field"),
        ({"watch": ((12, 0),)}, r"node 12, level 0\) is not in the bodies; allowed: nodes 0 to 11"),
        ({"watch": ((0, -1),)}, "level -1"),
    ],
)
def test_what_cannot_be_marched_is_refused(wrong, words):
    system, heat = stack()
    with pytest.raises(PhysicsError, match=words):
        march(system, lambda t: system.load(heat), **(GOOD | wrong))


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"tolerance": 0.0}, "tolerance 0 K; allowed: above 0 K"),
        ({"tolerance": np.nan}, "tolerance nan K"),
        ({"period": np.nan}, "nan s to march"),
        ({"steps": 0}, "0 steps"),
    ],
)
def test_what_cannot_be_a_cycle_is_refused(wrong, words):
    system, heat = stack()
    with pytest.raises(PhysicsError, match=words):
        periodic(
            system,
            lambda t: system.load(heat),
            **({"period": 1.0, "steps": 4, "tolerance": 0.1} | wrong),
        )


def test_heat_that_is_not_finite_or_not_there_is_refused():
    system, heat = stack()
    heat = system.load(heat)
    for late, words in (
        (heat * np.nan, "t = 0.5 s is not finite"),
        (np.full(heat.shape, np.inf), "t = 0.5 s is not finite"),
        (heat.T, r"shape \(8, 12\); allowed: \(12, 8\)"),
        (0.0, r"shape \(\)"),
    ):
        with pytest.raises(SolveError, match=words):
            march(system, lambda t, late=late: heat if t < 0.5 else late, 0.0, 1.0, 2)


def test_heat_in_a_void_is_refused():
    full, part = np.ones(4, bool), np.arange(4) > 1
    cuts = [np.array([0, 1e-3])] * 2
    system = system_of(cuts, 1.0, 1e6, [(2, 100.0)], (2, 2), [part, full])
    with pytest.raises(SolveError, match="falls where there is nothing"):
        march(system, lambda t: np.ones(system.C.shape), 0.0, 1.0, 2)
    with pytest.raises(PhysicsError, match="not in the bodies"):
        march(system, lambda t: np.zeros(system.C.shape), 0.0, 1.0, 2, watch=((0, 0),))


def test_heat_given_in_the_same_array_every_time_is_read_when_given():
    system, heat = lumped(1.0)
    same = np.empty_like(heat)

    def load(t):
        same[:] = heat * t
        return same

    fresh = march(system, lambda t: heat * t, 0.0, 1.0, 5)
    assert (march(system, load, 0.0, 1.0, 5).last == fresh.last).all()
