"""Meshes: plan, spacing, extrusion through layers, field files.  Plain lengths, no physics."""

from thermo.mesh.files import write_grid
from thermo.mesh.grid import Grid, extrude
from thermo.mesh.plan import Plan, interpolation, rectangle_plan
from thermo.mesh.spacing import from_face, graded, halved, lines_between, merged
from thermo.mesh.stack import layer_presence, mesh_stack

__all__ = [
    "Grid",
    "Plan",
    "extrude",
    "from_face",
    "graded",
    "halved",
    "interpolation",
    "layer_presence",
    "lines_between",
    "merged",
    "mesh_stack",
    "rectangle_plan",
    "write_grid",
]
