"""Half of a stack that mirrors itself about mid-stroke gives the harmonics of the whole."""

import numpy as np
import pytest

from thermo.case.pattern import disc
from thermo.heat import Fields, Film, halves, heat_system, limit_cycle
from thermo.mesh import extrude, rectangle_plan, rings
from thermo.solve import Multigrid, Solver, plan_matrices

X_LINES = np.linspace(-6e-3, 7e-3, 10)
Y_LINES = np.concatenate([-np.geomspace(8e-3, 4e-4, 9), [0.0], np.geomspace(4e-4, 8e-3, 9)])
PERIOD, SPEED, SIGMA = 2.0, 16e-3, 1.2e-3


def stack(y_lines=Y_LINES, k_skew=0.0, frame=True):
    """An invented membrane over a gap and a slab; a frame round the membrane leaves voids."""
    plan = rectangle_plan(X_LINES, y_lines)
    return system_of(plan, k_skew, frame), plan


def system_of(plan, k_skew=0.0, frame=True):
    x, y = plan.centres
    rim = (np.abs(y) > 5e-3) | (np.abs(x) > 4.5e-3)
    whole = np.ones(len(x), bool)
    present = [rim if frame else whole, whole, ~rim, whole]
    cuts = [np.linspace(0, t, n + 1) for t, n in ((2e-3, 1), (1e-4, 2), (1e-4, 1), (1e-3, 4))]
    grid = extrude(plan, cuts, present, 0.0)
    k = np.array([150.0, 90.0, 0.05, 0.3])[grid.layer][:, None] * (1 + k_skew * y)
    c = np.array([2.4e6, 1.3e6, 900.0, 1.7e6])[grid.layer][:, None] * np.ones(len(x))
    films = (Film("water", len(grid.levels) - 1, whole, 2000.0, 293.0),)
    matrices = plan_matrices(plan.points, plan.quads, lines=plan.lines)
    return heat_system(grid, matrices, Fields(k, k, c), films)


def load_of(system, plan):
    """Harmonics of a Gaussian stripe that runs to +-16 mm and back, on membrane and slab."""
    y = plan.centres[1]
    weight = np.array([1.0, 1.0, 0.0, 0.5])[system.grid.layer][:, None] * system.grid.active
    weight = weight * plan.areas * system.grid.heights[:, None] * 1e8

    def load(n):
        t = PERIOD / 4 + y / SPEED
        w = 2 * np.pi * n / PERIOD
        return system.load(weight * np.cos(w * t) * np.exp(-((w * SIGMA / SPEED) ** 2) / 2) / 4)

    return load


def cycles(system, plan):
    load = load_of(system, plan)
    mean = Solver().solve(system.K, load(0)).x
    found = halves(system, plan.points)
    assert found is not None
    both = (Multigrid(system.K), found)
    return [limit_cycle(system, mean, load, 80, PERIOD, 1e-4, own) for own in both]


def test_both_halves_give_the_harmonics_of_the_whole():
    """1e-5 K: a tenth of the tolerance both were solved to; a factor missed anywhere is 1 K off."""
    whole, half = cycles(*stack())
    assert np.abs(whole.X).max() > 1.0
    count = min(len(whole.X), len(half.X))
    assert np.abs(whole.X[:count] - half.X[:count]).max() < 1e-5


def test_harmonics_of_the_halves_have_their_parity():
    """X_n(-y) = (-1)^n X_n(y), exactly by construction; odd ones vanish on the axis."""
    system, plan = stack()
    _, half = cycles(system, plan)
    X = half.X.reshape(len(half.X), len(Y_LINES), len(X_LINES), -1)
    sign = (-1.0) ** np.arange(1, len(X) + 1)[:, None, None, None]
    assert (X[:, ::-1] == sign * X).all()
    assert (X[::2, len(Y_LINES) // 2] == 0).all()


def test_a_round_plan_has_halves_too():
    """Rings round a core: no lines to go by, the mirror image is found from the nodes' places."""
    lines = np.linspace(-3e-3, 3e-3, 7)
    plan = rings(lines, lines, (disc(10e-3), disc(16e-3)), 1e-3, 1e-3).plan()
    whole, half = cycles(system_of(plan, frame=False), plan)
    count = min(len(whole.X), len(half.X))
    assert np.abs(whole.X[:count] - half.X[:count]).max() < 1e-5


@pytest.mark.parametrize("what", ["conductivity", "lines", "axis"])
def test_a_stack_that_does_not_mirror_itself_at_nodes_has_no_halves(what):
    """Without a line on y = 0 heat would run straight from one half to the other."""
    lines = {"lines": np.delete(Y_LINES, 3), "axis": Y_LINES[Y_LINES != 0]}.get(what, Y_LINES)
    system, plan = stack(lines, k_skew=1.0 if what == "conductivity" else 0.0)
    assert halves(system, plan.points) is None
