"""From temperatures on a heat mesh to the rise in the layers of a body, against what it must keep.

The straight line through a layer keeps its mean and its first moment; the oracle here is the
integral of the same broken line by Gauss points between its kinks.
"""

from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest

from thermo.answer.rise import Slab, straight_line, transfer
from thermo.mesh import extrude, rectangle_plan

LEVELS = np.array([-2.0, -1.5, -0.2, 0.0, 0.3, 1.0, 1.2, 4.0]) * 1e-3  # m
SPANS = [(-1.5e-3, 1.0e-3), (-1.7e-3, 0.61e-3), (0.05e-3, 0.2e-3), (-2e-3, 4e-3), (1.0e-3, 1.2e-3)]
ROUND = 1e-12  # of the largest temperature


def moments(levels, T, top, bottom):
    """Mean, and mean of T (z - middle), of a broken line from top to bottom; two Gauss points."""
    kinks = [top, *(z for z in levels if top < z < bottom), bottom]
    total, first = 0.0, 0.0
    for a, b in pairwise(kinks):
        for side in (-1, 1):
            z = (a + b) / 2 + side * (b - a) / (2 * np.sqrt(3))
            value = np.interp(z, levels, T) * (b - a) / 2
            total, first = total + value, first + value * (z - (top + bottom) / 2)
    return total / (bottom - top), first / (bottom - top)


@pytest.mark.parametrize("span", SPANS)
def test_a_straight_temperature_is_kept_as_it_is(span):
    ends = straight_line(LEVELS, *span) @ (17.0 - 4e3 * LEVELS)
    assert ends == pytest.approx([17.0 - 4e3 * z for z in span], rel=ROUND)


@pytest.mark.parametrize("span", SPANS)
def test_the_line_has_mean_and_first_moment_of_any_broken_one(span):
    """Also where a slab begins and ends between two levels."""
    T = np.random.default_rng(7).uniform(0, 40, len(LEVELS))
    a, b = straight_line(LEVELS, *span) @ T
    mean, moment = moments(LEVELS, T, *span)
    assert (a + b) / 2 == pytest.approx(mean, abs=40 * ROUND)
    # a line from a to b over h has the moment (b - a) h/12
    assert (b - a) * (span[1] - span[0]) / 12 == pytest.approx(moment, abs=40 * ROUND * span[1])


def test_a_slab_reads_nothing_beyond_itself():
    T = np.where((LEVELS < -1.5e-3) | (LEVELS > 1.0e-3), np.inf, 3.0)
    weights = straight_line(LEVELS, -1.5e-3, 1.0e-3)
    assert (weights[:, ~np.isfinite(T)] == 0).all()
    assert weights[:, np.isfinite(T)].sum(1) == pytest.approx(1.0, rel=ROUND)


# -- in the plan

HEAT_X, HEAT_Y = np.array([-8.0, -3.0, 0.0, 3.0, 8.0]) * 1e-3, np.array([-9.0, -4, 4, 9]) * 1e-3
BODY_X = np.array([-3.0, -1.1, 0.0, 2.2, 3.0]) * 1e-3
BODY_Y = np.array([-4.0, -1.0, 0.7, 4.0]) * 1e-3
SLABS = (Slab(0, 0.0, 0.5e-3), Slab(0, 0.5e-3, 1e-3), Slab(1, 1e-3, 3e-3))


def heat_mesh():
    """A layer all over, and one below it over the middle alone."""
    plan = rectangle_plan(HEAT_X, HEAT_Y)
    middle = (np.abs(plan.centres[0]) < 3e-3) & (np.abs(plan.centres[1]) < 4e-3)
    whole = np.ones_like(middle)
    cuts = [np.array([0.0, 0.2e-3, 1e-3]), np.array([1.0, 1.7, 3.0]) * 1e-3]
    grid = extrude(plan, [cut - cut[0] for cut in cuts], [whole, middle], 0.0)
    return SimpleNamespace(grid=grid)


def bilinear(x, y, z):
    """Straight in each direction: what a plan twice as coarse and a line through a layer keep."""
    return 20 + 900 * x - 400 * y + 3e4 * x * y + z * (700 - 5e4 * x)


def body_rise(fields, reference=0.0):
    plan = rectangle_plan(BODY_X, BODY_Y)
    found = transfer(heat_mesh(), plan.points, plan.quads, SLABS).rise(fields, reference)
    return plan, found


def fields_of(meshed, f):
    x, y = meshed.grid.plan.points
    return np.stack([f(x, y, z) for z in meshed.grid.levels], axis=1)[None]


def wanted(plan, f):
    x, y = plan.corners  # (4, cells)
    return np.stack([[f(x, y, s.top).T, f(x, y, s.bottom).T] for s in SLABS]).transpose(0, 2, 1, 3)


def test_a_bilinear_field_reaches_the_corners_of_any_cells_exactly():
    """Cells that no line of the heat mesh follows; slabs that no level of it follows."""
    plan, found = body_rise(fields_of(heat_mesh(), bilinear))
    assert found.shape == (1, len(SLABS), plan.quads.shape[1], 2, 4)
    assert np.abs(found[0] - wanted(plan, bilinear)).max() < 40 * ROUND


def test_a_reference_is_taken_off_once():
    fields = fields_of(heat_mesh(), bilinear)
    rise, absolute = body_rise(fields, 293.15)[1], body_rise(fields)[1]
    assert np.abs(absolute - 293.15 - rise).max() < 1e-10  # K: round-off of 293 K


def test_fields_are_transferred_one_by_one():
    fields = np.concatenate([k * fields_of(heat_mesh(), bilinear) for k in (1, -2)])
    _, found = body_rise(fields)
    assert np.abs(found[1] + 2 * found[0]).max() < 80 * ROUND


def test_nothing_where_there_is_nothing_does_not_leak_into_a_body():
    """Nodes beside it are nan: neither they nor a zero in their place may be seen."""
    meshed = heat_mesh()
    fields = fields_of(meshed, bilinear)
    void = ~meshed.grid.node_used.T
    assert void.any()
    fields[0, void] = np.nan
    plan, found = body_rise(fields, 293.15)
    assert np.abs(found[0] - (wanted(plan, bilinear) - 293.15)).max() < 1e-10
