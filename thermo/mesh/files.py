"""Field files that any VTK viewer opens (.vtu), written with named arrays and units."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermo.mesh.grid import Grid

Array = NDArray[np.float64]


def write_grid(
    path: Path,
    grid: Grid,
    point_data: Mapping[str, Array],
    cell_data: Mapping[str, Array],
) -> None:
    """Write the active cells.

    point_data : nodal fields (levels, nodes) or (levels, nodes, 3); unused nodes are left out
    cell_data : cell fields (slabs, cells)
    """
    import meshio

    nodes = grid.plan.points.shape[1]
    used = grid.node_used.ravel()
    number = np.cumsum(used) - 1
    slab, cell = np.nonzero(grid.active)
    lower = slab * nodes + grid.plan.quads[:, cell]
    hexes = number[np.concatenate([lower, lower + nodes])].T
    z = np.repeat(grid.levels, nodes)
    xyz = np.column_stack([np.tile(grid.plan.points.T, (len(grid.levels), 1)), z])[used]
    points = {k: v.reshape(len(used), -1).squeeze()[used] for k, v in point_data.items()}
    cells = {k: [v[slab, cell]] for k, v in cell_data.items()}
    meshio.Mesh(xyz, [("hexahedron", hexes)], points, cells).write(path, file_format="vtu")
