"""Softening of PMMA by dose, and what is assumed where a case says nothing."""

import math
import tomllib
from importlib.resources import files

import numpy as np
import pytest

from thermo.errors import MaterialError, PhysicsError
from thermo.materials import (
    assumption,
    assumption_keys,
    describe,
    material,
    material_names,
    own_material,
    softening_by_dose,
)

ZERO = 273.15
KEYS = {
    "sample.joint.resistance",
    "chamber.accommodation_mask",
    "chamber.accommodation_sample",
    "chamber.outer_film",
    "mask.frame.contact",
    "mask.frame.cooling",
    "mask.absorber.kind",
    "mask.membrane.tension",
    "mask.measured_at",
    "sample.measured_at",
}
PHYSICAL = {  # SI, by kind of quantity
    "resistance": (1e-6, 1e-2),
    "ratio": (0.01, 1.0),
    "film": (1.0, 1e4),
    "temperature": (285.0, 300.0),
    "stress": (1e5, 1e9),
}


@pytest.mark.parametrize(("dose", "celsius"), [(0.0, 118), (2.4e9, 95), (1.2e9, 106.5)])
def test_pmma_softens_earlier_with_dose(dose, celsius):
    """J. Appl. Phys. 102, 013528 (2007), abstract: 118 to 95 degC over 0 to 2.4 kJ/cm3."""
    T, is_upper_bound, source = softening_by_dose(dose)
    assert pytest.approx(celsius + ZERO, abs=1e-9) == T
    assert is_upper_bound is False
    assert "013528" in source


@pytest.mark.parametrize("dose", [2.5e9, 4e9, 20e9])
def test_above_the_measured_dose_the_last_value_is_an_upper_bound_and_the_line_ends(dose):
    T, is_upper_bound, _ = softening_by_dose(dose)
    assert pytest.approx(95 + ZERO, abs=1e-9) == T
    assert is_upper_bound is True


def test_softening_is_given_at_every_point_of_an_array():
    T, is_upper_bound, _ = softening_by_dose(np.array([[0.0, 2.4e9], [1.2e9, 10e9]]))
    assert pytest.approx(np.array([[118, 95], [106.5, 95]]), abs=1e-9) == T - ZERO
    assert is_upper_bound.tolist() == [[False, False], [False, True]]


@pytest.mark.parametrize("dose", [-1.0, math.nan, math.inf])
def test_a_dose_that_cannot_be_is_refused(dose):
    for asked in (dose, np.array([0.0, dose])):
        with pytest.raises(PhysicsError, match="not below zero; check the dose plan"):
            softening_by_dose(asked)


def test_without_dose_the_limit_of_pmma_is_that_of_the_table():
    assert material("PMMA").limit(300.0) == pytest.approx(softening_by_dose(0.0)[0])


def test_the_table_holds_the_published_ends_of_the_softening_of_pmma():
    """J. Appl. Phys. 102, 013528 (2007), abstract."""
    rows = material("PMMA").softening
    ends = [(row.dose, row.temperature - ZERO) for row in rows]
    assert ends == [(0.0, pytest.approx(118)), (2.4e9, pytest.approx(95))]
    assert all("102, 013528" in row.source for row in rows)


@pytest.mark.parametrize(("dose", "celsius"), [(0.0, 118), (2.4e9, 95)])
def test_softening_by_dose_passes_through_the_rows_of_the_table(dose, celsius):
    rows = {row.dose: row.temperature for row in material("PMMA").softening}
    assert softening_by_dose(dose)[0] == rows[dose] == pytest.approx(celsius + ZERO)


@pytest.mark.parametrize("name", [n for n in material_names() if material(n).softening])
def test_softening_rows_are_ordered_sourced_and_physical(name):
    rows = material(name).softening
    doses = [row.dose for row in rows if row.dose is not None]
    assert doses == sorted(set(doses))
    assert len(doses) in (0, len(rows))
    for row in rows:
        assert 290 < row.low <= row.temperature <= row.high < 550
        assert len(row.source.split()) > 1
        assert row.state


def test_only_resists_have_softening_rows():
    found = [n for n in material_names() if material(n).softening]
    assert found == ["PMMA", "SU-8", "SU-8-antimony", "SU-8-baked"]


def test_su8_softens_as_published_before_and_after_the_bake():
    """From memory: near 50-55 degC before cross-linking, beyond 200 degC after it; a special
    formulation at 30-35 degC is published."""
    before, special = material("SU-8").softening
    assert (before.low - ZERO, before.high - ZERO) == pytest.approx((50, 55))
    assert (special.low - ZERO, special.high - ZERO) == pytest.approx((30, 35))
    (after,) = material("SU-8-baked").softening
    assert after.low - ZERO >= 200
    assert material("SU-8").limit.low == special.low
    assert material("SU-8").limit.high == before.high


def test_a_softening_row_has_no_key_that_is_not_read():
    entries = tomllib.loads(files("thermo.materials").joinpath("table.toml").read_text("utf-8"))
    for entry in entries.values():
        for row in entry.get("softening", ()):
            assert {"state", "value", "source"} <= set(row) <= {"state", "dose", "value", "source"}


