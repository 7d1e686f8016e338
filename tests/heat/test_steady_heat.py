"""Steady heat: balance, films, sign of the answer, ways out."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thermo.errors import SolveError
from thermo.heat import Fields, Film, face_h, heat_system, open_faces, steady
from thermo.heat.steady import HeatSystem
from thermo.mesh import extrude, rectangle_plan
from thermo.solve import Solver, plan_matrices


def grid_of(cuts, nx=4, ny=3, present=None, size=0.01):
    plan = rectangle_plan(np.linspace(0, size, nx + 1), np.linspace(0, size, ny + 1))
    whole = np.ones(nx * ny, bool)
    return extrude(plan, cuts, present or [whole] * len(cuts), 0.0)


def system_of(grid, k, films, capacity=None, integration="lumped"):
    k = np.broadcast_to(np.asarray(k, float), grid.active.shape)
    fields = Fields(k, k, k if capacity is None else np.broadcast_to(capacity, k.shape))
    plan = plan_matrices(grid.plan.points, grid.plan.quads, integration)
    return heat_system(grid, plan, fields, films), fields


def everywhere(grid):
    return np.ones(grid.active.shape[1], bool)


def test_heat_out_through_the_films_is_heat_in_and_comes_back_by_name():
    grid = grid_of([np.linspace(0, 1e-3, 5)])
    films = (
        Film("gas", 0, everywhere(grid), 7.0, 290.0),
        Film("water", 4, everywhere(grid), 3000.0, 293.0),
        Film("water", 4, everywhere(grid), 100.0, 300.0),
    )
    heat = np.random.default_rng(1).uniform(0, 1e-3, grid.active.shape)
    found = steady(system_of(grid, 0.3, films)[0], heat, Solver())
    assert set(found.film_heat) == {"gas", "water"}
    assert sum(found.film_heat.values()) == pytest.approx(heat.sum(), rel=1e-8)
    assert found.balance < 1e-8
    area = 1e-4
    top = found.T[0].reshape(4, 5)
    mean = ((top[:-1, :-1] + top[1:, :-1] + top[:-1, 1:] + top[1:, 1:]) / 4).mean()
    assert found.film_heat["gas"] == pytest.approx(7.0 * area * (mean - 290.0), rel=1e-8)


@pytest.mark.parametrize("integration", ["lumped", "exact"])
def test_films_to_different_sinks_drive_heat_through_a_plain_slab(integration):
    """No source: q = (T1 - T2)/(1/h1 + L/k + 1/h2), out of one film into the other (derived)."""
    grid = grid_of([np.linspace(0, 2e-3, 4)])
    films = (
        Film("hot", 0, everywhere(grid), 500.0, 350.0),
        Film("cold", 3, everywhere(grid), 2000.0, 290.0),
    )
    found = steady(
        system_of(grid, 0.2, films, integration=integration)[0],
        np.zeros(grid.active.shape),
        Solver(),
    )
    flow = 60.0 / (1 / 500 + 2e-3 / 0.2 + 1 / 2000) * 1e-4
    assert found.film_heat["cold"] == pytest.approx(flow, rel=1e-9)
    assert found.film_heat["hot"] == pytest.approx(-flow, rel=1e-9)


def test_nothing_happens_without_source_at_one_sink_temperature():
    grid = grid_of([np.linspace(0, 1e-3, 3)])
    films = (Film("a", 0, everywhere(grid), 5.0, 295.0), Film("b", 2, everywhere(grid), 9.0, 295.0))
    found = steady(system_of(grid, 1.0, films)[0], np.zeros(grid.active.shape), Solver())
    assert (found.T == 295.0).all()


def test_a_gap_cell_of_k_equal_h_d_is_an_exact_interface():
    """Flux 1000 W/m2 through the gap: jump q/h whatever the width that stands for it; 1e-9."""
    h, q = 438.2, 1000.0
    for d in (1e-6, 1e-4, 1e-2):
        grid = grid_of([np.array([0, 1e-3]), np.array([0, d]), np.array([0, 1e-3])])
        k = np.array([90.0, h * d, 0.2])[:, None]
        films = (Film("water", 3, everywhere(grid), 3000.0, 293.15),)
        heat = np.zeros(grid.active.shape)
        heat[0] = q * grid.plan.areas
        T = steady(system_of(grid, k, films)[0], heat, Solver()).T
        assert T[1] - T[2] == pytest.approx(q / h, rel=1e-9)
        assert T[2] - T[3] == pytest.approx(q * 1e-3 / 0.2, rel=1e-9)


def test_a_stack_without_film_has_no_way_out():
    grid = grid_of([np.linspace(0, 1e-3, 3)])
    film = Film("nothing", 0, ~everywhere(grid), 10.0, 293.0)
    with pytest.raises(SolveError, match="no way out for its heat"):
        system_of(grid, 1.0, (film,))


def test_a_part_cut_off_by_a_void_has_no_way_out():
    """The mask above an empty gap: the film below the sample does not reach it."""
    full = np.ones(12, bool)
    cuts = [np.array([0, 1e-3])] * 3
    grid = grid_of(cuts, present=[full, ~full, full])
    film = Film("water", 3, full, 3000.0, 293.0)
    with pytest.raises(SolveError, match="z = 0 mm has no way out"):
        system_of(grid, 1.0, (film,))


def test_voids_carry_nothing_and_come_back_as_nan():
    full = np.ones(12, bool)
    part = full.copy()
    part[:4] = False
    grid = grid_of([np.array([0, 1e-3]), np.array([0, 1e-3])], present=[part, full])
    film = Film("water", 2, full, 3000.0, 293.0)
    heat = np.where(grid.active, 1e-3, 0.0)
    found = steady(system_of(grid, 1.0, (film,))[0], heat, Solver())
    assert np.isnan(found.T[0][~grid.node_used[0]]).all()
    assert np.isfinite(found.T[grid.node_used]).all()
    assert found.film_heat["water"] == pytest.approx(heat.sum(), rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_no_source_gives_a_negative_rise_with_lumped_integration(seed):
    """Discrete maximum principle (M-matrix; R. S. Varga, 1962): random k over five decades, voids.

    1e-12 of the largest rise is round-off of the direct solve.
    """
    rng = np.random.default_rng(seed)
    present = [rng.uniform(size=12) < 0.8 for _ in range(2)] + [np.ones(12, bool)]
    grid = grid_of([np.array([0, 1e-5]), np.array([0, 2e-3]), np.array([0, 1e-4])], present=present)
    k = 10 ** rng.uniform(-2, 3, grid.active.shape)
    films = (
        Film("water", 3, np.ones(12, bool), 10 ** rng.uniform(0, 4), 293.0),
        *(Film("gas", i, faces, 6.0, 293.0) for i, faces in enumerate(open_faces(grid)[:3])),
    )
    heat = grid.active * rng.uniform(size=grid.active.shape) * (rng.uniform(size=(3, 12)) < 0.2)
    rise = steady(system_of(grid, k, films)[0], heat, Solver()).T - 293.0
    assert np.nanmin(rise) >= -1e-12 * max(np.nanmax(rise), 1.0)


def test_a_guess_does_not_change_the_answer():
    grid = grid_of([np.linspace(0, 1e-3, 5)], 30, 30)
    films = (Film("water", 4, everywhere(grid), 3000.0, 293.0),)
    system, _ = system_of(grid, 0.3, films)
    heat = np.random.default_rng(2).uniform(0, 1e-4, grid.active.shape)
    cold = steady(system, heat, Solver())
    warm = steady(system, heat, Solver(), cold.T + 0.1)
    assert cold.solution.iterations > warm.solution.iterations > 0
    assert abs(warm.T - cold.T).max() < 1e-7


def test_an_answer_whose_heat_does_not_balance_is_not_given(monkeypatch):
    grid = grid_of([np.linspace(0, 1e-3, 3)])
    films = (Film("water", 2, everywhere(grid), 3000.0, 293.0),)
    system, _ = system_of(grid, 0.3, films)
    load = HeatSystem.load
    monkeypatch.setattr(HeatSystem, "load", lambda self, heat: 1.001 * load(self, heat))
    with pytest.raises(SolveError, match="heat balance is off"):
        steady(system, np.ones(grid.active.shape), Solver())


def test_open_faces_are_those_with_a_cell_on_one_side():
    full = np.ones(12, bool)
    part = full.copy()
    part[0] = False
    grid = grid_of([np.array([0, 1e-3]), np.array([0, 1e-3])], present=[part, full])
    faces = open_faces(grid)
    assert faces[0].tolist() == part.tolist()
    assert faces[1].tolist() == (~part).tolist()
    assert faces[2].all()
    h = face_h((Film("a", 0, part, 6.0, 0.0), Film("b", 0, full, 4.0, 0.0)), grid)
    assert h[0].tolist() == [4.0] + [10.0] * 11
