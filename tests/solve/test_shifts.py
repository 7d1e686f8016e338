"""Cycles for many shifts of one operator: as good as a multigrid built anew for each."""

import numpy as np
import pytest
from operators import cooled, disc, plan_of, rectangles, skewed, unstructured

from thermo.solve import LayeredOperator, Multigrid, Shifts, conjugate_gradients, solved_directly

# slab heights (m), conductivities and rho cp of an invented stack: frame, membrane, absorber, gas
# gap, resist in three, glue, base, holder
HEIGHTS = np.array([8e-3, 1.5e-4, 1e-5, 1e-4, 1e-4, 1e-4, 2e-4, 2e-5, 4e-3, 1e-2])
K_STACK = np.array([160.0, 90, 317, 0.15, 0.2, 0.2, 0.2, 0.2, 390, 160])
RHO_CP = np.array([2.4e6, 1.3e6, 2.5e6, 20.0, 1.7e6, 1.7e6, 1.7e6, 1.6e6, 3.4e6, 2.4e6])
PLANS = [rectangles, skewed, disc, unstructured]
WAVES = [1e-3j, 0.1j, 1j, 10j, 100j, 1e3j, 1e4j, 1e6j]  # i n w, 1/s: periods of hours to a us
DECAYS = [1e-3, 1.0, 1e3, 1e6]  # 1/s, of backward steps


def stack(shape=rectangles, n=24, integration="lumped"):
    """Operator and heat capacities lumped at the nodes; a frame with an opening, a small sample."""
    points, quads, plan = plan_of(shape, n, n - 3, integration)
    x, y = points[:, quads].mean(1)
    x, y = (x - points[0].min()) / np.ptp(points[0]), (y - points[1].min()) / np.ptp(points[1])
    active = np.ones((len(HEIGHTS), len(x)))
    active[0, (abs(x - 0.5) < 0.3) & (abs(y - 0.5) < 0.3)] = 0
    active[4:8, (x < 0.1) | (y > 0.9)] = 0
    K = cooled(plan, HEIGHTS, K_STACK[:, None] * np.ones(len(x)), active, 2000.0)
    slabs = (plan.share @ ((RHO_CP * HEIGHTS)[:, None] * active).T) / 2
    M = np.zeros(K.shape)
    M[:, :-1] += slabs
    M[:, 1:] += slabs
    return K, M


def heat(K, seed=1):
    return np.where(K.diagonal != 0, np.random.default_rng(seed).uniform(0, 1, K.shape), 0.0)


def iterations(S, b, multigrid):
    """Until the residual is 1e-8 of the heat, and the answer."""
    x, count = conjugate_gradients(S, b, multigrid, 1e-8 * np.linalg.norm(b), 40)
    assert np.linalg.norm(b - S.times(x)) <= 1.1e-8 * np.linalg.norm(b)
    return x, count


@pytest.mark.parametrize("shift", WAVES + DECAYS, ids=lambda s: f"{s:.0e}")
@pytest.mark.parametrize("shape", PLANS)
def test_as_few_iterations_as_a_multigrid_of_the_shifted_operator(shape, shift):
    """Two more at most, where plans are left out; 12 at all, as usual on bent plans."""
    K, M = stack(shape)
    S, b = K.shifted(shift, M), heat(K) * np.ones_like(shift)
    shifts = Shifts(Multigrid(K), K, M)
    x, count = iterations(S, b, shifts.at(shift))
    y, fresh = iterations(S, b, Multigrid(S))
    assert count <= fresh + 2
    assert count <= 12
    assert np.abs(x - y).max() <= 1e-5 * np.abs(y).max()


@pytest.mark.parametrize("shift", [1e-3j, 0.1j, 1e-3, 0.1])
@pytest.mark.parametrize("shape", PLANS)
def test_its_cycle_is_that_of_the_shifted_operator(shape, shift):
    """Where no plan is left out they are the same sums: single precision, 2e-7 seen."""
    K, M = stack(shape)
    b = heat(K) * np.ones_like(shift) / 100
    own = Shifts(Multigrid(K), K, M).at(shift)
    fresh = Multigrid(K.shifted(shift, M))
    assert len(own.stages) == len(fresh.stages)
    assert own.bottom is not None
    found, expected = own.cycle(b).copy(), fresh.cycle(b)
    assert np.abs(found - expected).max() <= 2e-6 * np.abs(expected).max()


@pytest.mark.parametrize("shift", [1j, 1e3j, 1e6j, 1e3])
def test_answers_are_those_of_elimination(shift):
    """Residual 1e-8 over what the stack's condition makes of it: 1e-5 of the largest."""
    K, M = stack(n=14)
    S, b = K.shifted(shift, M), heat(K) * np.ones_like(shift)
    x, _ = iterations(S, b, Shifts(Multigrid(K), K, M).at(shift))
    exact = solved_directly(S, b)
    assert np.abs(x - exact).max() <= 1e-5 * np.abs(exact).max()