def test_pmma_is_described_with_its_softening_by_dose_and_where_the_data_end():
    rows = {row.property: row for row in describe(material("PMMA"))}
    assert rows["softening, glass transition after 0 kJ/cm3"].value == "118 degC"
    assert rows["softening, glass transition after 2.4 kJ/cm3"].value == "95 degC"
    beyond = rows["softening, beyond"]
    assert beyond.value == "no data above 2.4 kJ/cm3; 95 degC is an upper bound there"
    assert "013528" in beyond.source


def test_su8_is_described_with_each_state_and_no_dose():
    values = {row.property: row.value for row in describe(material("SU-8"))}
    assert values["softening, before cross-linking"] == "52 degC (50 .. 55)"
    assert not any("no data" in value or "kJ" in value for value in values.values())


def test_a_like_material_of_another_chemistry_does_not_keep_the_published_softening():
    pmma = material("PMMA")
    assert own_material("cast", pmma, {}).softening == pmma.softening
    assert own_material("copolymer", pmma, {"formula": "C9H8O2"}).softening == ()


def test_something_is_assumed_for_every_key_that_has_no_silent_default():
    assert set(assumption_keys()) == KEYS


@pytest.mark.parametrize("key", sorted(KEYS - {"mask.absorber.kind"}))
def test_an_assumed_quantity_has_a_physical_range_and_a_source(key):
    assumed = assumption(key, "graphite" if key == "mask.membrane.tension" else None)
    lowest, highest = PHYSICAL[assumed.value.kind]
    assert lowest <= assumed.low < assumed.value.value < assumed.high <= highest
    assert assumed.value.bounds == (assumed.low, assumed.high)
    assert len(assumed.source.split()) > 2


def test_the_absorber_is_assumed_as_islands_and_tried_connected():
    assumed = assumption("mask.absorber.kind")
    assert (assumed.value, assumed.low, assumed.high) == ("islands", "islands", "connected")


def test_accommodation_of_helium_is_as_published():
    """Trott et al., Sandia 2010, abstract: about 0.45 on technical surfaces."""
    assumed = assumption("chamber.accommodation_mask", "helium")
    assert (assumed.value.value, assumed.low, assumed.high) == (0.45, 0.3, 0.6)
    assert assumed == assumption("chamber.accommodation_mask")
    assert "Trott" in assumed.source


@pytest.mark.parametrize("gas", ["N2", "air", "argon"])
@pytest.mark.parametrize("key", ["chamber.accommodation_mask", "chamber.accommodation_sample"])
def test_a_heavier_gas_is_assumed_to_accommodate_better(key, gas):
    helium, heavier = assumption(key, "helium"), assumption(key, gas)
    assert heavier.value.value > helium.value.value
    assert heavier.source != helium.source
    assert heavier.low < heavier.value.value < heavier.high <= 1.0


def test_every_gas_of_the_table_has_an_accommodation_of_its_own():
    """Helium's is the general one; a missing row would silently lend it to another gas."""
    entries = tomllib.loads(files("thermo.materials").joinpath("assumed.toml").read_text("utf-8"))
    others = {n for n in material_names() if material(n).kind == "gas"} - {"helium"}
    for key in ("chamber.accommodation_mask", "chamber.accommodation_sample"):
        assert set(entries[key]["by_material"]) == others


def test_the_frame_is_assumed_cooled_through_a_film_of_helium():
    """h = k/d of a 0.2 mm film at 300 K; the planning value is rounded to one digit: 5 %."""
    film = material("helium").conductivity(300.0) / 0.2e-3
    assert assumption("mask.frame.cooling").value.value == pytest.approx(film, rel=0.05)


def test_the_tension_assumed_is_that_of_the_membrane_material():
    by_name, by_material = (
        assumption("mask.membrane.tension", m) for m in ("Si", material("silicon"))
    )
    assert by_name == by_material
    assert (by_name.value.value, by_name.low, by_name.high) == (40e6, 20e6, 64e6)
    assert str(by_name.value) == "40 MPa (20 .. 64)"


@pytest.mark.parametrize("membrane", [None, "copper", "helium", "water"])
def test_no_tension_is_assumed_for_what_is_no_membrane_material(membrane):
    with pytest.raises(MaterialError, match=r"give 'mask\.membrane\.tension' in the case"):
        assumption("mask.membrane.tension", membrane)


def test_nothing_else_is_assumed():
    with pytest.raises(MaterialError, match=r"nothing is assumed for 'gap\.width'; allowed: "):
        assumption("gap.width")


def test_every_assumed_unit_is_si():
    units = {key: assumption(key, "silicon").unit for key in KEYS}
    assert units == {
        "sample.joint.resistance": "m2 K/W",
        "chamber.accommodation_mask": "",
        "chamber.accommodation_sample": "",
        "chamber.outer_film": "W/(m2 K)",
        "mask.frame.contact": "m2 K/W",
        "mask.frame.cooling": "W/(m2 K)",
        "mask.absorber.kind": "",
        "mask.membrane.tension": "Pa",
        "mask.measured_at": "K",
        "sample.measured_at": "K",
    }


def test_no_assumed_row_has_a_key_that_is_not_read():
    entries = tomllib.loads(files("thermo.materials").joinpath("assumed.toml").read_text("utf-8"))
    for key, entry in entries.items():
        words = {"low", "high"} if entry["kind"] == "choice" else {"by_material"}
        assert set(entry) <= {"kind", "value", "source"} | words, key
        for name, other in entry.get("by_material", {}).items():
            assert material(name).name == name
            assert set(other) == {"value", "source"}
