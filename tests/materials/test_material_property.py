"""A property as a function of temperature: interpolation, scaling and refusals."""

import copy
import math
import pickle

import numpy as np
import pytest

from thermo.errors import MaterialError, PhysicsError
from thermo.materials import Property, describe, material, material_names

K = Property("conductivity", "W/(m K)", (300.0, 400.0), (10.0, 8.0), 9.0, 12.0, "invented")


def test_a_table_temperature_gives_the_table_value():
    assert (K(300.0), K(400.0)) == (10.0, 8.0)


def test_between_two_temperatures_the_value_is_linear():
    assert K(325.0) == pytest.approx(9.5, rel=1e-15)


def test_beyond_the_ends_the_value_is_held():
    assert (K(1.0), K(299.0), K(401.0), K(2000.0)) == (10.0, 10.0, 8.0, 8.0)


def test_the_shape_of_an_array_is_kept():
    value = K(np.full((2, 3), 325.0))
    assert value.shape == (2, 3)
    assert value == pytest.approx(9.5)
    assert isinstance(K(325.0), float)


@pytest.mark.parametrize("T", [0.0, -5.0, math.nan, math.inf])
def test_a_temperature_that_cannot_be_is_refused(T):
    for asked in (T, np.array([300.0, T])):
        with pytest.raises(PhysicsError, match=r"conductivity asked for at .* above 0 K"):
            K(asked)


def test_scaling_multiplies_every_value_by_one_ratio_and_keeps_the_range():
    scaled = K.scaled_to(12.0)
    assert scaled.typical == pytest.approx((12.0, 8.0 * 12 / 10), rel=1e-15)
    assert scaled.typical[0] == 12.0  # exactly, so that low and high read back
    assert scaled.low_high == K.low_high
    assert (scaled.at, scaled.source, scaled.unit) == (K.at, K.source, K.unit)


def test_scaling_there_and_back_changes_nothing():
    assert K.scaled_to(9.0).scaled_to(10.0).typical == pytest.approx(K.typical, rel=1e-15)


def test_scaling_out_of_the_range_widens_it():
    assert K.scaled_to(20.0).low_high == (9.0, 20.0)
    assert K.scaled_to(5.0).low_high == (5.0, 12.0)


def test_a_value_of_zero_is_replaced_rather_than_scaled():
    flat = Property("expansion", "1/K", (300.0, 400.0), (0.0, 0.0), 0.0, 1e-6, "invented")
    assert flat.scaled_to(1e-6).typical == (1e-6, 1e-6)


@pytest.mark.parametrize("name", ["PMMA", "graphite", "helium"])
def test_every_property_can_be_scaled_to_both_ends_of_its_range(name):
    for prop in material(name).properties:
        for end in prop.low_high:
            assert prop.scaled_to(end)(prop.at[0]) == end


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"typical": (10.0,)}, "one value for each"),
        ({"at": (), "typical": ()}, "one value for each"),
        ({"at": (400.0, 300.0)}, "temperatures rising"),
        ({"at": (300.0, 300.0)}, "temperatures rising"),
        ({"at": (0.0, 300.0)}, "above 0 K"),
        ({"at": (300.0, math.nan)}, "temperatures rising"),
        ({"at": (300.0, math.inf)}, "temperatures rising"),
        ({"low": 10.5}, "low <= typical <= high"),
        ({"high": 9.5}, "low <= typical <= high"),
        ({"low": math.nan}, "no material has"),
        ({"typical": (10.0, math.nan)}, "no material has"),
        ({"typical": (10.0, -1.0)}, "no material has; allowed: 0.001 to 5000 W"),
        ({"high": 1e9}, "no material has"),
    ],
)
def test_a_table_that_makes_no_sense_is_refused(change, words):
    fields = {"at": K.at, "typical": K.typical, "low": K.low, "high": K.high} | change
    with pytest.raises(MaterialError, match=words):
        Property("conductivity", "W/(m K)", **fields, source="invented")


def test_a_material_can_be_copied_compared_hashed_and_sent_to_another_process():
    pmma = material("PMMA")
    assert pickle.loads(pickle.dumps(pmma)) == pmma
    assert copy.deepcopy(pmma) == pmma
    assert hash(pmma) == hash(copy.deepcopy(pmma))


def test_a_formula_reads_as_one_formula_or_as_mass_fractions():
    assert material("PMMA").formula == "C5H8O2"
    assert material("nickel-iron").formula == "Fe:0.64 Ni:0.36"


def test_a_material_is_described_in_trade_units_with_range_temperature_and_source():
    rows = {(row.property, row.temperature): row for row in describe(material("PMMA"))}
    assert rows["composition", ""].value == "C5H8O2"
    assert rows["conductivity", "20 degC"].value == "0.2 W/(m K) (0.17 .. 0.25)"
    assert rows["heat capacity", "90 degC"].value == "1630 J/(kg K)"
    assert rows["youngs modulus", "20 degC"].value == "3 GPa (2.6 .. 3.2)"
    assert rows["poisson ratio", "20 degC"].value == "0.35 (0.33 .. 0.4)"
    assert rows["expansion", "20 degC"].value == "74 ppm/K (70 .. 77)"
    assert rows["softening limit", ""].value == "118 degC (105 .. 120)"
    assert all(row.source for row in rows.values())


@pytest.mark.parametrize(
    ("name", "value"), [("tape", "1.5 MPa (0.3 .. 10)"), ("grease", "10 kPa (1 .. 100)")]
)
def test_soft_materials_are_described_in_smaller_units(name, value):
    moduli = [row.value for row in describe(material(name)) if row.property == "youngs modulus"]
    assert moduli == [value]


def test_every_property_of_every_material_is_described():
    for name in material_names():
        values = sum(len(prop.at) for prop in material(name).properties)
        softening = sum(row.property.startswith("softening,") for row in describe(material(name)))
        assert len(describe(material(name))) == 1 + values + softening
