"""Limits of the exposure plan: time budget and evenness along the scan, from line to advice."""

import math
from dataclasses import replace

import pytest

from thermo.answer.dose_report import dose_report
from thermo.answer.exposure import dose_plan, lit_stripe, stroke_for
from thermo.answer.outcome import DOSE, EVEN, Judged, dose_lines
from thermo.answer.scene import describe
from thermo.answer.spread import Band
from thermo.case import read_case, with_value
from thermo.decide.levers import levers_of
from thermo.decide.verdict import limit_lines, verdict
from thermo.show.dose import dose_text

DIGITS = 5e-3  # three of them are said
SHORT_STROKE = {"scan.stroke": "13.5 mm"}


@pytest.fixture(scope="module")
def plan_of(small_path):
    """Scene, plan and judged lines of the small case with settings."""

    def plan_of(settings=None, still=False):
        scene = describe(read_case(small_path, settings or {}), still)
        plan = dose_plan(scene)
        return scene, plan, {line.name: line for line in dose_lines(scene.case, plan)}

    return plan_of


# exposure time


def test_the_time_of_the_plan_stands_beside_its_limit_in_minutes(plan_of):
    _, plan, lines = plan_of({"limits.time": "3 h"})
    line = lines["exposure_time"]
    assert (line.part, line.unit, line.limit, line.source) == ("exposure", "min", 180, "case")
    assert line.value == plan.time / 60
    assert list(lines)[-1] == "exposure_time"
    assert "exposure_time" not in plan_of()[2]


def test_a_time_is_as_uncertain_as_a_dose_that_takes_longest_at_the_end(plan_of):
    """From the plan itself: 3 % more dose asked for; whole passes, so within one of them."""
    settings = {"limits.time": "100 h", "ring.current": "2 mA", "ring.lifetime": "40 h"}
    scene, plan, lines = plan_of(settings)
    bottom = scene.case.dose.bottom.value * (1 + DOSE)
    more = dose_plan(describe(with_value(scene.case, "dose.bottom", bottom))).time - plan.time
    assert plan.time > 1.5 * plan.time_constant_current  # else the decay would tell nothing
    down, up = lines["exposure_time"].model
    assert down == up
    # the slope at the end against the whole 3 %: the second order is half of 3 % t0/tau exp(t/tau)
    assert 60 * up == pytest.approx(more, rel=0.05)
    ring = scene.case.ring.model_copy(update={"lifetime": None})
    endless = scene.case.model_copy(update={"ring": ring})
    plan = dose_plan(describe(endless))
    line = next(j for j in dose_lines(endless, plan) if j.name == "exposure_time")
    assert line.model[1] == pytest.approx(DOSE * line.value, rel=1e-12)


def test_a_held_beam_takes_its_time_too(plan_of):
    _, plan, lines = plan_of({"limits.time": "1 h"}, still=True)
    assert lines["exposure_time"].value == plan.time / 60


# unevenness


def test_without_a_limit_only_what_practice_would_not_allow_is_told(plan_of):
    assert "dose_unevenness" not in plan_of()[2]
    _, plan, lines = plan_of(SHORT_STROKE)
    line = lines["dose_unevenness"]
    assert plan.unevenness > EVEN
    assert (line.value, line.limit) == (100 * plan.unevenness, 100 * EVEN)
    assert (line.source, line.part, line.unit) == ("common practice", "resist", "%")
    assert "too short" in line.note


@pytest.mark.parametrize("limit", [2e-2, 1e-6])
def test_the_limit_of_the_case_stands_in_place_of_that_of_practice(plan_of, limit):
    for stroke in ({}, {"scan.stroke": "22 mm"}, SHORT_STROKE):  # under 1e-6, about 1e-3, 0.3
        _, plan, lines = plan_of({"limits.dose_unevenness": str(limit), **stroke})
        line = lines["dose_unevenness"]
        assert (line.value, line.source) == (100 * plan.unevenness, "case")
        assert line.limit == pytest.approx(100 * limit, rel=1e-15)  # percent and back
        assert ("too short" in line.note) is (line.over > 0) is (plan.unevenness > limit)


def test_a_held_beam_has_no_evenness_to_judge(plan_of):
    line = plan_of({"limits.dose_unevenness": "2 %"}, still=True)[2]["dose_unevenness"]
    assert line.value is None
    assert "held beam" in line.note
    assert "dose_unevenness" not in plan_of(still=True)[2]


def test_the_stroke_for_an_unevenness_keeps_it(plan_of):
    """The stripe's share beyond the edge is what the edge lacks: never more than promised."""
    scene, plan, _ = plan_of()
    stripe = lit_stripe(scene)
    assert stroke_for(scene, stripe, 1e-3) == plan.stroke_needed
    assert stroke_for(scene, stripe, 1e-2) == plan.stroke_for_1_percent
    for lack in (2e-2, 2e-4):
        stroke = 1e3 * stroke_for(scene, stripe, lack)
        found = plan_of({"scan.stroke": f"{stroke:.5f} mm"})[1].unevenness
        assert lack / 10 < found <= 1.02 * lack


# levers and words


