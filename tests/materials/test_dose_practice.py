"""What common practice asks of the doses, as data."""

import tomllib
from importlib.resources import files

import pytest

from thermo.materials import material, material_names, own_material, practice, practice_note
from thermo.units import parse_quantity

NAMES = ["dose_bottom_low", "dose_bottom_high", "dose_top", "dose_ratio", "dose_under_absorber"]
SU8 = ["SU-8", "SU-8-antimony", "SU-8-baked"]


def test_practice_for_pmma_is_as_handed_down():
    """Common practice, from memory: bottom 3.5-4, top at most 20, under the absorber at most
    0.1 kJ/cm3, top over bottom at most 5."""
    rows = {row.name: (row.value, row.unit) for row in practice(material("PMMA"))}
    assert rows == {
        "dose_bottom_low": (3.5e9, "J/m3"),
        "dose_bottom_high": (4e9, "J/m3"),
        "dose_top": (20e9, "J/m3"),
        "dose_ratio": (5.0, ""),
        "dose_under_absorber": (0.1e9, "J/m3"),
    }


def test_practice_comes_once_each_with_reason_and_source():
    rows = practice(material("PMMA"))
    assert [row.name for row in rows] == NAMES
    for row in rows:
        assert row.source == "common practice, from memory"
        assert len(row.text.split()) > 3


def test_the_doses_of_practice_fit_one_another():
    """A resist at the least bottom dose and the most ratio stays below the most top dose."""
    value = {row.name: row.value for row in practice(material("PMMA"))}
    assert value["dose_under_absorber"] < value["dose_bottom_low"] < value["dose_bottom_high"]
    assert value["dose_ratio"] * value["dose_bottom_low"] <= value["dose_top"]
    assert value["dose_ratio"] * value["dose_bottom_high"] == pytest.approx(value["dose_top"])


@pytest.mark.parametrize("name", SU8)
def test_for_su8_practice_gives_no_dose_and_says_why(name):
    assert practice(material(name)) == ()
    assert "differ 700 times" in practice_note(material(name))


@pytest.mark.parametrize("name", [n for n in material_names() if n not in ("PMMA", *SU8)])
def test_for_what_is_no_resist_practice_says_nothing(name):
    assert practice(material(name)) == ()
    assert practice_note(material(name)) == ""


def test_a_resist_is_known_by_what_it_is_made_of():
    pmma = material("PMMA")
    density = {"density": parse_quantity("1.18 g/cm3", "density")}
    assert practice(own_material("cast", pmma, density)) == practice(pmma)
    assert practice(own_material("copolymer", pmma, {"formula": "C9H8O2"})) == ()
    assert practice_note(pmma) == ""


def test_no_row_of_practice_has_a_key_that_is_not_read():
    entries = tomllib.loads(files("thermo.materials").joinpath("practice.toml").read_text("utf-8"))
    for name, entry in entries.items():
        assert material(name).name == name
        assert set(entry) <= {"row", "note", "like"}
        for row in entry.get("row", ()):
            assert set(row) == {"name", "value", "text", "source"}
