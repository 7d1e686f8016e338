"""The verdict's rule, on limits made by hand."""

from dataclasses import replace

import pytest
from pydantic import ValidationError

from thermo.answer.outcome import Judged
from thermo.answer.spread import Band
from thermo.decide.advice import Change
from thermo.decide.verdict import limit_lines, verdict

NONE = Band(0.0, 0.0, None)


def resist(value, at_most=False):
    return Judged("resist", "resist", "degC", value, 50.0, "case", "note", at_most)


def mask(value):
    return Judged("mask", "mask", "degC", value, 60.0, "case")


def said(judged, bands=None, changes=()):
    bands = bands or {}
    return verdict(limit_lines(judged, bands, {}), bands, changes)


def change(cures, key="scan.speed", ours=True, resist=45.0, together=False):
    values = {"resist": resist, "mask": 55.0}
    excess = {"resist": -1.0 if cures else 1.0}
    levers = (None, None) if together else ()
    return Change(f"{key} 5 -> 20 mm/s", values, excess, 600.0, ours, levers)


def test_go_when_the_far_end_of_every_band_keeps_its_limit():
    found = said([resist(40), mask(50)], {"resist": Band(3, 9.9, "gap.width"), "mask": NONE})
    assert (found.word, found.limited_by) == ("go", "resist")
    assert found.advice == ()


def test_cannot_tell_when_a_band_reaches_over_a_limit_and_the_decider_is_named_with_a_way():
    band = {"resist": Band(3, 10.1, "sample.joint.resistance"), "mask": NONE}
    found = said([resist(40), mask(50)], band)
    assert (found.word, found.limited_by) == ("cannot_tell", "resist")
    assert "sample.joint.resistance" in found.reasons[0]
    assert any("measure the joint" in advice for advice in found.advice)


def test_cannot_tell_when_a_number_that_a_limit_needs_is_not_known():
    found = said([resist(None), mask(50)])
    assert found.word == "cannot_tell"
    assert "not known" in found.reasons[0]


def test_cannot_tell_when_the_limit_is_an_upper_bound_only():
    assert said([resist(20, at_most=True)]).word == "cannot_tell"


def test_cannot_tell_when_the_case_names_no_limit():
    found = said([])
    assert found.word == "cannot_tell"
    assert "[limits]" in found.reasons[0]


def test_change_when_a_typical_value_fails_and_one_setting_cures_it():
    found = said([resist(51), mask(50)], changes=[change(False, "filter"), change(True)])
    assert (found.word, found.limited_by) == ("change", "resist")
    assert found.advice[0].startswith("scan.speed")  # the cure comes first


def test_no_when_a_typical_value_fails_and_no_single_setting_cures_it():
    found = said([resist(51), mask(50)], changes=[change(False)])
    assert found.word == "no"
    assert "scan.speed" in found.tried[0]
    assert "no setting was found" in found.advice[0]


def test_no_but_first_of_all_what_cures_together():
    found = said([resist(51)], changes=[change(False), change(True, "gap.width", together=True)])
    assert found.word == "no"
    assert found.advice[0].startswith("gap.width")
    assert not any("no setting" in advice for advice in found.advice)


def test_a_change_that_breaks_another_limit_says_which():
    found = said(
        [resist(51)], changes=[replace(change(False), excess={"mask": 1.0, "resist": 2.0})]
    )
    assert found.tried[0].endswith(", but breaks mask")


def test_a_change_that_brings_no_broken_value_nearer_is_not_worth_a_line():
    found = said([resist(51)], changes=[change(False, resist=51.2), change(False, resist=50.96)])
    assert found.tried == ()


def test_no_when_only_what_others_set_would_cure_it_but_it_is_said():
    found = said([resist(51)], changes=[change(True, "ring.current", ours=False)])
    assert found.word == "no"
    assert found.advice[0].startswith("ring.current")


def test_a_broken_limit_outweighs_an_unknown_one():
    assert said([resist(None), mask(61)], changes=[change(False)]).word == "no"


def test_the_body_furthest_over_its_limit_limits():
    assert said([resist(51), mask(80)]).limited_by == "mask"


@pytest.mark.parametrize(
    ("value", "up", "met"),
    [(40.0, 5.0, True), (50.0, 0.0, True), (45.0, 5.1, None), (50.1, 0.0, False), (None, 0, None)],
)
def test_met_is_true_only_at_the_far_end_false_at_the_typical_value_and_else_open(value, up, met):
    line = limit_lines([resist(value)], {"resist": Band(1.0, up, "gap.width")}, {})[0]
    assert line.met is met


def test_what_model_and_mesh_leave_open_adds_to_the_band_by_root_sum_square():
    judged = Judged("dose_top", "resist", "kJ/cm3", 10.0, 20.0, "case", model=(3.0, 3.0))
    line = limit_lines([judged], {"dose_top": Band(4.0, 4.0, "gap.width")}, {"dose_top": 12.0})[0]
    assert (line.low, line.high, line.margin) == (-3.0, 23.0, 10.0)  # 3, 4, 12: 13


def test_a_nan_is_no_value_of_a_limit():
    with pytest.raises(ValidationError, match="finite"):
        limit_lines([resist(float("nan"))], {}, {})
