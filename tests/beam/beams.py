"""Beams and materials with round numbers, shared by the checks of this room (all invented)."""

from dataclasses import replace

import numpy as np
from scipy import constants

from thermo.beam import BendingMagnet, Piece, white_beam
from thermo.materials import material

GEV = 1e9 * constants.e
KEV = 1e3 * constants.e


def with_density(name, rho):
    """A material of the table at another density, kg/m3."""
    found = material(name)
    density = replace(found.density, at=(293.15,), typical=(rho,), low=rho, high=rho)
    return replace(found, density=density)


BERYLLIUM = with_density("beryllium", 1848.0)
POLYIMIDE = with_density("polyimide", 1420.0)
PMMA = with_density("PMMA", 1190.0)
GOLD = with_density("gold", 19320.0)
SILICON = with_density("silicon", 2329.0)


def ring(energy=2.3, field=1.25, current=0.15):
    return BendingMagnet(energy * GEV, field, current)


def beam(per_decade=40, others=(PMMA, GOLD, SILICON)):
    """2.3 GeV, 1.25 T, 150 mA, 12.5 m, behind 300 um Be and 40 um polyimide."""
    windows = [("window", BERYLLIUM, 300e-6), ("film", POLYIMIDE, 40e-6)]
    return white_beam(ring(), 12.5, windows, others, per_decade)


def piece(name, stuff, thickness, cells=1):
    return Piece(name, stuff, np.linspace(0, thickness, cells + 1))
