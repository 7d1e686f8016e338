"""Films: faces that give heat to water or chamber gas, q = h (T - T_sink)."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.mesh import Grid

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Film:
    """One cooled face: level of the grid, plan cells, h in W/(m2 K), sink temperature in K."""

    name: str
    level: int
    cells: NDArray[np.bool_]
    h: float
    sink: float


def open_faces(grid: Grid) -> NDArray[np.bool_]:
    """Faces with a cell on one side only, (levels, cells)."""
    nothing = np.zeros((1, grid.active.shape[1]), bool)
    above = np.concatenate([nothing, grid.active])
    below = np.concatenate([grid.active, nothing])
    return np.asarray(above ^ below)


def face_h(films: tuple[Film, ...], grid: Grid) -> Array:
    """Sum of h over all films on each face, W/(m2 K), (levels, cells)."""
    h = np.zeros((len(grid.levels), grid.active.shape[1]))
    for film in films:
        h[film.level, film.cells] += film.h
    return h
