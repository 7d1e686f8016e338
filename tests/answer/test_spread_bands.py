"""Bands over the inputs that carry a range, by a stand-in with known changes."""

from types import SimpleNamespace

import numpy as np
import pytest

from thermo.answer import coarse_runs
from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.membrane import hottest_membrane
from thermo.answer.scene import describe
from thermo.answer.spread import spread_inputs, spread_of
from thermo.answer.state import solve_state
from thermo.answer.temperature import hottest
from thermo.case import input_at, read_case, with_value
from thermo.solve import Solver


class Known:
    """Stands in for the runs: input i changes the resist by known steps at its two ends.

    limit : of the resist, of which a small share needs no second run
    """

    moved = near_buckling = False

    def __init__(self, inputs, steps, limit=0.0):
        self.ends = {one.key: one for one in inputs}
        self.steps = dict(zip(self.ends, np.reshape(steps, (-1, 2)), strict=True))
        self.rough = SimpleNamespace(judged=(SimpleNamespace(name="resist", limit=limit),))
        self.asked = []

    def changed(self, case, key):
        self.asked.append(key)
        return self.steps[key][int(value_of(case, key) == self.ends[key].high)]

    def change(self, after):
        return {"resist": after}


def value_of(case, key):
    if key.startswith("materials."):
        _, name, prop = key.split(".")
        return getattr(case.materials[name], prop).typical[0]
    return input_at(case, key).value


@pytest.fixture(scope="module")
def inputs(small):
    return spread_inputs(small, elastic=False)


def test_the_band_is_the_root_of_the_sum_of_squares(small, inputs):
    low = -np.arange(1.0, len(inputs) + 1)
    high = np.linspace(3, 1, len(inputs))
    runs = Known(inputs, np.column_stack([low, high]))
    band = spread_of(small, runs).bands["resist"]
    assert band.down == pytest.approx(np.sqrt((low**2).sum()))
    assert band.up == pytest.approx(np.sqrt((high**2).sum()))
    assert band.decider == inputs[0].key
    assert sorted(runs.asked) == sorted(one.key for one in inputs for _ in range(2))


def test_an_input_whose_both_ends_lower_the_value_counts_once_and_below_only(small, inputs):
    steps = np.zeros(2 * len(inputs))
    steps[:2] = -3, -2
    steps[2:4] = 1, 4
    band = spread_of(small, Known(inputs, steps)).bands["resist"]
    assert (band.down, band.up, band.decider) == (3, 4, inputs[1].key)


def test_an_end_whose_farther_one_hardly_counts_is_its_share_of_that(small, inputs):
    """A change of 0.3 % of the limit; the nearer end then lies by its share on the other side."""
    one = inputs[0]
    far = one.high - one.value > one.value - one.low
    steps = np.zeros((len(inputs), 2))
    steps[0, int(far)] = 0.1
    runs = Known(inputs, steps, limit=50.0)
    low, high = spread_of(small, runs).by_input[one.key]
    share = (one.low - one.value) / (one.high - one.value)
    expected = {"resist": 0.1 * share if far else 0.1 / share}
    assert (low if far else high) == pytest.approx(expected)
    assert sorted(runs.asked) == sorted(other.key for other in inputs)


def test_what_each_end_of_an_input_changes_is_kept_by_its_key_and_told_as_it_is_done(small, inputs):
    steps, told = np.arange(2.0 * len(inputs)), []
    spread = spread_of(small, Known(inputs, steps), lambda done, of: told.append((done, of)))
    for i, one in enumerate(inputs):
        assert spread.by_input[one.key] == ({"resist": 2.0 * i}, {"resist": 2.0 * i + 1})
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


def test_of_few_passes_the_nearness_to_buckling_follows_the_current(small_path):
    """Half the current: half the rise over the exposure, to 3 %, as properties change with it."""
    runs = CoarseRuns(read_case(small_path, {"dose.bottom": "10 J/cm3"}), False)
    assert runs.short
    case = runs.usual.state.scene.case
    half = runs.changed(with_value(case, "ring.current", 0.025), "ring.current").values["buckling"]
    warm = runs.typical.values["buckling"]
    cold = 1 / hottest_membrane(runs.usual.state, runs.usual, runs.bodies[0]).factor
    assert warm == pytest.approx(cold, rel=1e-6)
    assert half == pytest.approx(warm / 2, rel=0.03)


def test_elastic_inputs_are_left_out_where_nothing_is_expanded(small, inputs):
    elastic = {one.key for one in spread_inputs(small, elastic=True)} - {one.key for one in inputs}
    assert elastic
    assert all(key.endswith(("youngs_modulus", "expansion", "tension")) for key in elastic)


def test_a_worse_joint_widens_the_band_of_the_small_plate_upwards(scanned):
    line = next(line for line in scanned.answer.limits if line.name == "resist")
    case = with_value(scanned.outcome.scene.case, "sample.joint.resistance", 2e-3)
    state = solve_state(describe(case), scanned.outcome.state.meshed, Solver())
    worse = float(state.peak[hottest(state, "resist")]) - 273.15
    # by itself the joint's far end lies inside the band, but for the coarse mesh of the band
    assert line.low < line.value < worse < line.high + 0.1


@pytest.mark.parametrize(
    ("key", "value"),
    [("beam.filters.1.thickness", 8e-4), ("mask.scale", 1e-5), ("ring.current", 0.03)],
)
def test_what_leaves_bodies_alone_takes_over_their_factors(small_path, monkeypatch, key, value):
    """The same numbers as with both bodies and their motion made anew, to the solves' tolerance."""
    case = read_case(small_path, {"limits.placement": "1 um", "mask.scale": "0 ppm"})
    runs = CoarseRuns(case, False)
    changed = with_value(case, key, value)
    short = runs.changed(changed, key, far=True).values
    monkeypatch.setattr(coarse_runs, "is_as_stiff", lambda _: False)
    monkeypatch.setattr(coarse_runs, "ELASTIC", ("nothing",))
    long = runs.changed(changed, key, far=True).values
    assert short == pytest.approx(long, rel=1e-3)