def stroke_offered(scanned, case, broken):
    """The stroke that is offered, m, where one limit of a case is broken; None: nothing is."""
    scene = describe(case)
    state = replace(scanned.outcome.state, scene=scene)
    wrong = replace(scanned.outcome, state=state, dose=dose_plan(scene))
    levers = list(levers_of(wrong, None, None, [broken]))
    assert [lever.setting.key for lever in levers] == ["scan.stroke"] * len(levers)
    return levers[0].value(1.0) if levers else None


def test_a_stroke_longer_than_needed_is_shortened_to_save_time(scanned, small, plan_of):
    scene, plan, _ = plan_of()
    stripe = lit_stripe(scene)
    offered = stroke_offered(scanned, small, "exposure_time")
    assert offered == pytest.approx(1.01 * plan.stroke_needed, rel=DIGITS)
    assert offered < 0.026
    coarse = plan_of({"limits.dose_unevenness": "2 %"})[0].case
    assert stroke_offered(scanned, coarse, "exposure_time") == pytest.approx(
        1.01 * stroke_for(scene, stripe, 0.02), rel=DIGITS
    )
    assert stroke_offered(scanned, small, "dose_unevenness") is None  # shorter is no more even


def test_a_stroke_shorter_than_needed_is_lengthened_for_evenness_alone(scanned, plan_of):
    scene, plan, _ = plan_of(SHORT_STROKE)
    stripe = lit_stripe(scene)
    offered = stroke_offered(scanned, scene.case, "dose_unevenness")
    assert offered == pytest.approx(1.01 * plan.stroke_needed, rel=DIGITS)
    assert stroke_offered(scanned, scene.case, "exposure_time") is None
    for limit, lack in (("2 %", 1e-3), ("0.01 %", 1e-4)):
        case = plan_of({"limits.dose_unevenness": limit, **SHORT_STROKE})[0].case
        assert stroke_offered(scanned, case, "dose_unevenness") == pytest.approx(
            1.01 * stroke_for(scene, stripe, lack), rel=DIGITS
        )


def test_a_time_over_its_budget_is_said_in_plain_minutes():
    lines = limit_lines(
        [Judged("exposure_time", "exposure", "min", 1234.0, 1200.0, "case")], {}, {}
    )
    said = verdict(lines, {"exposure_time": Band(0.0, 0.0, None)}, [])
    assert (said.word, said.limited_by) == ("no", "exposure")
    assert said.reasons == ("exposure time 1234 min, limit 1200 min",)


# what the dose command says


def remarks(scene, done=0.0):
    report = dose_report(scene, done=done)
    return {r.name: r for r in report.remarks}, dose_text(report)


@pytest.mark.parametrize(("limit", "word"), [("1 s", "WARNING"), ("1000 h", "ok")])
def test_the_dose_command_sets_the_time_beside_its_limit(plan_of, limit, word):
    scene, plan, _ = plan_of({"limits.time": limit})
    found, text = remarks(scene)
    remark = found["exposure_time"]
    assert (remark.value, remark.unit, remark.low) == (plan.time / 60, "min", None)
    assert remark.met is (word == "ok")
    row = next(row for row in text.splitlines() if row.startswith("  exposure time"))
    assert f" min: {word} (limit of the case)" in row
    assert "e+" not in row
    assert "exposure_time" not in remarks(plan_of()[0])[0]
    assert "exposure_time" not in remarks(scene, done=1.0)[0]  # the time before is not known


def test_the_dose_command_judges_evenness_by_the_limit_of_the_case(plan_of):
    found, text = remarks(plan_of()[0])
    assert (found["dose_along_the_scan"].high, found["dose_along_the_scan"].met) == (1.0, True)
    assert "common practice" in found["dose_along_the_scan"].source
    assert "TOO SHORT" not in text
    stroke = {"scan.stroke": f"{1e3 * plan_of()[1].stroke_needed:.5f} mm"}  # for 0.1 %
    assert "TOO SHORT" not in remarks(plan_of(stroke)[0])[1]
    found, text = remarks(plan_of({"limits.dose_unevenness": "0.01 %", **stroke})[0])
    assert found["dose_along_the_scan"].high == pytest.approx(0.01)
    assert found["dose_along_the_scan"].source == "limit of the case"
    assert not found["dose_along_the_scan"].met
    assert "TOO SHORT" in text
    found, text = remarks(plan_of({"limits.dose_unevenness": "99 %", **SHORT_STROKE})[0])
    assert found["dose_along_the_scan"].met
    assert "TOO SHORT" not in text
    assert "TOO SHORT" in remarks(plan_of(SHORT_STROKE)[0])[1]


# the answer


def test_both_limits_stand_in_the_answer(few):
    lines = {line.name: line for line in few.answer.limits}
    time, even = lines["exposure_time"], lines["dose_unevenness"]
    assert time.value == few.answer.dose.time_s / 60
    assert (time.limit, time.part, time.limit_from, time.met) == (1.0, "exposure", "case", True)
    assert time.low < time.value < time.high
    assert math.isclose(even.value, few.answer.dose.unevenness_percent)
    assert (even.limit, even.limit_from, even.met) == (2.0, "case", True)
