"""Grid of a stack: its layers extruded over a plan."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from thermo.case.stack import Stack
from thermo.mesh.grid import Grid, extrude
from thermo.mesh.plan import Plan

Array = NDArray[np.float64]


def layer_presence(stack: Stack, plan: Plan) -> NDArray[np.bool_]:
    """Where each layer is present, (layers, cells)."""
    x, y = plan.centres
    here = [layer.outline.covers(x, y) for layer in stack.layers]
    for i, layer in enumerate(stack.layers):
        if layer.opening is not None:
            here[i] = here[i] & ~layer.opening.covers(x, y)
    return np.stack(here)


def mesh_stack(stack: Stack, plan: Plan, cuts: Sequence[Array]) -> Grid:
    """Grid with z = 0 at the resist's lit face; cuts are the depths (m) that cut each layer."""
    above = stack.layers[: stack.index(stack.resist.name)]
    top = -sum(layer.thickness for layer in above)
    return extrude(plan, cuts, list(layer_presence(stack, plan)), top)
