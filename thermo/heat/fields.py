"""Conductivity and heat capacity of every cell of the grid, from the stack at its temperatures."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.constants import R, Stefan_Boltzmann

from thermo.case.stack import Layer, Stack
from thermo.heat.gap import gap_conductance
from thermo.materials import Kind, Material, metal_in_plane
from thermo.mesh import Grid

Array = NDArray[np.float64]
LEAST_GAP = 0.02  # of its width: what a gap that closes still counts as, its contact is told apart


@dataclass(frozen=True)
class Gas:
    """The chamber gas in the gap: pressure (Pa) and accommodation on mask and sample.

    emissivity : of both faces together, for the radiation beside it, 4 sigma T^3 e
    wider : how much wider than drawn the gap is in each plan cell, m, (cells,), or one number
    """

    pressure: float
    accommodation: tuple[float, float]
    emissivity: float = 0.0
    wider: Array | float = 0.0


@dataclass(frozen=True)
class Fields:
    """Cell properties, (slabs, cells): k in the plane and across, W/(m K); rho cp, J/(m3 K)."""

    in_plane: Array
    across: Array
    capacity: Array


def conduction_fields(
    stack: Stack, grid: Grid, T: Sequence[float], gas: Gas, metal: Kind
) -> Fields:
    """Cell properties with each layer at its own temperature.

    T : one temperature (K) for each layer of the stack
    The absorber's part in the plane counts on the membrane beneath it.
    Joint and frame are layers of k = t/(t/k + R_contact) across, the frame's contact being that to
    the membrane.  A gap cell carries h d, mixed by coverage:
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
        if layer.is_contact:  # its resistance is all there is
            across = layer.thickness / layer.resistance
        elif layer.name in ("joint", "frame"):
            across = layer.thickness / (layer.thickness / k + layer.resistance)
        elif layer.name == "absorber":
            k_gas = stack.layer("gap").material.conductivity(T[i])
            beneath = _sheet(stack, T) / layer.thickness
            in_plane = metal_in_plane(k, k_gas, beneath, coverage, metal)
            capacity = capacity * coverage
        elif layer.name == "gap":
            across = layer.thickness * _mixed_conductance(stack, layer, coverage, T[i], gas)
        fields.in_plane[own], fields.across[own] = in_plane, across
        fields.capacity[own] = capacity
    return fields


def _sheet(stack: Stack, T: Sequence[float]) -> float:
    """Conductivity times thickness of the membrane, W/K."""
    i = stack.index("membrane")
    membrane = stack.layers[i]
    return membrane.material.conductivity(T[i]) * membrane.thickness


def _mixed_conductance(stack: Stack, gap: Layer, coverage: Array, T: float, gas: Gas) -> Array:
    d = np.maximum(gap.thickness + gas.wider, LEAST_GAP * gap.thickness)
    below = np.stack([d, d + stack.layer("absorber").thickness])
    M, g = gap.material.molar_mass, gap.material.heat_capacity_ratio
    assert M is not None  # the case room lets only gases into the chamber
    assert g is not None
    k = gap.material.conductivity(T)
    near, far = gap_conductance(below, k, T, gas.pressure, M(T), g(T), gas.accommodation)
    radiated = 4 * Stefan_Boltzmann * T**3 * gas.emissivity
    return np.asarray(coverage * near + (1 - coverage) * far + radiated)


def _capacity(material: Material, T: float, p: float) -> float:
    if material.molar_mass is not None:
        return p * material.molar_mass(T) / (R * T) * material.heat_capacity(T)
    return material.density(T) * material.heat_capacity(T)
