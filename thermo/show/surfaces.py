"""Surfaces of the layered stack with temperature and displacement, small enough for a page."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermo.answer.expansion import Moved
from thermo.answer.state import State
from thermo.answer.temperature import ZERO_C
from thermo.decide import Result
from thermo.mesh import interpolation

SURFACES = "surfaces.npz"
FLOAT = np.float32


def write_surfaces(result: Result, folder: Path) -> None:
    """surfaces.npz: of mask and sample the plan, levels, layers, temperature and displacement.

    Keys begin with the body's name: points (2, nodes) mm, levels (levels,) mm, quads (4, cells),
    layers (slabs,), active (slabs, cells), peak (levels, nodes) degC, moved (3, levels, nodes) um.
    """
    moved = result.outcome.expansion
    assert moved is not None  # a whole run expands its bodies
    arrays: dict[str, NDArray[np.generic]] = {}
    for body in (moved.mask, moved.sample):
        own = _surfaces(result.outcome.state, body)
        arrays |= {f"{body.body.name}_{key}": value for key, value in own.items()}
    np.savez_compressed(folder / SURFACES, allow_pickle=False, **arrays)


def _surfaces(state: State, moved: Moved) -> dict[str, NDArray[np.generic]]:
    body, grid = moved.body, state.meshed.grid
    solid, stack = body.held.solid, state.scene.stack
    at = interpolation(grid.plan, solid.points)
    level = [int(np.abs(grid.levels - z).argmin()) for z in solid.levels]
    peak = np.stack([at @ np.nan_to_num(state.peak[i] - ZERO_C) for i in level])
    return {
        "points": (1e3 * solid.points).astype(FLOAT),
        "levels": (1e3 * solid.levels).astype(FLOAT),
        "quads": solid.quads.astype(np.uint16 if solid.points.shape[1] < 2**16 else np.uint32),
        "layers": np.array([stack.layers[slab.layer].name for slab in body.slabs]),
        "active": solid.active,
        "peak": peak.astype(FLOAT),
        "moved": (1e6 * np.nan_to_num(np.moveaxis(moved.u, -1, 0))).astype(FLOAT),
    }
