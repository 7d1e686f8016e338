"""Where the pattern lands: displacement over the field and its linear fit.

    e = u_mask - u_sample + (x, 0) d_gap/distance                                     (1)
    e = shift + [[s_x, k - w], [k + w, s_y]] (x, y) + residual                        (2)

w rotation, k skew, s_x and s_y scales; magnification = (s_x + s_y)/2.  Fitted on a fixed grid of
points over the pattern field, not on mesh nodes, so the numbers do not move with the mesh.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.answer.bodies import Body
from thermo.answer.schema import Placement
from thermo.case.pattern import Outline
from thermo.mesh import Plan, interpolation

Array = NDArray[np.float64]
POINTS = 21  # along each side of the field


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


def field_points(field: Outline) -> Array:
    """Fixed grid of points over the pattern field, (2, n) m."""
    x = np.linspace(-field.width / 2, field.width / 2, POINTS)
    y = np.linspace(-field.height / 2, field.height / 2, POINTS)
    return np.stack(np.meshgrid(x, y)).reshape(2, -1)


def at_points(body: Body, u: Array, level: int, points: Array) -> Array:
    """Displacement (n, 3) m of a body's level at points (2, n)."""
    solid = body.held.solid
    weights = interpolation(Plan(solid.points, solid.quads), points)
    return np.asarray(weights @ np.nan_to_num(u[level]))


def placement_block(points: Array, e: Array, blur: float | None, split: float | None) -> Placement:
    """The numbers of one depth; blur and split are zero for a held beam, None where unknown."""
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
        blur_max_nm=blur,
        up_down_split_nm=split,
    )
