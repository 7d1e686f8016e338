"""Expansion of one body: displacement and stress of the mask or of the sample under a rise."""

from thermo.elastic.edge_stress import EdgeStress, edge_stress
from thermo.elastic.expansion import Displacement, HeldSolid, expand, hold
from thermo.elastic.flatness import Flatness, curing_tension, flatness
from thermo.elastic.solid import Solid
from thermo.elastic.stress import cell_stress
from thermo.elastic.supports import FaceSprings, Held, Pins, Support

__all__ = [
    "Displacement",
    "EdgeStress",
    "FaceSprings",
    "Flatness",
    "Held",
    "HeldSolid",
    "Pins",
    "Solid",
    "Support",
    "cell_stress",
    "curing_tension",
    "edge_stress",
    "expand",
    "flatness",
    "hold",
]
