"""Held beam, few passes, limit cycle: what each may say."""

import pytest

from thermo.answer import run
from thermo.answer.estimate import which_regime
from thermo.answer.exposure import dose_plan
from thermo.case import read_case


@pytest.fixture(scope="module")
def few(small_path):
    return run(read_case(small_path, {"dose.bottom": "1 J/cm3", "limits.placement": "1 um"}))


def test_a_long_exposure_ends_in_the_limit_cycle(scanned):
    assert scanned.answer.regime == "limit_cycle"
    assert scanned.answer.settle_s < scanned.answer.dose.time_s


def test_exposure_time_against_settling_time_decides(scanned):
    state = scanned.outcome.state
    time = dose_plan(state.scene).time
    assert which_regime(state, 0.99 * time)[0] == "limit_cycle"
    assert which_regime(state, 1.01 * time)[0] == "few_passes"


def test_a_held_beam_is_still_however_long(held):
    assert held.answer.regime == "still"
    assert which_regime(held.outcome.state, 1e9)[0] == "still"


def test_few_passes_give_no_temperature_at_all(few):
    answer = few.answer
    assert answer.regime == "few_passes"
    assert answer.temperature == answer.sensors == {}
    assert answer.hand_check is answer.highest_current_mA is None
    assert answer.dose_share_before_settling == 1


def test_few_passes_leave_temperature_and_placement_open_and_the_verdict_too(few):
    unknown = {line.name for line in few.answer.limits if line.value is None}
    assert unknown == {"resist", "mask", "placement"}
    assert all(line.met is None for line in few.answer.limits if line.value is None)
    assert few.answer.verdict.word == "cannot_tell"
    assert few.answer.placement.sample is None


def test_few_passes_still_know_their_doses(few):
    known = {line.name: line.met for line in few.answer.limits if line.value is not None}
    assert known == {"dose_top": True, "dose_ratio": True, "dose_under_absorber": True}


def test_a_held_beam_has_no_swing(held):
    for part in held.answer.temperature.values():
        assert part.swing_K == 0
        assert part.mean_C == part.peak_C == part.dose_weighted_C


def test_a_scan_swings_between_mean_and_peak(scanned):
    for part in scanned.answer.temperature.values():
        assert part.mean_C < part.peak_C
        assert part.dose_weighted_C <= part.peak_C


def test_printed_placement_is_given_for_a_held_beam_and_withheld_with_a_reason_for_a_scan(
    scanned, held
):
    assert held.answer.placement.top is not None
    assert held.answer.placement.reason is None
    assert scanned.answer.placement.top is None
    assert "cycle" in scanned.answer.placement.reason
