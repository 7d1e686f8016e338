"""Bands over the inputs that carry a range, by a stand-in with known changes."""

import numpy as np
import pytest

from thermo.answer.scene import describe
from thermo.answer.spread import CoarseRuns, spread_inputs, spread_of
from thermo.answer.state import solve_state
from thermo.answer.temperature import hottest
from thermo.case import read_case, with_value
from thermo.solve import Solver


class Known:
    """Stands in for the runs: input i changes the resist by known steps at its two ends."""

    moved = False

    def __init__(self, steps):
        self.steps, self.asked = iter(steps), []

    def changed(self, case, key):
        self.asked.append(key)
        return next(self.steps)

    def change(self, after):
        return {"resist": after}


@pytest.fixture(scope="module")
def inputs(small):
    return [one.key for one in spread_inputs(small, moved=False)]


def test_the_band_is_the_root_of_the_sum_of_squares(small, inputs):
    low = -np.arange(1.0, len(inputs) + 1)
    high = np.linspace(3, 1, len(inputs))
    runs = Known(np.column_stack([low, high]).ravel())
    band = spread_of(small, runs).bands["resist"]
    assert band.down == pytest.approx(np.sqrt((low**2).sum()))
    assert band.up == pytest.approx(np.sqrt((high**2).sum()))
    assert band.decider == inputs[0]
    assert runs.asked == [key for key in inputs for _ in range(2)]


def test_an_input_whose_both_ends_lower_the_value_counts_once_and_below_only(small, inputs):
    steps = np.zeros(2 * len(inputs))
    steps[:2] = -3, -2
    steps[2:4] = 1, 4
    band = spread_of(small, Known(steps)).bands["resist"]
    assert (band.down, band.up, band.decider) == (3, 4, inputs[1])


def test_what_each_end_of_an_input_changes_is_kept_by_its_key_and_told_as_it_is_done(small, inputs):
    steps, told = np.arange(2.0 * len(inputs)), []
    spread = spread_of(small, Known(steps), lambda done, of: told.append((done, of)))
    for i, key in enumerate(inputs):
        assert spread.by_input[key] == ({"resist": 2.0 * i}, {"resist": 2.0 * i + 1})
    assert told == [(i + 1, len(inputs)) for i in range(len(inputs))]


def test_sensors_have_bands_beside_the_limits(small):
    """Both ends of the joint alone, by the runs themselves."""
    runs = CoarseRuns(small, False)
    key = "sample.joint.resistance"
    cases = (with_value(small, key, R) for R in (2e-3, 1e-4))
    worse, better = (runs.change(runs.changed(case, key)) for case in cases)
    assert {"resist", "mask", "sensor edge", "sensor base"} <= worse.keys() == better.keys()
    assert worse["sensor edge"] > 0 > better["sensor edge"]
    assert worse["dose_top"] == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("dose", ["3.8 kJ/cm3", "10 J/cm3"])
def test_an_unchanged_case_changes_nothing(small_path, dose):
    """In both regimes; its cycle starts from the first one: twice the error of a coarse cycle."""
    case = read_case(small_path, {"dose.bottom": dose})
    runs = CoarseRuns(case, False)
    assert runs.regime == ("few_passes" if dose == "10 J/cm3" else "limit_cycle")
    for moved in runs.change(runs.changed(case, "gap.width")).values():
        assert moved == pytest.approx(0, abs=0.1)


def test_elastic_inputs_are_left_out_where_nothing_is_expanded(small, inputs):
    elastic = {one.key for one in spread_inputs(small, moved=True)} - set(inputs)
    assert elastic
    assert all(key.endswith(("youngs_modulus", "expansion", "tension")) for key in elastic)


def test_a_worse_joint_widens_the_band_of_the_small_plate_upwards(scanned):
    line = next(line for line in scanned.answer.limits if line.name == "resist")
    case = with_value(scanned.outcome.scene.case, "sample.joint.resistance", 2e-3)
    state = solve_state(describe(case), scanned.outcome.state.meshed, Solver())
    worse = float(state.peak[hottest(state, "resist")]) - 273.15
    # by itself the joint's far end lies inside the band, but for the coarse mesh of the band
    assert line.low < line.value < worse < line.high + 0.1
