"""Surfaces of the layered stack with temperature and displacement, small enough for a page."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.answer.expansion import Moved
from thermo.answer.state import State
from thermo.answer.temperature import ZERO_C
from thermo.decide import Result
from thermo.mesh import Grid, interpolation

SURFACES = "surfaces.npz"
BODIES = ("mask", "sample")
FLOAT = np.float32
LEAST = 1e-9  # weight of nodes with a temperature: less is none
Array = NDArray[np.float64]


def write_surfaces(result: Result, folder: Path) -> None:
    """surfaces.npz: of mask and sample the plan, levels, layers, temperature and displacement.

    Keys begin with the body's name: points (2, nodes) mm, levels (levels,) mm, quads (4, cells),
    layers (layers,), active (layers, cells), peak (levels, nodes) degC and moved
    (3, levels, nodes) um.
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
    number = [slab.layer for slab in body.slabs]
    first = [i for i, n in enumerate(number) if i == 0 or n != number[i - 1]]  # slab of each layer
    faces = [*first, len(number)]
    at = interpolation(grid.plan, solid.points)
    peak = np.stack([used_mean(at, state.peak[_level(grid, solid.levels[i])]) for i in faces])
    return {
        "points": (1e3 * solid.points).astype(FLOAT),
        "levels": (1e3 * solid.levels[faces]).astype(FLOAT),
        "quads": solid.quads.astype(np.uint16 if solid.points.shape[1] < 2**16 else np.uint32),
        "layers": np.array([stack.layers[number[i]].name for i in first]),
        "active": solid.active[first],
        "peak": (peak - ZERO_C).astype(FLOAT),
        "moved": (1e6 * np.nan_to_num(np.moveaxis(moved.u[faces], -1, 0))).astype(FLOAT),
    }


def _level(grid: Grid, z: float) -> int:
    return int(np.abs(grid.levels - z).argmin())


def used_mean(at: sparse.csr_array, T: Array) -> Array:
    """Temperature at places from the nodes that have one; that of the coldest where none has."""
    used = np.isfinite(T)
    share = at @ used.astype(float)
    found = (at @ np.where(used, T, 0.0)) / np.maximum(share, LEAST)
    return np.where(share > LEAST, found, np.nanmin(T))
