"""The absorber pattern as the heat sees it: coverage by metal over the field."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Outline:
    """Rectangle of width (x) and height (y), m, about the middle of the pattern field."""

    width: float
    height: float

    def covers(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
        """Whether points lie inside, broadcast."""
        inside_x = np.abs(np.asarray(x, float)) < self.width / 2
        return np.asarray(inside_x & (np.abs(np.asarray(y, float)) < self.height / 2))

    def common(self, other: "Outline") -> "Outline":
        """The part that lies inside both outlines."""
        return Outline(min(self.width, other.width), min(self.height, other.height))

    def grown(self, border: float) -> "Outline":
        """The outline with a border (m) added all round."""
        return Outline(self.width + 2 * border, self.height + 2 * border)


@dataclass(frozen=True)
class Pattern:
    """Share of the area under absorber metal.

    field : outline of the pattern field
    rows : coverage of equal rectangles over the field, 0 to 1, first row at the top (+y)
    clear : outline of the mask's clear opening; there is no absorber outside it
    beyond : coverage between the field and the frame (0 bare, 1 covered)
    """

    field: Outline
    rows: tuple[tuple[float, ...], ...]
    clear: Outline
    beyond: float

    def coverage(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Coverage at points (m), broadcast."""
        rows = np.asarray(self.rows)
        x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        column = (x / self.field.width + 0.5) * rows.shape[1]
        row = (0.5 - y / self.field.height) * rows.shape[0]
        i = np.clip(np.floor(row).astype(int), 0, rows.shape[0] - 1)
        j = np.clip(np.floor(column).astype(int), 0, rows.shape[1] - 1)
        outside = np.where(self.clear.covers(x, y), self.beyond, 0.0)
        return np.where(self.field.covers(x, y), rows[i, j], outside)

    def steps(self) -> tuple[Array, Array]:
        """Places in x and in y where the coverage may jump, m."""
        count_y, count_x = np.asarray(self.rows).shape
        half_x, half_y = self.field.width / 2, self.field.height / 2
        return np.linspace(-half_x, half_x, count_x + 1), np.linspace(-half_y, half_y, count_y + 1)
