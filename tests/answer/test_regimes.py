"""Held beam, few passes, limit cycle: which holds, and what each says."""

from dataclasses import replace

import pytest

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.course import WARM, which_regime
from thermo.answer.exposure import dose_plan
from thermo.case import read_case


def test_a_long_exposure_ends_in_the_limit_cycle(scanned):
    assert scanned.answer.regime == "limit_cycle"
    assert scanned.answer.settle_s < WARM * scanned.answer.dose.time_s


def test_exposure_time_against_settling_time_decides(scanned):
    settle, dose = scanned.course.settling(), scanned.outcome.dose
    for share, regime in ((0.01, "few_passes"), (0.99, "few_passes"), (1.01, "limit_cycle")):
        lasting = replace(dose, time=share * settle / WARM)
        found, why = which_regime(replace(scanned.course, dose=lasting))
        assert found == regime
        assert f"settle in {settle:.3g} s" in why


def test_a_held_beam_is_still_however_short(held):
    assert held.answer.regime == "still"
    dose = replace(held.outcome.dose, time=1e-3)
    assert which_regime(replace(held.course, dose=dose))[0] == "still"


@pytest.fixture(scope="module")
def either_side(small_path, scanned):
    """The most passes whose warm-up counts, and one more; the ring decays by 0.4 % on the way."""
    motion, per_pass = scanned.outcome.scene.motion, scanned.outcome.dose.dose_per_pass
    most = int(scanned.answer.settle_s / WARM / motion.pass_time)
    wanted = [f"{0.995 * passes * per_pass:.6g} J/m3" for passes in (most, most + 1)]
    cases = [read_case(small_path, {"dose.bottom": dose}) for dose in wanted]
    return most, [CoarseRuns(case, False) for case in cases]


def test_one_pass_more_than_those_whose_warm_up_counts_is_a_limit_cycle(either_side):
    most, (few, many) = either_side
    assert [dose_plan(runs.typical.scene).passes for runs in (few, many)] == [most, most + 1]
    assert [runs.regime for runs in (few, many)] == ["few_passes", "limit_cycle"]


def test_where_the_regime_changes_the_temperatures_do_not_jump(either_side):
    """What 2 % of the mean rise, and the coarse cycles' own 0.05 K, leave; the mean warms up."""
    _, (few, many) = either_side
    for line, other in zip(few.typical.judged, many.typical.judged, strict=True):
        if line.unit == "degC":
            allowed = 0.02 * (other.value - 20) + 0.05
            assert line.value == pytest.approx(other.value, abs=allowed)


def test_a_held_beam_has_no_swing(held):
    for part in held.answer.temperature.values():
        assert part.swing_K == 0
        assert part.mean_C == part.peak_C == part.dose_weighted_C


def test_a_scan_swings_between_mean_and_peak(scanned):
    for part in scanned.answer.temperature.values():
        assert part.mean_C < part.peak_C
        assert part.dose_weighted_C <= part.peak_C


def test_the_printed_placement_is_given_however_the_exposure_runs(scanned, held, few):
    for result in (scanned, held, few):
        block = result.answer.placement
        assert block.reason is None
        assert min(block.top.raw_max_nm, block.base.blur_max_nm) > 0
    assert (
        held.answer.placement.top.up_down_split_nm == 0 < few.answer.placement.top.up_down_split_nm
    )
