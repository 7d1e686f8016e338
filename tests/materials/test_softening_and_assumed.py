"""Softening of PMMA by dose, and what is assumed where a case says nothing."""

import math
import tomllib
from importlib.resources import files

import numpy as np
import pytest

from thermo.errors import MaterialError, PhysicsError
from thermo.materials import assumption, assumption_keys, material, softening_by_dose

ZERO = 273.15
KEYS = {
    "sample.joint.resistance",
    "chamber.accommodation_mask",
    "chamber.accommodation_sample",
    "chamber.outer_film",
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


@pytest.mark.parametrize("key", ["chamber.accommodation_mask", "chamber.accommodation_sample"])
def test_a_heavier_gas_is_assumed_to_accommodate_better(key):
    helium, nitrogen = assumption(key, "helium"), assumption(key, "N2")
    assert nitrogen.value.value > helium.value.value
    assert nitrogen.source != helium.source


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


@pytest.mark.parametrize("membrane", [None, "copper", "helium"])
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
