"""Every shipped case is answered, balances its heat, and says something to act on."""

from functools import lru_cache
from pathlib import Path

import pytest

from thermo.answer import Answer
from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.course import WARM
from thermo.answer.scene import describe
from thermo.case import read_case
from thermo.decide import estimate

CASES = Path(__file__).parents[2] / "cases"
NAMES = [path.stem for path in sorted(CASES.glob("*.toml"))]
FIRST = ("lens-row",)  # the others by make test-all; make demo gives tall-mould-cured
WHOLE = [name if name in FIRST else pytest.param(name, marks=pytest.mark.long) for name in NAMES]
pytestmark = pytest.mark.slow  # one to four minutes each; the small plate stands for them elsewhere


@lru_cache
def answered(name):
    return estimate(read_case(CASES / f"{name}.toml"))


@pytest.fixture(params=WHOLE)
def answer(request):
    return answered(request.param)


@pytest.mark.parametrize("name", NAMES)
def test_every_shipped_case_is_worked_out_on_its_coarse_mesh(name):
    """Ranges, levers and the fine mesh are left to the whole answers."""
    outcome = CoarseRuns(read_case(CASES / f"{name}.toml"), False).typical
    state, printed = outcome.state, outcome.expansion.printed
    assert state.steady.balance < 1e-8  # as for the whole answer
    assert state.power.balance < 1e-6
    assert outcome.expansion.motion.residual <= 1e-9  # what the elastic solves ask of themselves
    # two sharp passes lie apart by twice their blur, by 2.04 of it where they are 3 and 2 of 5
    assert 0 < printed.split.max() <= 2.1 * printed.blur.max()
    assert outcome.expansion.gap_change[0].min() > -state.scene.stack.layer("gap").thickness
    assert all(line.value is not None for line in outcome.judged) == outcome.membrane.is_flat


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


def test_the_placement_is_complete_and_hardly_moves_on_refinement(answer):
    """Against a mesh of twice the spacing, four times across: the default one is nearer the truth.

    3 % of the largest error in what is left after scale, 6 % in the blur, whose peak the coarse
    mesh of the heat cuts.
    """
    block, moved = answer.placement, answer.mesh.difference_on_refinement
    depths = (block.top, block.middle, block.base)
    assert min(min(d.raw_max_nm, d.blur_max_nm, d.up_down_split_nm) for d in depths) > 0
    assert block.series_rest_nm <= 0.5
    assert (block.reason is None) == (answer.checks.membrane_tension_needed_MPa is None)
    if block.reason:
        return  # past its flat state, and said so
    largest = max(d.raw_max_nm for d in depths)
    assert moved["residual_nm"] < 0.03 * largest
    assert moved["blur_nm"] < 0.06 * max(d.blur_max_nm for d in depths)
