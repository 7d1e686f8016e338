"""Meshes: plan, spacing, extrusion through layers, files; of a case its outlines, no physics."""

from thermo.mesh.files import write_grid
from thermo.mesh.grid import Grid, extrude
from thermo.mesh.plan import CHORD, Plan, cells_at, interpolation, rectangle_plan
from thermo.mesh.plan_files import read_plan, write_plan
from thermo.mesh.quads import ON_OUTLINE, border_of, corner_angles, edges_of, rim, split
from thermo.mesh.rings import Rings, rings
from thermo.mesh.spacing import from_face, graded, halved, lines_between, merged
from thermo.mesh.stack import layer_presence, mesh_stack

__all__ = [
    "CHORD",
    "ON_OUTLINE",
    "Grid",
    "Plan",
    "Rings",
    "border_of",
    "cells_at",
    "corner_angles",
    "edges_of",
    "extrude",
    "from_face",
    "graded",
    "halved",
    "interpolation",
    "layer_presence",
    "lines_between",
    "merged",
    "mesh_stack",
    "read_plan",
    "rectangle_plan",
    "rim",
    "rings",
    "split",
    "write_grid",
    "write_plan",
]
