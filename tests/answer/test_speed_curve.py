"""Peaks against scan speed: through what was solved, falling, and flat where it says so."""

import numpy as np
import pytest

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.scene import describe
from thermo.answer.speed import GAIN, speed_block
from thermo.answer.state import solve_state
from thermo.answer.temperature import ZERO_C, hottest
from thermo.case import with_value
from thermo.solve import Solver

KEY = "scan.speed"


@pytest.fixture(scope="module")
def block(scanned):
    return scanned.answer.speed


def curves(block):
    return {"resist": np.array(block.resist_peak_C), "membrane": np.array(block.mask_peak_C)}


def test_the_curve_passes_through_the_peaks_of_the_answer(scanned, block):
    own, _ = block.solved_mm_per_s
    assert own == pytest.approx(20)
    at = block.speed_mm_per_s.index(own)
    for part, curve in curves(block).items():
        # exact but for round-off: the scale is that of this solve
        assert curve[at] == pytest.approx(scanned.answer.temperature[part].peak_C, abs=1e-9)


def test_the_curve_passes_through_the_other_solve_made_on_the_mesh_of_the_answer(scanned, block):
    """A solve of its own at the other speed; 0.1 K, by which the two meshes differ here."""
    _, other = block.solved_mm_per_s
    assert other == pytest.approx(block.most_mm_per_s)  # below four times the present speed
    scene = describe(with_value(scanned.outcome.scene.case, KEY, 1e-3 * other))
    state = solve_state(scene, scanned.outcome.state.meshed, Solver())
    at = block.speed_mm_per_s.index(other)
    for part, curve in curves(block).items():
        peak = float(state.peak[hottest(state, part)]) - ZERO_C
        assert curve[at] == pytest.approx(peak, abs=0.1)


def test_between_the_solves_the_closed_form_keeps_to_full_solves(scanned, block):
    """Half of the way up and half down: 5 % of the rise, of a swing whose share spreads."""
    case = scanned.outcome.scene.case
    for speed in (10.0, 36.0):
        scene = describe(with_value(case, KEY, 1e-3 * speed))
        state = solve_state(scene, scanned.outcome.state.meshed, Solver())
        for part, curve in curves(block).items():
            rise = float(state.peak[hottest(state, part)]) - ZERO_C - 20
            found = np.interp(np.log(speed), np.log(block.speed_mm_per_s), curve) - 20
            assert found == pytest.approx(rise, rel=0.05)


def test_faster_is_never_hotter_and_never_below_the_coldest_sink(block):
    speeds = np.array(block.speed_mm_per_s)
    assert (np.diff(speeds) > 0).all()
    assert speeds[0] == pytest.approx(5)  # a quarter of the present
    assert speeds[-1] == pytest.approx(block.most_mm_per_s)
    for curve in curves(block).values():
        assert (np.diff(curve) < 0).all()
        assert curve[-1] > 20


def test_above_what_is_enough_less_than_1_kelvin_is_left_to_gain_and_below_more(block):
    speeds, enough = np.array(block.speed_mm_per_s), block.enough_mm_per_s
    assert speeds[0] < enough < speeds[-1]
    at = int(np.flatnonzero(speeds == enough)[0])
    gain = np.max([curve - curve[-1] for curve in curves(block).values()], axis=0)
    assert gain[at] < GAIN <= gain[at - 1]
    assert f"{enough:.3g} mm/s" in block.text
    assert f"{block.most_mm_per_s:.3g} mm/s" in block.text


def test_a_stroke_that_is_short_already_is_told_and_a_slower_scan_is_solved(small, scanned):
    """5 mm less than needed: the curve ends at the present speed."""
    case = with_value(small, "scan.stroke", 0.021)
    runs = CoarseRuns(case, False)
    found = speed_block(runs.typical, runs)
    assert found.solved_mm_per_s == pytest.approx((20, 10))
    assert found.speed_mm_per_s[-1] == pytest.approx(20)
    assert found.most_mm_per_s < 20
    assert "short of its overscan" in found.text


def test_nothing_that_is_held_or_few_has_a_speed_curve(held, few):
    assert held.answer.speed is few.answer.speed is None
