"""A gas at another pressure than that of the table."""

import math
from dataclasses import replace

import numpy as np

from thermo.errors import MaterialError, PhysicsError
from thermo.materials.properties import Material, Property

__all__ = ["gas_at"]

ATMOSPHERE = 101325.0  # Pa, the pressure of the table's densities


def gas_at(gas: Material, pressure: float, temperature: float) -> Material:
    """Gas with its density at a pressure and a temperature: the ideal gas law.

        rho(p, T) = rho(101325 Pa, T) p / (101325 Pa),   rho T linear between the table's T

    The density is one value, without temperatures or range. Conductivity and heat capacity do
    not depend on pressure and stay. For the gases of the table within 0.6 % of the real gas
    (CoolProp 8.0.0) up to 3 bar from 200 K, where the temperature is one of the table; beyond the
    table's temperatures the last density is held.

    Parameters
    ----------
    gas : material of the kind 'gas'
    pressure, temperature : p, T, Pa and K

    Raises
    ------
    MaterialError : no gas
    PhysicsError : a pressure or temperature not above zero or not finite

    Source: ideal gas law.
    """
    if gas.kind != "gas":
        raise MaterialError(
            f"material '{gas.name}' is a {gas.kind}; allowed: a gas; its density does not follow "
            "the pressure, use it as it is"
        )
    p, T = pressure, temperature
    if not (0 < p < math.inf and 0 < T < math.inf):
        raise PhysicsError(
            f"{gas.name} asked for at {p:.6g} Pa and {T:.6g} K; allowed: finite, above 0 Pa and "
            "0 K; for a vacuum give its pressure"
        )
    at, typical = np.array(gas.density.at), np.array(gas.density.typical)
    held = float(np.clip(T, at[0], at[-1]))
    rho = float(np.interp(held, at, typical * at)) / held * p / ATMOSPHERE
    source = f"{gas.density.source}, by the ideal gas law at {p:.6g} Pa"
    density = Property("density", gas.density.unit, (T,), (rho,), rho, rho, source)
    return replace(gas, density=density)
