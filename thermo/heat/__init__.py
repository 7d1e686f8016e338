"""Heat: gas gap, films, cell properties, steady temperature, swing under the moving stripe."""

from thermo.heat.fields import Fields, Gas, Metal, conduction_fields
from thermo.heat.films import Film, face_h, open_faces
from thermo.heat.gap import gap_conductance
from thermo.heat.moving_stripe import (
    ColdEdge,
    Column,
    StripeCycle,
    cold_edge,
    stripe_pairs,
)
from thermo.heat.steady import HeatSystem, Steady, heat_system, slowest_time, steady

__all__ = [
    "ColdEdge",
    "Column",
    "Fields",
    "Film",
    "Gas",
    "HeatSystem",
    "Metal",
    "Steady",
    "StripeCycle",
    "cold_edge",
    "conduction_fields",
    "face_h",
    "gap_conductance",
    "heat_system",
    "open_faces",
    "slowest_time",
    "steady",
    "stripe_pairs",
]
