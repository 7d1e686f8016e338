"""Expansion of one body: displacement and stress of the mask or of the sample under a rise."""

from thermo.elastic.expansion import Displacement, HeldSolid, expand, hold
from thermo.elastic.solid import Solid
from thermo.elastic.stress import cell_stress
from thermo.elastic.supports import FaceSprings, Held, Pins, Support

__all__ = [
    "Displacement",
    "FaceSprings",
    "Held",
    "HeldSolid",
    "Pins",
    "Solid",
    "Support",
    "cell_stress",
    "expand",
    "hold",
]
