"""How the cut stack is looked at: the eye's axes, what the picture holds, and the words in it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.show.cutaway import Cutaway, Part

Array = NDArray[np.float64]
AHEAD = np.array([0.76, 0.46, 0.46]) / np.sqrt(0.76**2 + 2 * 0.46**2)  # the beam comes from above
RIGHT = np.array([-AHEAD[1], AHEAD[0], 0.0]) / np.hypot(AHEAD[0], AHEAD[1])
UP = np.cross(RIGHT, AHEAD)
MAP = "cividis"
SIZE = (1200, 900)  # pixels
BOX = (0.03, 0.70, 0.20, 0.90)  # left, right, bottom, top of the stack, shares of the picture


@dataclass(frozen=True)
class Frame:
    """What the picture holds: ends along the eye's right and up, mm."""

    left: float
    right: float
    bottom: float
    top: float

    @property
    def middle(self) -> Array:
        """A place that the eye looks straight at, mm."""
        across, upwards = (self.left + self.right) / 2, (self.bottom + self.top) / 2
        return np.asarray(across * RIGHT + upwards * UP)

    @property
    def height(self) -> float:
        """From bottom to top, mm."""
        return self.top - self.bottom


def seen(points: Array) -> Array:
    """Places along the eye's right and up, mm, (n, 2)."""
    return np.asarray(points @ np.column_stack([RIGHT, UP]))


def frame_of(points: Array) -> Frame:
    """The frame in which the points fill BOX in width or height."""
    at = seen(points)
    low, high = at.min(0), at.max(0)
    left, right, bottom, top = BOX
    share = np.array([right - left, top - bottom]) * SIZE
    mm = float(((high - low) / share).max())  # for a pixel
    start = (low + high) / 2 - mm * np.array(SIZE) * [(left + right) / 2, (bottom + top) / 2]
    end = start + mm * np.array(SIZE)
    return Frame(float(start[0]), float(end[0]), float(start[1]), float(end[1]))


def anchor(part: Part) -> Array:
    """Where a layer's words point to: its end in the section, mm."""
    return np.array([0.0, part.end, sum(part.span) / 2])


def layer_words(part: Part) -> str:
    """Name, thickness and highest temperature of a layer."""
    t = part.thickness
    thick = f"{1e3 * t:.3g} mm" if t >= 1e-3 else f"{1e6 * t:.3g} um"
    if part.hottest is None:
        return f"{part.name}, {thick} of gas"
    return f"{part.name}, {thick}, {part.hottest:.1f} degC"


def colour_words(cutaway: Cutaway) -> str:
    """What the colours show."""
    return "steady temperature, degC" if cutaway.held else "peak temperature, degC"


def drawn_words(cutaway: Cutaway) -> list[str]:
    """How the drawing differs from the stack."""
    least, most = (f"{value:.2g}" for value in cutaway.stretch)
    return [
        "cut open along the scan at x = 0, the mask at y = 0 too; colours are not shaded",
        f"each layer stretched on its own: drawn {least} to {float(most):.0f} times as thick as "
        "true against x and y",
        f"displacement at the mean in time drawn {cutaway.moved:g} times as large as true, "
        "holder at rest",
    ]
