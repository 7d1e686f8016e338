"""How far X-rays reach in one material: by photon energy, and in the beam of a case."""

import numpy as np

from thermo.answer.block import Block
from thermo.answer.scene import Scene
from thermo.beam.attenuation import coefficients
from thermo.materials import Material, gas_at

ENERGIES = (3.0, 5.0, 8.0, 12.0, 20.0, 40.0)  # keV
FOILS = (1e-6, 10e-6, 100e-6, 1e-3, 10e-3)  # m
PATHS = (0.01, 0.1, 1.0, 10.0)  # m, of a gas
ROOM, ONE_ATM = 293.15, 101325.0  # K, Pa


class Reach(Block):
    """Attenuation length 1/mu (without Rayleigh scattering) at one photon energy."""

    photon_energy_keV: float
    attenuation_length_um: float


class Share(Block):
    """What a thickness takes of the power that reaches the mask: heat, and lost to the beam."""

    thickness_um: float
    absorbed: float
    attenuated: float


def as_met(material: Material, scene: Scene | None) -> Material:
    """The material; a gas at the chamber's pressure, or at 1 atm and 20 degC without a case."""
    if material.kind != "gas":
        return material
    if scene is None:
        return gas_at(material, ONE_ATM, ROOM)
    chamber = scene.case.chamber
    return gas_at(material, chamber.pressure.value, chamber.temperature.value)


def attenuation_lengths(material: Material) -> tuple[Reach, ...]:
    """Attenuation length at usual photon energies."""
    mu = coefficients(material, np.array(ENERGIES)).attenuation
    return tuple(
        Reach(photon_energy_keV=E, attenuation_length_um=1e6 / m)
        for E, m in zip(ENERGIES, mu.tolist(), strict=True)
    )


def absorbed_shares(material: Material, scene: Scene) -> tuple[Share, ...]:
    """What round thicknesses would take of the beam that reaches the mask of a case."""
    power = scene.beam.power.sum(0)
    mu = coefficients(material, scene.beam.energy)
    found = []
    for t in PATHS if material.kind == "gas" else FOILS:
        taken = power * -np.expm1(-mu.attenuation * t)
        kept = taken * mu.deposition(t) / mu.attenuation
        shares = {"absorbed": kept.sum() / power.sum(), "attenuated": taken.sum() / power.sum()}
        found.append(Share(thickness_um=1e6 * t, **shares))
    return tuple(found)
