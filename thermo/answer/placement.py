"""Where the pattern lands: displacement over the field and its linear fit.

    e = u_mask - u_sample + (x, 0) d_gap/distance                                     (1)
    e = shift + [[s_x, k - w], [k + w, s_y]] (x, y) + residual                        (2)

w rotation, k skew, s_x and s_y scales; magnification = (s_x + s_y)/2.  Fitted on a fixed grid of
points over the pattern field, not on mesh nodes, so the numbers do not move with the mesh.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import isqrt

import numpy as np
from numpy.typing import NDArray

from thermo.answer.placement_schema import Placement
from thermo.case.pattern import Outline

Array = NDArray[np.float64]
POINTS = 41  # along each side of the field
FEWER = 21  # on a coarse mesh: every other of them


@dataclass(frozen=True)
class LinearFit:
    """Equation (2): shift (2,) m, rotation, skew, scales; residuals (points, 2) m.

    residual : after shift, rotation and magnification;  aligned : after shift and rotation only
    """

    shift: Array
    rotation: float
    skew: float
    scale: tuple[float, float]
    residual: Array
    aligned: Array

    @property
    def magnification(self) -> float:
        """Isotropic scale, the mean of both."""
        return sum(self.scale) / 2


def linear_fit(points: Array, e: Array) -> LinearFit:
    """Least-squares fit of (2) to displacements e (n, 2) m at points (2, n) m."""
    x, y = points
    basis = np.column_stack([np.ones_like(x), x, y])
    (sx, sy), (xx, yx), (xy, yy) = np.linalg.lstsq(basis, e, rcond=None)[0]
    rotation, skew = (yx - xy) / 2, (yx + xy) / 2
    aligned = e - [sx, sy] - rotation * np.column_stack([-y, x])
    residual = aligned - (xx + yy) / 2 * points.T
    return LinearFit(
        np.array([sx, sy]), float(rotation), float(skew), (float(xx), float(yy)), residual, aligned
    )


def field_points(field: Outline, count: int = POINTS) -> Array:
    """Fixed grid of points over the pattern field, so many along each side, (2, n) m."""
    x = np.linspace(-field.width / 2, field.width / 2, count)
    y = np.linspace(-field.height / 2, field.height / 2, count)
    return np.stack(np.meshgrid(x, y)).reshape(2, -1)


def side_of(points: Array) -> int:
    """How many points a grid has along each side."""
    return isqrt(points.shape[1])


def common(points: Array, fewer: Array) -> NDArray[np.int64]:
    """Which points of a grid are those of one as fine or twice as coarse."""
    side, step = side_of(points), (side_of(points) - 1) // (side_of(fewer) - 1)
    return np.arange(side**2).reshape(side, side)[::step, ::step].ravel()


def rows_of(points: Array) -> Iterator[tuple[float, slice]]:
    """Heights of the rows of a grid of points, m, and which points each has."""
    side = side_of(points)
    for row in range(side):
        own = slice(row * side, (row + 1) * side)
        yield float(points[1, own.start]), own


def placement_block(points: Array, e: Array, blur: float | None, split: float | None) -> Placement:
    """The numbers of one depth; blur and split in m, None where they are not asked for."""
    fit = linear_fit(points, e)
    return Placement(
        raw_max_nm=1e9 * float(np.hypot(*e.T).max()),
        shift_nm=(1e9 * fit.shift[0], 1e9 * fit.shift[1]),
        rotation_urad=1e6 * fit.rotation,
        magnification_ppm=1e6 * fit.magnification,
        scale_x_ppm=1e6 * fit.scale[0],
        scale_y_ppm=1e6 * fit.scale[1],
        skew_urad=1e6 * fit.skew,
        residual_3sigma_nm=3e9 * float(fit.residual.std()),
        residual_max_nm=1e9 * float(np.hypot(*fit.residual.T).max()),
        blur_max_nm=None if blur is None else 1e9 * blur,
        up_down_split_nm=None if split is None else 1e9 * split,
    )
