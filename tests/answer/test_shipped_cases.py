"""Every shipped case is answered, balances its heat, and says something to act on."""

from functools import lru_cache
from pathlib import Path

import pytest

from thermo.answer import Answer, estimate
from thermo.answer.course import WARM
from thermo.answer.scene import describe
from thermo.case import read_case

CASES = Path(__file__).parents[2] / "cases"
NAMES = [path.stem for path in sorted(CASES.glob("*.toml"))]
pytestmark = pytest.mark.slow  # 20 to 80 s each; the small plate stands for them elsewhere


@lru_cache
def answered(name):
    return estimate(read_case(CASES / f"{name}.toml"))


@pytest.fixture(params=NAMES)
def answer(request):
    return answered(request.param)


def test_every_shipped_case_is_answered_with_heat_and_power_in_balance(answer):
    assert answer.checks.heat_balance < 1e-8  # solve's tolerance 1e-10, two decades for films
    assert answer.checks.power_balance < 1e-6  # closes by construction, but for round-off
    assert answer.checks.residual <= 1e-10  # what the solver asks of itself
    assert Answer.model_validate_json(answer.to_json()) == answer  # refuses what is not finite


def test_every_part_is_warmer_than_the_coldest_sink_and_its_peak_above_its_mean(answer):
    for part in answer.temperature.values():
        assert 20 - 1e-6 < part.mean_C < part.peak_C < 400
        assert part.dose_weighted_C <= part.peak_C
        assert part.swing_K == pytest.approx(part.peak_C - part.mean_C)
    for name in ("membrane", "absorber"):  # a thick resist warms on behind the stripe, by the mask
        assert answer.temperature[name].dose_weighted_C > answer.temperature[name].mean_C


def test_every_known_limit_lies_inside_its_band_and_says_whether_it_is_met(answer):
    for line in answer.limits:
        if line.value is None:
            assert line.met is None
            assert line.note
        else:
            assert line.low <= line.value <= line.high
            assert line.met is not True or line.high <= line.limit


def test_the_verdict_gives_reasons_and_what_is_not_go_says_what_to_do_or_what_is_missing(answer):
    verdict = answer.verdict
    assert verdict.reasons
    assert verdict.word != "go" or all(line.met for line in answer.limits)
    if verdict.word in ("change", "no"):
        assert verdict.advice


def test_the_stroke_of_every_shipped_case_exposes_its_field_evenly(answer):
    stroke = describe(read_case(CASES / f"{_stem(answer)}.toml")).motion.stroke
    assert answer.dose.stroke_needed_mm <= 1e3 * stroke


def _stem(answer):
    return next(
        path.stem for path in CASES.glob("*.toml") if read_case(path).title == answer.case.title
    )


def test_the_exposure_in_time_hangs_together(answer):
    """Worst moments, cycle, speed and sensors; 0.1 K of the coarse mesh, by which it is told."""
    course, parts = answer.course, answer.temperature
    for name, part in (("resist", "resist"), ("mask", "membrane")):
        assert 20 < getattr(course, f"{name}_worst_C") <= parts[part].peak_C + 1e-6
        assert 0 < getattr(course, f"{name}_worst_share") < 1 + 1e-4  # of single precision
        assert 0 < getattr(course, f"{name}_worst_s") <= answer.dose.time_s
    assert answer.cycle.error_K <= 0.05  # a coarse cycle's, or tighter
    assert course.decay_error_K <= 0.05
    assert (answer.speed is None) == (answer.regime == "few_passes")
    assert (answer.settle_s > WARM * answer.dose.time_s) == (answer.regime == "few_passes")
    above, limit = answer.resist_in_time.above_limit, _limit(answer, "resist")
    if above is not None and limit.limit_from == "case":
        assert (above > 0) == (limit.value > limit.limit)
    for sensor in answer.sensors.values():
        assert sensor.cold_C <= sensor.mean_C < sensor.high_C
        assert (sensor.low_C is None) == (answer.regime == "few_passes")
        assert sensor.low_C is None or sensor.low_C < sensor.mean_C
        assert "tell the joint" in sensor.tells


def _limit(answer, name):
    return next((line for line in answer.limits if line.name == name), None)
