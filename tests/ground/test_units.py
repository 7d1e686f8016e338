"""Quantities as text: every unit against an independent unit library, and what is refused."""

import math
from contextlib import suppress
from datetime import date, datetime, time

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermo.errors import QuantityError
from thermo.units import KINDS, Quantity, format_quantity, parse_quantity, to_unit

SI = {  # kind -> its SI unit, in the unit library's words
    "length": "m",
    "temperature": "kelvin",
    "temperature_difference": "kelvin",
    "pressure": "pascal",
    "stress": "pascal",
    "time": "s",
    "speed": "m/s",
    "acceleration": "m/s**2",
    "particle_energy": "joule",
    "current": "ampere",
    "charge": "coulomb",
    "charge_per_length": "coulomb/m",
    "field": "tesla",
    "density": "kg/m**3",
    "conductivity": "W/(m*kelvin)",
    "heat_capacity": "J/(kg*kelvin)",
    "film": "W/(m**2*kelvin)",
    "resistance": "m**2*kelvin/W",
    "expansion": "1/kelvin",
    "dose": "J/m**3",
    "molar_mass": "kg/mol",
    "ratio": "",
    "relative": "",
    "stiffness": "N/m",
    "angle": "rad",
}
PINT = {  # spellings that the unit library writes otherwise
    "": "dimensionless",
    "%": "percent",
    "W/(m K)": "W/(m*kelvin)",
    "W/(cm K)": "W/(cm*kelvin)",
    "J/(kg K)": "J/(kg*kelvin)",
    "J/(g K)": "J/(g*kelvin)",
    "W/(m2 K)": "W/(m**2*kelvin)",
    "W/(cm2 K)": "W/(cm**2*kelvin)",
    "m2 K/W": "m**2*kelvin/W",
    "cm2 K/W": "cm**2*kelvin/W",
    "1/K": "1/kelvin",
    "1e-6/K": "1/megakelvin",
    "ppm/K": "ppm/kelvin",
    "K": "kelvin",
    "C": "coulomb",
    "A s": "ampere*s",
    "A min": "ampere*min",
    "A h": "ampere*hour",
    "mA min": "mA*min",
    "mA h": "mA*hour",
    "A s/m": "ampere*s/m",
    "C/m": "coulomb/m",
    "C/cm": "coulomb/cm",
    "A h/m": "ampere*hour/m",
    "mA min/cm": "mA*min/cm",
    "mA min/mm": "mA*min/mm",
    "mA h/cm": "mA*hour/cm",
    "m/s2": "m/s**2",
    "mm/s2": "mm/s**2",
    "kg/m3": "kg/m**3",
    "g/cm3": "g/cm**3",
    "J/m3": "J/m**3",
    "J/cm3": "J/cm**3",
    "kJ/cm3": "kJ/cm**3",
}
EVERY_UNIT = [(kind, unit) for kind, units in KINDS.items() for unit in units]


@pytest.fixture(scope="module")
def registry():
    return pint.UnitRegistry()


def test_every_kind_has_an_si_unit_to_compare_with():
    assert SI.keys() == KINDS.keys()


@pytest.mark.parametrize(("kind", "unit"), EVERY_UNIT)
def test_every_unit_of_every_kind_agrees_with_an_independent_library(registry, kind, unit):
    ours = parse_quantity(f"7.25 {unit}", kind).value
    theirs = registry.Quantity(7.25, PINT.get(unit, unit)).to(SI[kind] or "dimensionless")
    assert ours == pytest.approx(theirs.magnitude, rel=1e-14)  # two round-offs


