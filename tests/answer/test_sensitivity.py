"""Derivatives of the highest temperatures, against differences of tightly solved states."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.scene import describe, mesh
from thermo.answer.sensitivity import number_at, peak_sensitivities
from thermo.answer.state import solve_state
from thermo.answer.temperature import hottest
from thermo.case import read_case, with_value
from thermo.errors import CaseError, SolveError

CASES = Path(__file__).parents[2] / "cases"
TIGHT = 5e-4  # K, of a cycle; its layers are swept to 1e-6 K
INPUTS = {  # each with the share by which it is moved either way
    "ring.current": 0.01,
    "scan.speed": 0.01,
    "scan.stroke": 0.004,
    "gap.width": 0.01,
    "chamber.pressure": 0.04,
    "sample.joint.resistance": 0.1,
    "sample.holder.water": 0.002,
    "beam.filters.1.thickness": 0.001,
    "materials.PMMA.conductivity": 0.01,
    "mask.membrane.thickness": 0.01,
}
MORE = {
    "scan.acceleration": 0.04,
    "mask.frame.water": 0.002,
    "mask.frame.contact": 0.5,
    "mask.absorber.coverage": 0.01,
    "mask.absorber.thickness": 0.01,
    "chamber.outer_film": 0.1,
    "chamber.temperature": 0.002,
    "sample.holder.film": 0.03,
    "sample.layers.1.thickness": 0.01,
    "materials.PMMA.heat_capacity": 0.02,
}
EVERY = [*INPUTS, *(pytest.param(key, marks=pytest.mark.slow) for key in MORE)]
HELD = ("ring.current", "gap.width", "sample.joint.resistance", "materials.PMMA.conductivity")


def peaks(runs, case, before):
    """Highest temperatures of resist and mask of a case on the coarse mesh, K, and its state."""
    scene = replace(describe(case, runs.still), gap_change=runs.gap_change)
    state = solve_state(scene, mesh(scene, coarse=True), runs.solver, before, None, TIGHT)
    resist, membrane, absorber = (
        state.peak[hottest(state, name)] for name in ("resist", "membrane", "absorber")
    )
    return np.array([resist, max(membrane, absorber)]), state


def by_differences(runs, key, share, before):
    """Derivative of the same from both sides, K per unit."""
    case = before.scene.case
    step = share * number_at(case, key)
    up, down = (
        peaks(runs, with_value(case, key, number_at(case, key) + d), before)[0]
        for d in (step, -step)
    )
    return (up - down) / (2 * step)


@pytest.fixture(scope="module")
def lens():
    return CoarseRuns(read_case(CASES / "lens-row.toml"), False)


@pytest.fixture(scope="module")
def slopes(lens):
    return peak_sensitivities(lens, [*INPUTS, *MORE])


@pytest.fixture(scope="module")
def tight(lens):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("thermo.answer.state.SETTLED", 1e-6)
        yield peaks(lens, lens.usual.state.scene.case, lens.usual.state)[1]


@pytest.mark.parametrize("key", EVERY)
def test_a_derivative_is_that_of_tightly_solved_states(lens, slopes, tight, key):
    """To 1 %: solves of 5e-4 K against changes of 0.02 K and more; 0.6 % is the most seen."""
    found = np.array([slopes[key]["resist"], slopes[key]["mask"]])
    expected = by_differences(lens, key, {**INPUTS, **MORE}[key], tight)
    print(f"{key}: off by {np.abs(found / expected - 1).max():.1e}")
    assert found == pytest.approx(expected, rel=0.01)


@pytest.fixture(scope="module")
def held_runs(small):
    return CoarseRuns(small, True)


def test_a_held_beam_has_derivatives_of_its_steady_state(held_runs, monkeypatch):
    """To 0.1 %: steady solves leave next to nothing, differences their step squared."""
    monkeypatch.setattr("thermo.answer.state.SETTLED", 1e-6)
    assert not held_runs.short
    slopes = peak_sensitivities(held_runs, HELD)
    state = held_runs.usual.state
    for key in HELD:
        expected = by_differences(held_runs, key, 0.01, state)
        assert [*slopes[key].values()] == pytest.approx(expected, rel=1e-3)


def test_what_heat_does_not_feel_has_a_derivative_of_zero(held_runs):
    """Round-off of the whole temperature, 1e-12 of 300 K over a step of 1e-5 of the tension."""
    key = "mask.membrane.tension"
    for slope in peak_sensitivities(held_runs, [key])[key].values():
        assert abs(slope) * number_at(held_runs.usual.state.scene.case, key) < 1e-4


def test_an_exposure_of_few_passes_has_none(small_path):
    few = CoarseRuns(read_case(small_path, {"dose.bottom": "10 J/cm3"}), False)
    with pytest.raises(SolveError, match="few passes, worked out from cold, are not available"):
        peak_sensitivities(few, ["ring.current"])


@pytest.mark.parametrize("key", ["ring.nothing", "mask.frame.held", "beam.filters.2.thickness"])
def test_a_key_without_a_number_is_refused(small, key):
    with pytest.raises(CaseError, match="is no number of this case"):
        number_at(small, key)


def test_numbers_are_read_as_they_are_changed(small):
    for key in ("scan.speed", "beam.filters.1.thickness", "materials.PMMA.conductivity"):
        changed = with_value(small, key, 1.1 * number_at(small, key))
        assert number_at(changed, key) == pytest.approx(1.1 * number_at(small, key), rel=1e-12)


def test_inputs_that_make_another_mesh_are_left_out(held_runs, monkeypatch):
    """A coarse mesh that follows no case: every changed one differs."""
    monkeypatch.setattr("thermo.answer.sensitivity.mesh", lambda scene, coarse: mesh(scene))
    assert peak_sensitivities(held_runs, ["gap.width"]) == {}
