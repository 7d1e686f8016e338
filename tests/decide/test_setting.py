"""Words and keys of settings, the spans in which they are sought, and rounding of what is found."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermo.answer.exposure import dose_plan
from thermo.answer.scene import describe
from thermo.case import input_at, read_case, with_value
from thermo.decide import setting as module
from thermo.decide.setting import (
    CLOSE,
    FOIL,
    KEYS,
    SCALE,
    WATER,
    Setting,
    SettingError,
    check_limits,
    rounded,
    setting_of,
    span_of,
)
from thermo.errors import CaseError, PhysicsError
from thermo.units import to_unit

CASES = Path(__file__).parents[2] / "cases"
CLEAR = 20  # times CLOSE of the span: outside of what the search for its end leaves open


@pytest.fixture(scope="module")
def tall():
    return read_case(CASES / "tall-mould.toml")


@pytest.fixture
def all_allowed(monkeypatch):
    """The case refuses no value: the span is what was asked for, and no beam is worked out."""
    monkeypatch.setattr(module, "_refusal", lambda *_: "")


def test_every_word_leads_to_its_input_with_the_unit_of_the_case(small):
    for word, key in KEYS.items():
        there = input_at(small, key)
        setting = setting_of(small, word)
        assert (setting.word, setting.key) == (word, key)
        if there is not None:
            assert (setting.unit, setting.kind) == (there.unit, there.kind)
            assert setting.present == there.value
    assert setting_of(small, "speed").unit == "mm/s"
    assert setting_of(small, "water").unit == "degC"
    assert setting_of(small, "dose").present == pytest.approx(3.8e9)  # J/m3


def test_a_key_of_the_case_file_is_a_setting_too(small):
    setting = setting_of(small, "mask.frame.contact")
    assert (setting.key, setting.unit, setting.present) == ("mask.frame.contact", "m2 K/W", 1e-4)
    assert setting_of(small, "scan.speed").key == setting_of(small, "speed").key


def test_a_filter_in_the_beam_is_its_last_foil_of_that_material(small):
    foil = small.beam.filters[0]
    two = small.model_copy(update={"beam": small.beam.model_copy(update={"filters": (foil, foil)})})
    setting = setting_of(two, "filter:beryllium")
    assert (setting.key, setting.present) == ("beam.filters.2.thickness", 250e-6)
    changed = setting.applied(two, 1e-4)
    assert [f.thickness.value for f in changed.beam.filters] == [250e-6, 1e-4]


def test_a_filter_not_in_the_beam_is_added_behind_the_others(small, all_allowed):
    setting = setting_of(small, "filter:titanium")
    assert (setting.present, setting.unit, setting.even) == (None, "um", False)
    foils = setting.applied(small, 5e-6).beam.filters
    assert [(f.material, f.thickness.value) for f in foils] == [
        ("beryllium", 250e-6),
        ("titanium", 5e-6),
    ]
    assert len(small.beam.filters) == 1  # the case itself stays as it is
    span = span_of(small, setting, None, None)
    assert (span.low, span.high) == FOIL


@pytest.mark.parametrize("word", ["unobtainium", "helium"])
def test_a_filter_of_an_unknown_material_or_a_gas_is_refused(small, word):
    with pytest.raises(CaseError, match=word):
        setting_of(small, f"filter:{word}")


def test_a_filter_without_a_material_is_refused(small):
    with pytest.raises(SettingError, match="names no material"):
        setting_of(small, "filter:")


@pytest.mark.parametrize("word", ["nonsense", "", "mask", "title", "ring.currant", "sample.held"])
def test_a_word_that_is_no_number_of_the_case_is_refused_and_told_what_is(small, word):
    with pytest.raises(SettingError, match=r"allowed: speed, stroke,.*filter:MATERIAL"):
        setting_of(small, word)


def test_a_word_whose_input_the_case_does_not_have_says_which(small):
    scan = small.scan.model_copy(update={"stroke": None})
    with pytest.raises(SettingError, match=r"gives no scan\.stroke; write it into the case"):
        setting_of(small.model_copy(update={"scan": scan}), "stroke")


def test_a_case_that_names_no_limit_is_refused(small):
    none = small.limits.model_copy(update=dict.fromkeys(dict(small.limits)))
    with pytest.raises(SettingError, match="names no limit"):
        check_limits(small.model_copy(update={"limits": none}))
    check_limits(small)


def test_a_mask_scale_of_a_case_without_one_begins_at_nothing(small, all_allowed):
    setting = setting_of(small, "scale")
    assert small.mask.scale is None
    assert (setting.key, setting.unit, setting.present) == ("mask.scale", "ppm", 0.0)
    assert setting.even
    changed = setting.applied(small, -2e-5)
    assert changed.mask.scale.value == -2e-5
    assert small.mask.scale is None
    span = span_of(small, setting, None, None)
    assert (span.low, span.high) == (-SCALE, SCALE)


@pytest.mark.parametrize(
    ("word", "low", "high"),
    [
        ("speed", 5e-3, 80e-3),
        ("water", *WATER),
        ("gap", 20e-6, 500e-6),
        ("pressure", 100.0, 1.1e5),  # no more than a chamber holds
        ("joint", 1e-5, 9e-3),
        ("mask.frame.contact", 1e-5, 1e-3),
    ],
)
def test_the_usual_span_lies_round_the_present_value(small, all_allowed, word, low, high):
    span = span_of(small, setting_of(small, word), None, None)
    assert (span.low, span.high) == pytest.approx((low, high))
    assert (span.why_low, span.why_high) == ("", "")


def test_ends_that_are_given_are_the_span_and_one_alone_is_enough(small, all_allowed):
    setting = setting_of(small, "speed")
    span = span_of(small, setting, "1 cm/s", "30 mm/s")
    assert (span.low, span.high) == (10e-3, 30e-3)
    assert span_of(small, setting, "10 mm/s", None).high == pytest.approx(80e-3)
    assert span_of(small, setting, None, "30 mm/s").low == pytest.approx(5e-3)


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        ("50 mm/s", "20 mm/s", "--from 50 mm/s is not below --to 20 mm/s"),
        ("20 mm/s", "20 mm/s", "is not below"),
        ("100 mm/s", None, "--from 100 mm/s is not below --to 80 mm/s"),
        ("fast", None, "--from: speed 'fast'"),
        (None, "20 mbar", "--to: .*unknown unit 'mbar'"),
        ("20", None, "--from: .*has no unit"),
        ("nan mm/s", None, "--from: .*not finite"),
        (None, "", "--to: "),
        ("0 mm/s", None, "--from 0 mm/s: allowed: above 0"),
        ("-3 mm/s", None, "--from -3 mm/s: allowed: above 0"),
    ],
)
def test_ends_that_are_none_are_refused_before_any_beam(small, monkeypatch, low, high, told):
    monkeypatch.setattr(module, "_refusal", lambda *_: pytest.fail("looked at the case"))
    with pytest.raises(SettingError, match=told):
        span_of(small, setting_of(small, "speed"), low, high)


def test_ends_of_which_the_case_allows_none_are_refused_with_its_reason(small):
    with pytest.raises(SettingError, match="2000 mm/s' is outside the allowed"):
        span_of(small, setting_of(small, "speed"), "2000 mm/s", "3000 mm/s")


def test_a_span_ends_where_the_case_allows_no_more_and_says_why(small):
    span = span_of(small, setting_of(small, "water"), "-100 degC", "40 degC")
    assert span.low == pytest.approx(223.15, abs=2 * CLOSE * 120)  # K: the case's own -50 degC
    assert span.low >= 223.15
    assert "-50 degC" in span.why_low
    assert (span.high, span.why_high) == (313.15, "")


def test_a_span_of_speeds_ends_where_the_turn_no_longer_fits_the_stroke(small):
    """v2/a = stroke: 161.2 mm/s at 1 m/s2 and 26 mm."""
    setting = setting_of(small, "speed")
    span = span_of(small, setting, None, "500 mm/s")
    most = (1.0 * 26e-3) ** 0.5
    assert most * (1 - CLEAR * CLOSE) < span.high < most
    assert "too short to reach" in span.why_high
    with pytest.raises(CaseError, match="too short"):
        setting.applied(small, most * 1.001)
    assert span.why_low == ""


def test_a_span_of_currents_ends_where_the_dose_is_never_reached(tall, monkeypatch):
    """A ring that fades gives no more than current times lifetime, whatever the time."""
    close = 0.05  # of the span: a rough end is as good here, and each place costs a beam
    monkeypatch.setattr(module, "CLOSE", close)
    setting = setting_of(tall, "ring.current")
    span = span_of(tall, setting, "0.03 mA", None)
    assert "can never be reached with a lifetime of 9 h" in span.why_low
    assert (span.high, span.why_high) == (pytest.approx(2.0), "")
    dose_plan(describe(setting.applied(tall, span.low)))
    less = span.low * (0.03 / 400) ** close
    with pytest.raises(PhysicsError, match="never be reached"):
        dose_plan(describe(with_value(tall, "ring.current", less)))


UNITS = [
    ("mA", "current", 1e-3),
    ("mm/s", "speed", 1e-3),
    ("um", "length", 1e-6),
    ("degC", "temperature", 1.0),
    ("ppm", "relative", 1e-6),
    ("m2 K/W", "resistance", 1.0),
    ("", "ratio", 1.0),
]


@given(
    unit=st.sampled_from(UNITS),
    number=st.floats(1e-3, 1e5),
    negative=st.booleans(),
    up=st.booleans(),
)
def test_a_rounded_value_has_five_digits_and_lies_on_the_wanted_side(unit, number, negative, up):
    name, kind, factor = unit
    zero = 273.15 if name == "degC" else 0.0
    wanted = -number if negative else number
    setting = Setting("word", "key", name, kind, None, True)
    found = rounded(setting, wanted * factor + zero, up)
    told = to_unit(found, name, kind)
    noise = 1e-9 * abs(wanted) + (1e-10 if zero else 0.0)  # round-off; 273.15 costs digits of degC
    assert told >= wanted - noise if up else told <= wanted + noise
    assert abs(told - wanted) <= 1e-4 * abs(wanted) + noise  # one step of the fifth digit at most
    assert float(f"{told:.5g}") == pytest.approx(told, rel=1e-9, abs=noise)


def test_rounding_leaves_what_has_five_digits_and_nothing_at_all(small):
    current = setting_of(small, "current")
    assert rounded(current, 0.33129, up=True) == pytest.approx(0.33129, rel=4e-5)
    assert rounded(current, 0.0, up=True) == 0.0
    assert rounded(current, 0.331287, up=True) == pytest.approx(0.33129, rel=1e-12)
    assert rounded(current, 0.331287, up=False) == pytest.approx(0.33128, rel=1e-12)