@pytest.mark.parametrize(
    ("text", "kind", "value", "low", "high"),
    [
        ("3e-4 m2 K/W (1e-4 .. 4e-3)", "resistance", 3e-4, 1e-4, 4e-3),
        ("60 um (45 .. 80)", "length", 60e-6, 45e-6, 80e-6),
        ("60 um (45 um .. 0.08 mm)", "length", 60e-6, 45e-6, 80e-6),
        ("60um(0.06 mm..80)", "length", 60e-6, 60e-6, 80e-6),
        ("0.2 W/(m K) (0.17 .. 0.25)", "conductivity", 0.2, 0.17, 0.25),
        ("0.2 W/(m K) (0.17 W/(m K) .. 0.0025 W/(cm K))", "conductivity", 0.2, 0.17, 0.25),
        ("20 degC (-5 .. 30)", "temperature", 293.15, 268.15, 303.15),
        ("45 % (30 .. 60)", "ratio", 0.45, 0.3, 0.6),
        ("75e-6/K (70 ppm/K .. 77 ppm/K)", "expansion", 75e-6, 70e-6, 77e-6),
    ],
)
def test_a_range_in_brackets_gives_low_and_high(text, kind, value, low, high):
    quantity = parse_quantity(text, kind)
    assert (quantity.value, *quantity.bounds) == (value, low, high)
    assert quantity.has_range


def test_without_a_range_the_bounds_are_the_value():
    quantity = parse_quantity("60 um", "length")
    assert not quantity.has_range
    assert quantity.bounds == (60e-6, 60e-6)
    assert (quantity.low, quantity.high, quantity.unit, quantity.kind) == (
        None,
        None,
        "um",
        "length",
    )


@pytest.mark.parametrize(
    ("spellings", "kind"),
    [
        (["um", "µm", "μm"], "length"),
        (["degC", "°C"], "temperature"),
        (["W/(m2 K)", "W/m2/K", "W/m2 K", "W/m2K", "W m-2 K-1", "W/(m²·K)", "W·m⁻²·K⁻¹"], "film"),
        (["W/(K m^2)", "W/(m**2*K)"], "film"),
        (["W/(m K)", "W/m K", "W/m/K", "W/(m·K)", "W/(K m)"], "conductivity"),
        (["m2 K/W", "K m2/W", "m²K/W", "m2*K/W"], "resistance"),
        (["1/K", "/K", "K-1"], "expansion"),
        (["kg/m3", "kg/m³", "kg m-3"], "density"),
        (["mA min", "min mA", "mA·min", "mA*min"], "charge"),
        (["mA min/cm", "mA·min/cm", "mA min cm-1", "mA*min/cm"], "charge_per_length"),
    ],
)
def test_spellings_of_one_unit_are_one_unit(spellings, kind):
    values = {parse_quantity(f"3.5 {unit}", kind).value for unit in spellings}
    assert len(values) == 1


def test_units_round_once_so_that_equal_lengths_are_equal():
    assert parse_quantity("0.06 mm", "length").value == parse_quantity("60 um", "length").value
    assert parse_quantity("60 um", "length").value == 60e-6


def test_a_charge_per_length_in_the_units_of_a_logbook_is_si():
    """900 mA min/cm = 0.9 A * 60 s / 0.01 m (arithmetic)."""
    assert parse_quantity("900 mA min/cm", "charge_per_length").value == 5400.0
    assert parse_quantity("150 mA h", "charge").value == 540.0
    assert format_quantity(5400.0, "mA min/cm", "charge_per_length") == "900 mA min/cm"


