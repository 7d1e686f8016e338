"""A gas at the pressure of the chamber."""

import math

import pytest

from thermo.errors import MaterialError, PhysicsError
from thermo.materials import gas_at, material, own_material
from thermo.units import parse_quantity

R = 8.314462618  # J/(mol K)
GASES = ["helium", "nitrogen", "air", "argon"]


@pytest.mark.parametrize("name", GASES)
@pytest.mark.parametrize("p", [1e-4, 1e2, 1e4, 101325.0, 2e5])
@pytest.mark.parametrize("T", [200.0, 300.0, 400.0])
def test_the_density_follows_the_ideal_gas_law(name, p, T):
    """rho = p M/(R T) within 0.3 %: what the real gases of the table miss at 101325 Pa, 200 K."""
    gas = material(name)
    rho = p * gas.molar_mass(T) / (R * T)
    assert gas_at(gas, p, T).density(T) == pytest.approx(rho, rel=3e-3)


@pytest.mark.parametrize(
    ("name", "p", "T", "rho"),
    [
        ("helium", 1e4, 293.15, 1.64209e-2),
        ("nitrogen", 2e5, 300.0, 2.24695),
        ("air", 1e3, 250.0, 1.39350e-2),
        ("argon", 2e5, 400.0, 2.40242),
    ],
)
def test_the_density_is_that_of_the_real_gas(name, p, T, rho):
    """CoolProp 8.0.0; 0.1 % real gas, and 1/T bends by up to 0.7 % between the 50 K steps."""
    assert gas_at(material(name), p, T).density(T) == pytest.approx(rho, rel=8e-3)


def test_the_density_is_one_value_without_temperatures_or_range():
    rho = gas_at(material("helium"), 1e4, 300.0).density
    assert rho.typical == (rho.low,) == (rho.high,)
    assert rho(200.0) == rho(500.0) == rho.typical[0]
    assert "10000 Pa" in rho.source


def test_at_one_atmosphere_and_a_table_temperature_the_density_is_that_of_the_table():
    gas = material("nitrogen")
    assert gas_at(gas, 101325.0, 350.0).density.typical == (gas.density(350.0),)


def test_twice_the_pressure_is_twice_the_density_and_all_else_stays():
    gas = material("argon")
    thin, dense = gas_at(gas, 1e4, 300.0), gas_at(gas, 2e4, 300.0)
    assert dense.density.typical[0] == pytest.approx(2 * thin.density.typical[0], rel=1e-15)
    for key in ("name", "conductivity", "heat_capacity", "molar_mass", "composition"):
        assert getattr(dense, key) == getattr(gas, key)


def test_a_gas_of_the_users_own_follows_its_own_density():
    rho = {"density": parse_quantity("0.5 kg/m3", "density")}
    mix = own_material("mix", material("helium"), rho)
    assert gas_at(mix, 50662.5, 300.0).density.typical[0] == pytest.approx(0.25, rel=1e-15)


@pytest.mark.parametrize("name", ["PMMA", "water"])
def test_what_is_no_gas_is_refused(name):
    kind = material(name).kind
    with pytest.raises(MaterialError, match=f"'{name}' is a {kind}; allowed: a gas"):
        gas_at(material(name), 1e4, 300.0)


@pytest.mark.parametrize(
    ("p", "T"),
    [
        (0.0, 300.0),
        (-1.0, 300.0),
        (math.nan, 300.0),
        (math.inf, 300.0),
        (1e4, 0.0),
        (1e4, -20.0),
        (1e4, math.nan),
        (1e4, math.inf),
    ],
)
def test_a_pressure_or_temperature_that_cannot_be_is_refused(p, T):
    with pytest.raises(PhysicsError, match=r"helium asked for at .* above 0 Pa and 0 K; for a"):
        gas_at(material("helium"), p, T)
