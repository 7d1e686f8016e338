"""Conductivity and heat capacity of every cell of the grid, from the stack at its temperatures."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.constants import R, Stefan_Boltzmann

from thermo.case.stack import Layer, Stack
from thermo.heat.gap import gap_conductance
from thermo.materials import Material
from thermo.mesh import Grid

Array = NDArray[np.float64]
Metal = Literal["islands", "connected"]


@dataclass(frozen=True)
class Gas:
    """The chamber gas in the gap: pressure (Pa) and accommodation on mask and sample.

    emissivity : of both faces together, for the radiation beside it, 4 sigma T^3 e
    """

    pressure: float
    accommodation: tuple[float, float]
    emissivity: float = 0.0


@dataclass(frozen=True)
class Fields:
    """Cell properties, (slabs, cells): k in the plane and across, W/(m K); rho cp, J/(m3 K)."""

    in_plane: Array
    across: Array
    capacity: Array


def metal_in_plane(k_metal: float, k_gas: float, coverage: Array, metal: Metal) -> Array:
    """In-plane conductivity of the absorber layer, W/(m K), shape of coverage c.

    connected: metal with openings, k = k_m [(k_g + k_m) + (1 - c)(k_g - k_m)] /
    [(k_g + k_m) - (1 - c)(k_g - k_m)], about k_m c/(2 - c); islands: the same with metal and gas
    exchanged.  These are the bounds for isotropic patterns of two phases in the plane.
    Source: Z. Hashin and S. Shtrikman, J. Appl. Phys. 33 (1962) 3125, 2D form from memory.
    """
    c = coverage
    if metal == "connected":
        matrix, filler, share = k_metal, k_gas, 1 - c
    else:
        matrix, filler, share = k_gas, k_metal, c
    total, step = filler + matrix, filler - matrix
    return np.asarray(matrix * (total + share * step) / (total - share * step))


def conduction_fields(
    stack: Stack, grid: Grid, T: Sequence[float], gas: Gas, metal: Metal
) -> Fields:
    """Cell properties with each layer at its own temperature.

    T : one temperature (K) for each layer of the stack
    The joint is one layer of k = t/(t/k + R_contact).  A gap cell carries h d, mixed by coverage:
    where there is no metal the gas column is longer by the absorber's thickness.
    """
    shape = grid.active.shape
    fields = Fields(np.zeros(shape), np.zeros(shape), np.zeros(shape))
    coverage = stack.pattern.coverage(*grid.plan.centres)
    for i, layer in enumerate(stack.layers):
        own = grid.slabs(i)
        k = layer.material.conductivity(T[i])
        capacity: float | Array = _capacity(layer.material, T[i], gas.pressure)
        in_plane: float | Array = k
        across: float | Array = k
        if layer.name == "joint":
            if layer.material.kind == "gas":  # bare contact: its resistance is all there is
                across = layer.thickness / layer.resistance
            else:
                across = layer.thickness / (layer.thickness / k + layer.resistance)
        elif layer.name == "absorber":
            k_gas = stack.layer("gap").material.conductivity(T[i])
            in_plane = metal_in_plane(k, k_gas, coverage, metal)
            capacity = capacity * coverage
        elif layer.name == "gap":
            across = layer.thickness * _mixed_conductance(stack, layer, coverage, T[i], gas)
        fields.in_plane[own], fields.across[own] = in_plane, across
        fields.capacity[own] = capacity
    return fields


def _mixed_conductance(stack: Stack, gap: Layer, coverage: Array, T: float, gas: Gas) -> Array:
    d = np.array([gap.thickness, gap.thickness + stack.layer("absorber").thickness])
    M, g = gap.material.molar_mass, gap.material.heat_capacity_ratio
    assert M is not None  # the case room lets only gases into the chamber
    assert g is not None
    k = gap.material.conductivity(T)
    near, far = gap_conductance(d, k, T, gas.pressure, M(T), g(T), gas.accommodation)
    radiated = 4 * Stefan_Boltzmann * T**3 * gas.emissivity
    return np.asarray(coverage * near + (1 - coverage) * far + radiated)


def _capacity(material: Material, T: float, p: float) -> float:
    if material.molar_mass is not None:
        return p * material.molar_mass(T) / (R * T) * material.heat_capacity(T)
    return material.density(T) * material.heat_capacity(T)