@pytest.mark.parametrize("shift", [1e-2j, 1j, 1e3j, 2.0])
@pytest.mark.parametrize("levels", [11, 10, 3, 2, 1])
def test_one_cycle_is_the_answer_where_the_plane_does_not_conduct(levels, shift):
    """Lines through the layers are eliminated: single precision times some 1e2, 2e-5."""
    K, M = stack()
    link = K.link[:, :levels].copy()
    link[:, -1] = 0
    loss = np.where(K.diagonal[:, :levels] != 0, 50.0, 0.0) * M.mean()  # a film at every level
    alone = LayeredOperator(K.graph, 0 * K.side[:, :levels], link, loss)
    M = M[:, :levels]
    S = alone.shifted(shift, M)
    b = np.where(S.diagonal != 0, heat(K)[:, :levels], 0.0) * np.ones_like(shift)
    found = Shifts(Multigrid(alone), alone, M).at(shift).cycle(b / np.linalg.norm(b))
    exact = solved_directly(S, b / np.linalg.norm(b))
    assert np.abs(found - exact).max() <= 2e-5 * np.abs(exact).max()


def test_fewer_plans_the_larger_the_shift():
    """All of them while the plane conducts, one when only the lines count; no elimination then."""
    K, M = stack(n=40)
    whole = Multigrid(K)
    shifts = Shifts(whole, K, M)
    stages = [len(shifts.at(shift).stages) for shift in WAVES]
    assert stages[0] == len(whole.stages) >= 3
    assert stages[-1] == 1
    assert (np.diff(stages) <= 0).all()
    assert len(set(stages)) >= 3
    assert shifts.at(WAVES[0]).bottom is not None
    assert shifts.at(WAVES[-1]).bottom is None


def test_a_cycle_left_short_takes_no_more_iterations_for_any_shift():
    """Every step from a full hierarchy to one sweep: 12 iterations, three more than fresh."""
    K, M = stack(n=40)
    shifts, b = Shifts(Multigrid(K), K, M), heat(K) + 0j
    for shift in 1j * np.geomspace(1e-2, 1e5, 22):
        S = K.shifted(shift, M)
        count = iterations(S, b, shifts.at(shift))[1]
        assert count <= min(12, iterations(S, b, Multigrid(S))[1] + 3)


def test_a_shift_nearly_the_same_keeps_the_cycle():
    """Within a tenth of the shift: the same cycle again, two iterations more at most; 12 at all."""
    K, M = stack()
    whole, b = Multigrid(K), heat(K) + 0j
    shifts = Shifts(whole, K, M)
    for shift in 1j * np.arange(0.5, 30.0, 0.5):
        S = K.shifted(shift, M)
        count = iterations(S, b, shifts.at(shift))[1]
        assert count <= iterations(S, b, Shifts(whole, K, M).at(shift))[1] + 2
        assert count <= 12
    kept = shifts.at(30j)
    assert shifts.at(30.5j) is kept
    assert shifts.at(60j) is not kept


def test_the_multigrid_of_the_operator_itself_stays_as_it_was():
    K, M = stack()
    whole, b = Multigrid(K), heat(K) / 100
    before, held = whole.cycle(b).copy(), len(whole.stages)
    shifts = Shifts(whole, K, M)
    shifts.at(1e6j).cycle(b + 0j)
    shifts.at(3.0).cycle(b)
    assert (whole.cycle(b) == before).all()
    assert len(whole.stages) == held
    assert whole.single is np.float32
    assert whole.bottom is not None


def test_few_nodes_are_eliminated_at_every_shift():
    K, M = stack(n=5)
    shifts = Shifts(Multigrid(K), K, M)
    for shift in (1e-3j, 1e6j, 2.0):
        S, b = K.shifted(shift, M), heat(K) * np.ones_like(shift)
        assert not shifts.at(shift).stages
        assert iterations(S, b, shifts.at(shift))[1] <= 3


@pytest.mark.parametrize("integration", ["lumped", "exact"])
def test_a_real_shift_after_a_complex_one_is_solved_in_real_numbers(integration):
    """As a multigrid built anew: 8 iterations lumped, 28 exact (its cycle is the lumped one)."""
    K, M = stack(integration=integration)
    shifts = Shifts(Multigrid(K), K, M)
    assert shifts.at(1j).single is np.complex64
    assert shifts.at(1.0).single is np.float32
    S = K.shifted(1.0, M)
    fresh = iterations(S, heat(K), Multigrid(S))[1]
    assert iterations(S, heat(K), shifts.at(1.0))[1] <= fresh + 1
