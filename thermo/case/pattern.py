"""Outlines of parts, and the absorber pattern as the heat sees it: coverage over the field."""

from dataclasses import dataclass
from math import hypot, inf, pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermo.errors import PhysicsError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Outline:
    """Rectangle of width (x) and height (y) cut by a circle, m, about the middle of the field.

    diameter : of the circle; infinite for a rectangle.  A disc is as wide and as high as that.
    """

    width: float
    height: float
    diameter: float = inf

    @property
    def is_round(self) -> bool:
        """Whether this is a whole disc."""
        return self.diameter <= min(self.width, self.height)

    @property
    def area(self) -> float:
        """Area of a rectangle or of a whole disc, m2; raises PhysicsError for what is neither."""
        if self.is_round:
            return pi * self.diameter**2 / 4
        if not hypot(self.width, self.height) <= self.diameter:
            raise PhysicsError(f"the area of {self} cut by a circle is not known; give one of both")
        return self.width * self.height

    def covers(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
        """Whether points lie inside, broadcast."""
        x, y = np.asarray(x, float), np.asarray(y, float)
        inside = (np.abs(x) < self.width / 2) & (np.abs(y) < self.height / 2)
        return np.asarray(inside & (np.hypot(x, y) < self.diameter / 2))

    def distance(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Distance of points from the edge of a rectangle or of a whole disc, m, broadcast."""
        if self.is_round:
            return np.asarray(np.abs(np.hypot(x, y) - self.diameter / 2))
        across = np.abs(np.asarray(x, float)) - self.width / 2
        along = np.abs(np.asarray(y, float)) - self.height / 2
        outside = np.hypot(np.maximum(across, 0), np.maximum(along, 0))
        return np.asarray(np.where(outside > 0, outside, -np.maximum(across, along)))

    def common(self, other: "Outline") -> "Outline":
        """The part that lies inside both outlines."""
        return Outline(
            min(self.width, other.width),
            min(self.height, other.height),
            min(self.diameter, other.diameter),
        )

    def grown(self, border: float) -> "Outline":
        """The outline with a border (m) added all round."""
        return Outline(
            self.width + 2 * border, self.height + 2 * border, self.diameter + 2 * border
        )

    def spare(self, other: "Outline") -> float:
        """Least distance to an outline around this one, m; negative where it reaches beyond."""
        across = min(self.diameter, hypot(self.width, self.height))
        room = (other.width - self.width, other.height - self.height, other.diameter - across)
        return min(room) / 2

    def __str__(self) -> str:
        """'round, 100 mm' or '60 x 40 mm'."""
        if self.is_round:
            return f"round, {1e3 * self.diameter:.4g} mm"
        return f"{1e3 * self.width:.4g} x {1e3 * self.height:.4g} mm"


def disc(diameter: float) -> Outline:
    """The round outline of a diameter, m."""
    return Outline(diameter, diameter, diameter)


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
