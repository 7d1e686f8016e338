"""Plans of round parts: nodes on the circles, discs of the right area, cells of good shape."""

import numpy as np
import pytest

from thermo.case.pattern import Outline, disc
from thermo.errors import PhysicsError
from thermo.mesh import cells_at, corner_angles, interpolation, lines_between, rim, rings, split

CORE = lines_between(np.array([-0.022, 0.0, 0.022]), 2e-3, 4e-3)
CIRCLES = (0.070, 0.090, 0.110)


DISCS = tuple(disc(diameter) for diameter in CIRCLES)


def made(x=CORE, y=CORE, outlines=DISCS):
    return rings(x, y, outlines, 1e-3, 3.5e-3)


def area_inside(plan, diameter):
    return plan.areas[np.hypot(*plan.centres) < diameter / 2].sum()


@pytest.mark.parametrize("halvings", [0, 1])
def test_nodes_lie_on_every_circle_all_round(halvings):
    """1e-15 m: round-off of one square root."""
    found = made()
    for _ in range(halvings):
        found = found.halved()
    plan = found.plan()
    around = 2 * (len(found.x_lines) + len(found.y_lines) - 2)
    for diameter in CIRCLES:
        assert (np.abs(np.hypot(*plan.points) - diameter / 2) < 1e-15).sum() == around


def test_cells_turn_left_meet_edge_to_edge_and_have_one_round_rim():
    plan = made().plan()
    assert (plan.areas > 0).all()
    ends = rim(plan.quads)
    assert np.hypot(*plan.points[:, ends]) == pytest.approx(0.055, rel=1e-12)
    nodes, count = np.unique(ends, return_counts=True)
    assert (count == 2).all()
    assert len(nodes) == ends.shape[1]


@pytest.mark.parametrize("refine", ["halved", "split"])
def test_the_area_of_a_disc_converges_at_second_order(refine):
    """Chords of a circle leave out (2 pi/n)^2/6 of it: a fourth at each halving, here to 1 %."""
    found = made()
    plans = [found.plan()]
    for _ in range(2):
        found = found.halved()
        plans.append(found.plan() if refine == "halved" else split(plans[-1], CIRCLES))
    for diameter in CIRCLES:
        whole = np.pi * diameter**2 / 4
        off = [1 - area_inside(plan, diameter) / whole for plan in plans]
        assert 0 < off[0] < 3e-3
        assert [off[0] / off[1], off[1] / off[2]] == pytest.approx([4, 4], rel=0.01)


@pytest.mark.parametrize(
    ("x", "y", "outlines", "sharpest", "widest"),
    [
        (1.0, 1.0, (disc(0.070), disc(0.110)), 45, 135.1),
        (1.0, 1.0, (disc(0.070), Outline(0.09, 0.09), disc(0.14)), 45, 135.1),
        (1.0, 1.0, (disc(0.070), Outline(0.09, 0.09), disc(0.14), Outline(0.16, 0.20)), 30, 150),
        (1.0, 0.25, (disc(0.070), disc(0.110)), 40, 140),
        (0.3, 0.3, (disc(0.070), disc(0.0705)), 45, 135.1),
    ],
)
def test_no_corner_is_sharp_or_flat(x, y, outlines, sharpest, widest):
    """45 and 135 degrees stand at the corners of a square core in a circle, by construction."""
    angle = corner_angles(made(x * CORE, y * CORE, outlines).plan())
    assert angle.sum(0) == pytest.approx(360)
    assert sharpest - 0.1 < angle.min()
    assert angle.max() < widest


def test_a_rectangle_round_a_circle_has_its_sides_and_corners_on_the_mesh():
    plan = made(outlines=(disc(0.07), Outline(0.09, 0.12))).plan()
    assert plan.areas.sum() == pytest.approx(0.09 * 0.12, rel=1e-12)
    corner = np.abs(plan.points.T) - [0.045, 0.06]
    assert (np.hypot(*corner.T) < 1e-12).sum() == 4


def test_outlines_that_do_not_lie_in_each_other_are_refused():
    with np.errstate(invalid="ignore"), pytest.raises(PhysicsError, match="inside the next"):
        made(outlines=(disc(0.09), disc(0.07))).plan()


def test_ring_cells_are_no_wider_than_asked_and_narrow_beside_the_circles():
    """1e-9: round-off.  Both rings outside the first circle are 10 mm wide."""
    for share in made().shares[1:]:
        sizes = np.diff(share) * 0.010
        assert sizes.max() <= 3.5e-3 * (1 + 1e-9)
        assert sizes[[0, -1]].max() <= 1e-3 * (1 + 1e-9)


def test_interpolation_is_exact_for_linear_fields_on_skewed_quads():
    """1e-12: Newton's method at round-off."""
    plan = made().plan()
    angle = np.random.default_rng(5).uniform(0, 2 * np.pi, 500)
    places = 0.0548 * np.sqrt(np.linspace(0, 1, 500)) * np.stack([np.cos(angle), np.sin(angle)])
    found = interpolation(plan, places) @ (3 + 200 * plan.points[0] - 100 * plan.points[1])
    assert found == pytest.approx(3 + 200 * places[0] - 100 * places[1], rel=1e-12)
    assert interpolation(plan, places).min() > -1e-12


def test_a_place_belongs_to_the_cell_around_it_and_none_lies_outside():
    plan = made().plan()
    assert cells_at(plan, plan.centres).tolist() == list(range(plan.quads.shape[1]))
    with pytest.raises(PhysicsError, match="x = 60, y = 0 mm lies outside"):
        cells_at(plan, np.array([[0.0, 0.06], [0.0, 0.0]]))


def test_splitting_keeps_area_and_nodes_where_there_is_no_circle():
    plan = made().plan()
    fine = split(plan)
    assert fine.quads.shape[1] == 4 * plan.quads.shape[1]
    assert fine.areas.sum() == pytest.approx(plan.areas.sum(), rel=1e-12)
    assert (fine.areas > 0).all()
    assert np.array_equal(fine.points[:, : plan.points.shape[1]], plan.points)
