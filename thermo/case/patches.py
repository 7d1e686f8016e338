"""Places where mask frame and sample are screwed, taped or sprung: squares in the plan.

Screws and springs sit at 90, 210 and 330 degrees from x, on the middle line of the frame's border
or at the sample's edge; tape at the four corners, on a round frame at 45, 135, 225 and 315 degrees.
"""

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermo.case.pattern import Outline
from thermo.case.schema import Case
from thermo.case.stack import Stack

__all__ = ["Patch", "frame_patches", "patch_edges", "sample_patches"]

THREE, FOUR = (90.0, 210.0, 330.0), (45.0, 135.0, 225.0, 315.0)  # degrees from x


@dataclass(frozen=True)
class Patch:
    """A square in the plan, its edges along x and y, m."""

    left: float
    right: float
    bottom: float
    top: float

    def covers(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
        """Whether points lie inside, broadcast."""
        x, y = np.asarray(x, float), np.asarray(y, float)
        across = (x > self.left) & (x < self.right)
        return np.asarray(across & (y > self.bottom) & (y < self.top))

    @property
    def middle(self) -> tuple[float, float]:
        """Its middle, m."""
        return (self.left + self.right) / 2, (self.bottom + self.top) / 2

    @property
    def area(self) -> float:
        """Its area, m2."""
        return (self.right - self.left) * (self.top - self.bottom)


def frame_patches(case: Case, stack: Stack) -> tuple[Patch, ...]:
    """Places where the frame's lit face is held; none where it is not held in places."""
    frame = case.mask.frame
    if frame.patch is None:
        return ()
    side, outline = frame.patch.value, stack.layer("frame").outline
    if frame.held == "taped" and not outline.is_round:
        return _corners(outline, side)
    middle_line = outline.grown(-frame.border.value / 2)
    return _on_line(middle_line, side, FOUR if frame.held == "taped" else THREE)


def sample_patches(case: Case, stack: Stack) -> tuple[Patch, ...]:
    """Places where the sample's back is held; none where it is not held in places."""
    sample = case.sample
    if sample.patch is None:
        return ()
    side, outline = sample.patch.value, stack.resist.outline
    if sample.held == "taped":
        return _corners(outline, side)
    return _on_line(outline.grown(-side / 2), side, THREE)


def patch_edges(case: Case, stack: Stack) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Places in x and in y where plan lines follow the patches, m.

    Those in y come with their mirror images, so that a plan stays its own.
    """
    patches = (*frame_patches(case, stack), *sample_patches(case, stack))
    x = [edge for patch in patches for edge in (patch.left, patch.right)]
    y = [s * edge for patch in patches for edge in (patch.bottom, patch.top) for s in (1, -1)]
    return tuple(x), tuple(y)


def _corners(outline: Outline, side: float) -> tuple[Patch, ...]:
    """Squares in the four corners of a rectangle."""
    x, y = outline.width / 2, outline.height / 2
    return tuple(
        Patch(*sorted((a * x, a * (x - side))), *sorted((b * y, b * (y - side))))
        for a in (-1, 1)
        for b in (-1, 1)
    )


def _on_line(line: Outline, side: float, directions: tuple[float, ...]) -> tuple[Patch, ...]:
    """Squares about the points where directions (degrees) from the middle meet an outline."""
    found = []
    for c, s in ((cos(radians(d)), sin(radians(d))) for d in directions):
        corner = min(line.width / abs(c), line.height / abs(s))
        r = (line.diameter if line.is_round else corner) / 2
        x, y = round(r * c, 12), round(r * s, 12)  # cos 90 degrees leaves 1e-18 m
        found.append(Patch(x - side / 2, x + side / 2, y - side / 2, y + side / 2))
    return tuple(found)
