"""Influences on a temperature of a cycle, against difference quotients by elimination."""

import numpy as np
import pytest

from thermo.errors import SolveError
from thermo.heat import Cycle, Fields, Film, Target, heat_system, influences, source
from thermo.mesh import extrude, rectangle_plan
from thermo.solve import Solver, plan_matrices, solved_directly

SPEED, LENGTH, SIGMA = 0.02, 0.06, 2e-3  # m/s, m there and back, m
HARMONICS, PHASE = 12, 1.1
NODE, LEVEL = 31, 1
STEP = 1e-4  # of what is changed: quotients from both sides are then good to 1e-8
ROWS = {"in_plane": [90.0, 0.07, 0.19, 200.0], "across": [60.0, 0.07, 0.3, 150.0]}
STORE = [1.3e6, 1e2, 1.7e6, 2.4e6]


def sheet(factor=None, h=1.0, sink=293.0, integration="lumped"):
    """Graphite, gas, resist and a base between two films, 3 x 16 cells: an invented stack.

    factor : what each property of each slab is multiplied by, {name: (slab, factor)}
    """
    plan = rectangle_plan(np.linspace(0, 0.006, 4), np.linspace(-0.02, 0.02, 17))
    whole = np.ones(plan.quads.shape[1], bool)
    cuts = [np.array([0, t]) for t in (1e-4, 1e-4, 3e-4, 3e-3)]
    grid = extrude(plan, cuts, [whole] * 4, 0.0)
    rows = {**ROWS, "capacity": STORE}
    values = {name: np.array(row)[:, None] * np.ones(len(whole)) for name, row in rows.items()}
    for name, (slab, by) in (factor or {}).items():
        values[name][slab] *= by
    films = (Film("gas", 0, whole, 10.0, 291.0), Film("water", 4, whole, 3000.0 * h, sink))
    matrices = plan_matrices(plan.points, plan.quads, integration, lines=plan.lines)
    return heat_system(grid, matrices, Fields(**values), films)


def swept(system, n, speed=SPEED, line=3000.0):
    """Harmonic n of a Gaussian line (W/m) that passes up and down, delayed by the speed, W."""
    omega = 2 * np.pi * speed / LENGTH
    time = 0.7 + system.grid.plan.points[1] / speed
    size = 2 * line / LENGTH * np.exp(-((n * omega * SIGMA / speed) ** 2) / 2)
    flux = size * np.exp(-1j * n * omega * time)
    share = system.load(np.ones(system.grid.active.shape) * system.grid.plan.areas)[:, :1]
    return flux[:, None] * share * np.array([0.3, 0.1, 0.2, 0.15, 0.25])


def solved(system, speed=SPEED, line=3000.0):
    """Mean temperatures, K, and harmonics by elimination."""
    omega = 2 * np.pi * speed / LENGTH
    films = source(system, np.zeros(system.grid.active.shape))
    mean = solved_directly(system.K, films + swept(system, 0, speed, line).real)
    X = [
        solved_directly(system.K.shifted(1j * n * omega, system.C), swept(system, n, speed, line))
        for n in range(1, HARMONICS + 1)
    ]
    return mean, np.stack(X)


def number(system, **motion):
    """J: the node's temperature at the phase, K."""
    mean, X = solved(system, **motion)
    turn = np.exp(1j * PHASE * np.arange(1, HARMONICS + 1))
    return mean[NODE, LEVEL] + 2 * (turn @ X[:, NODE, LEVEL]).real


def weights(system):
    one = np.zeros(system.K.shape)
    one[NODE, LEVEL] = 1.0
    return one


@pytest.fixture(scope="module")
def known():
    """The system, its influence at the phase, and that on the mean alone."""
    system = sheet()
    mean, X = solved(system)
    cycle = Cycle(LENGTH / SPEED, mean - system.coldest, X.astype(np.complex64), 0.0, 0.0, ())
    targets = [Target(weights(system), p) for p in (PHASE, None)]
    return system, *influences(system, mean.T, cycle, targets, Solver())


def quotient(J):
    return (J(1 + STEP) - J(1 - STEP)) / (2 * STEP)