def test_a_plain_number_is_a_ratio():
    assert parse_quantity(0.45, "ratio") == Quantity(0.45, None, None, "", "ratio")
    assert parse_quantity(1, "ratio").value == 1.0


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("1,5 mm", "length", "decimal comma.*decimal point"),
        ("5", "length", "no unit"),
        (5, "length", "no unit.*as text, like '1 m'"),
        (5.0, "temperature", "no unit"),
        (True, "ratio", "true or false"),
        (False, "length", "true or false"),
        (date(2020, 1, 1), "ratio", "date or time"),
        (datetime(2020, 1, 1), "length", "date or time"),
        (time(1, 2), "length", "date or time"),
        (None, "length", "no quantity"),
        (["1 mm"], "length", "no quantity"),
        ("nan mm", "length", "not finite"),
        ("-inf mm", "length", "not finite"),
        ("1e400 mm", "length", "not finite"),
        ("1e308 GPa", "stress", "not finite"),
        (math.nan, "ratio", "not finite"),
        (math.inf, "ratio", "not finite"),
        pytest.param(16**5000, "ratio", "beyond reason", id="huge integer"),
        ("", "length", "begin with a number"),
        ("mm", "length", "begin with a number"),
        ("٣ mm", "length", "begin with a number"),
        ("5 mmm", "length", "did you mean 'mm'"),
        ("5 C", "temperature", "unknown unit 'C'.*did you mean 'degC'|degC, K"),
        ("5 degC", "temperature_difference", "unknown unit"),
        ("5 W/mK", "conductivity", r"did you mean 'W/\(m K\)'"),
        ("5 W/((m2 K))", "film", "unknown unit"),
        ("5 K/W m2", "resistance", "unknown unit"),
        ("5 mAh", "charge", "did you mean 'mA h'"),
        ("5 degC", "charge", "unknown unit"),
        ("900 mA min", "charge_per_length", "did you mean 'mA min/"),
        ("5 /", "expansion", "unknown unit"),
        ("5 1/", "expansion", "unknown unit"),
        ("1 000 mm", "length", "unknown unit"),
        ("60 um (70 .. 80)", "length", "low <= value <= high"),
        ("60 um (80 .. 45)", "length", "low <= value <= high"),
        ("60 um (45 .. nan)", "length", "not finite"),
        ("60 um (45 .. )", "length", "begin with a number"),
        ("60 um (45 ... 80)", "length", "readable range"),
        ("60 um (45 .. 80", "length", "readable range"),
        ("60 um 45 .. 80)", "length", "readable range"),
        ("(45 .. 80)", "length", "readable range"),
        ("60 um (45 .. 80 mK)", "length", "unknown unit"),
        ("9" * 300 + " mm", "length", "longer than 200"),
        ("5 \x00\n", "length", "unknown unit"),
    ],
)
def test_what_is_no_quantity_is_refused_in_one_line_that_says_why(text, kind, words):
    with pytest.raises(QuantityError, match=words) as caught:
        parse_quantity(text, kind)
    message = str(caught.value)
    assert "allowed:" in message
    assert "\n" not in message
    assert "\x00" not in message
    assert len(message) < 300  # a line a terminal can show


UNITS = st.sampled_from([pair for pair in EVERY_UNIT if pair[0] != "particle_energy"])
NUMBERS = st.floats(-1e6, 1e6).filter(lambda x: x == 0 or abs(x) > 1e-6)


@given(UNITS, st.tuples(NUMBERS, NUMBERS, NUMBERS).map(sorted), st.booleans())
def test_a_quantity_parsed_formatted_and_parsed_again_is_the_same(pair, numbers, ranged):
    kind, unit = pair
    low, value, high = numbers
    text = f"{value!r} {unit}" + (f" ({low!r} .. {high!r})" if ranged else "")
    once = parse_quantity(text, kind)
    again = parse_quantity(str(once), kind)
    # 12 digits are printed; beside a zero of 273 K the last digit stands for 1e-10 of it
    close = {"rel": 1e-11, "abs": 1e-10 * KINDS[kind][unit] * (abs(value) * 1e-2 + 1e-3)}
    assert again.value == pytest.approx(once.value, **close)
    assert again.has_range == once.has_range == ranged
    assert again.bounds == pytest.approx(
        once.bounds, rel=1e-11, abs=1e-10 * KINDS[kind][unit] * (abs(low) + abs(high))
    )
    assert (again.unit, again.kind) == (once.unit, once.kind)


@given(st.text(max_size=40), st.sampled_from(sorted(KINDS)))
def test_any_text_is_a_finite_quantity_or_a_quantity_error(text, kind):
    with suppress(QuantityError):
        assert math.isfinite(parse_quantity(text, kind).value)


def test_to_unit_and_format_turn_si_back_into_the_users_unit():
    assert to_unit(6e-5, "µm", "length") == pytest.approx(60.0, rel=1e-15)
    assert format_quantity(6e-5, "um", "length") == "60 um"
    assert format_quantity(293.15, "degC", "temperature") == "20 degC"
    assert format_quantity(0.45, "", "ratio") == "0.45"
    assert to_unit(2.4e-10, "GeV", "particle_energy") == pytest.approx(1.49796217, rel=1e-8)


def test_an_unknown_unit_to_format_in_is_refused_too():
    with pytest.raises(QuantityError, match="unknown unit 'inch'"):
        format_quantity(1.0, "inch", "length")
