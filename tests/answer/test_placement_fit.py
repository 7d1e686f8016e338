"""Linear fit of the placement error, and the fixed grid of the field."""

import numpy as np
import pytest

from thermo.answer.placement import POINTS, field_points, linear_fit, placement_block
from thermo.case.pattern import Outline
from thermo.mesh import interpolation, rectangle_plan

FIELD = Outline(60e-3, 70e-3)
SHIFT, ROTATION, SKEW, SCALE = (30e-9, -50e-9), 3e-6, -2e-6, (4e-6, 7e-6)


def linear_map(points):
    x, y = points
    (a, b), w, k, (sx, sy) = SHIFT, ROTATION, SKEW, SCALE
    return np.column_stack([a + sx * x + (k - w) * y, b + (k + w) * x + sy * y])


def test_the_six_numbers_of_a_known_linear_map_come_back():
    fit = linear_fit(field_points(FIELD), linear_map(field_points(FIELD)))
    # round-off of a least-squares fit of numbers of one size
    assert fit.shift == pytest.approx(SHIFT, rel=1e-10)
    assert fit.rotation == pytest.approx(ROTATION, rel=1e-10)
    assert fit.skew == pytest.approx(SKEW, rel=1e-10)
    assert fit.scale == pytest.approx(SCALE, rel=1e-10)
    assert fit.magnification == pytest.approx(5.5e-6, rel=1e-10)


def test_shift_and_rotation_alone_leave_nothing():
    points = field_points(FIELD)
    e = np.array([1e-6, -2e-6]) + 5e-6 * np.column_stack([-points[1], points[0]])
    assert np.abs(linear_fit(points, e).aligned).max() < 1e-16  # round-off of micrometres


def test_pure_magnification_stays_in_the_aligned_error_and_leaves_the_residual():
    points = field_points(FIELD)
    fit = linear_fit(points, 10e-6 * points.T)
    corner = 10e-6 * np.hypot(30e-3, 35e-3)
    assert np.hypot(*fit.aligned.T).max() == pytest.approx(corner, rel=1e-10)
    assert np.abs(fit.residual).max() < 1e-16  # round-off


def test_what_the_fit_cannot_take_is_the_residual():
    points = field_points(FIELD)
    bow = np.column_stack([points[0] ** 2 - (points[0] ** 2).mean(), np.zeros(POINTS**2)])
    fit = linear_fit(points, linear_map(points) + bow)
    assert fit.rotation == pytest.approx(ROTATION, rel=1e-8)  # even in x, so nothing linear
    stretched = (SCALE[0] - SCALE[1]) / 2 * points.T * [1, -1]
    sheared = SKEW * points[::-1].T
    # round-off of a bow of a millimetre squared
    np.testing.assert_allclose(fit.residual, bow + stretched + sheared, atol=1e-15)


def test_the_block_gives_the_fit_in_its_units():
    points = field_points(FIELD)
    block = placement_block(points, linear_map(points), None, None)
    assert block.shift_nm == pytest.approx((30, -50))
    assert (block.rotation_urad, block.skew_urad) == pytest.approx((3, -2))
    assert (block.scale_x_ppm, block.scale_y_ppm) == pytest.approx((4, 7))
    assert block.magnification_ppm == pytest.approx(5.5)
    largest = 1e9 * np.hypot(*linear_map(points).T).max()
    assert block.raw_max_nm == pytest.approx(largest)


def test_the_fixed_grid_reaches_the_corners_of_the_field():
    points = field_points(FIELD)
    assert points.shape == (2, POINTS**2)
    assert points.min(1) == pytest.approx([-30e-3, -35e-3])
    assert points.max(1) == pytest.approx([30e-3, 35e-3])


def test_a_bilinear_field_is_met_on_the_fixed_grid_whatever_the_mesh():
    lines = [np.sort(np.append(np.linspace(-40e-3, 40e-3, n), 1.234e-3)) for n in (14, 10)]
    plan = rectangle_plan(*lines)
    points = field_points(FIELD)

    def bilinear(p):
        return 1 + 20 * p[0] - 30 * p[1] + 400 * p[0] * p[1]

    weights = interpolation(plan, points)
    np.testing.assert_allclose(weights @ bilinear(plan.points), bilinear(points), rtol=1e-12)