def felt(influence, system, changed):
    """First-order change by a changed system and what its films bring, K."""
    none = np.zeros(system.grid.active.shape)
    drive = source(changed, none) - source(system, none)
    return influence.of_system(system, changed) + influence.of_source(drive)


CHANGES = {
    "in the plane of graphite": lambda f: sheet({"in_plane": (0, f)}),
    "in the plane of the base": lambda f: sheet({"in_plane": (3, f)}),
    "across graphite": lambda f: sheet({"across": (0, f)}),
    "across gas": lambda f: sheet({"across": (1, f)}),
    "across resist": lambda f: sheet({"across": (2, f)}),
    "capacity of graphite": lambda f: sheet({"capacity": (0, f)}),
    "capacity of resist": lambda f: sheet({"capacity": (2, f)}),
    "film": lambda f: sheet(h=f),
    "water": lambda f: sheet(sink=293.0 * f),
}


@pytest.mark.parametrize("name", CHANGES)
def test_a_changed_system_is_felt_as_the_difference_quotient(known, name):
    """To 1e-6 of it and 1e-6 K.

    Elimination rounds 300 K to 3e-13, which the step makes 1e-6 K; harmonics in single precision,
    6e-8 of each, cost 3e-7 K.
    """
    system, influence, _ = known
    change = CHANGES[name]
    here = (
        felt(influence, system, change(1 + STEP)) - felt(influence, system, change(1 - STEP))
    ) / (2 * STEP)
    expected = quotient(lambda f: number(change(f)))
    assert abs(expected) > 1e-2
    assert here == pytest.approx(expected, rel=1e-6, abs=1e-6)


def test_more_heat_is_felt_as_the_difference_quotient(known):
    """J is linear in the heat; 1e-6 as above."""
    system, influence, _ = known
    here = influence.of_source(swept(system, 0).real)
    here += influence.of_harmonics(lambda n: swept(system, n))
    assert here == pytest.approx(quotient(lambda f: number(system, line=3000.0 * f)), rel=1e-6)


def test_speed_is_felt_as_the_difference_quotient(known):
    """By the period and by when the stripe comes; the mean heat is the same at any speed."""
    system, influence, _ = known

    def change(f):
        faster = 2 * np.pi * SPEED / LENGTH * (f - 1)
        ripple = influence.of_harmonics(lambda n: swept(system, n, SPEED * f))
        return ripple + influence.omega * faster

    expected = quotient(lambda f: number(system, speed=SPEED * f))
    assert abs(expected) > 1
    assert quotient(change) == pytest.approx(expected, rel=1e-6)


def test_a_mean_temperature_feels_no_capacity_and_no_ripple(known):
    system, _, influence = known
    assert not influence.capacity.any()
    assert influence.omega == 0
    assert not len(influence.ripple)
    assert influence.of_harmonics(lambda n: swept(system, n)) == 0

    def mean(f):
        return solved(sheet({"across": (1, f)}))[0][NODE, LEVEL]

    changed = felt(influence, system, sheet({"across": (1, 1 + STEP)})) / STEP
    assert changed == pytest.approx(quotient(mean), rel=2 * STEP)  # from one side


def test_a_held_beam_has_the_influence_of_its_mean(known):
    system, _, influence = known
    mean, _ = solved(system)
    (held,) = influences(system, mean.T, None, [Target(weights(system), None)], Solver())
    assert held.side == pytest.approx(influence.side, rel=1e-12)


def test_an_influence_that_does_not_settle_is_refused(known, monkeypatch):
    monkeypatch.setattr("thermo.heat.adjoint.MOST", 1)
    system = known[0]
    mean, X = solved(system)
    cycle = Cycle(3.0, mean - system.coldest, X.astype(np.complex64), 0.0, 0.0, ())
    with pytest.raises(SolveError, match=r"relative residual of .* after 1 cycles, wanted 1e-07"):
        influences(system, mean.T, cycle, [Target(weights(system), 0.0)], Solver())


def test_couplings_of_full_integration_are_refused(known):
    system = sheet(integration="exact")
    with pytest.raises(SolveError, match="no influences with full integration"):
        influences(system, np.zeros(system.grid.shape), None, [], Solver())
