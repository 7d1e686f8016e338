"""Absorbed power in cells that are no rectangles: exact in total, cut right at every step."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from thermo.beam import STILL, BendingMagnet, Motion, white_beam
from thermo.beam.motion import mean_over_scan
from thermo.beam.power import _lit_widths, absorbed_power, column_profiles
from thermo.case import read_case
from thermo.case.pattern import Outline, Pattern, disc
from thermo.case.stack import build_stack
from thermo.errors import SolveError
from thermo.mesh import Plan, layer_presence, lines_between, rectangle_plan, rings, split

CASE = read_case(Path(__file__).parents[2] / "cases" / "round-wafer.toml")
STACK = build_stack(CASE)
SOURCE = BendingMagnet(CASE.ring.energy.value, CASE.ring.field.value, CASE.ring.current.value)
FILTERS = [(f.material, CASE.materials[f.material], f.thickness.value) for f in CASE.beam.filters]
SOLIDS = [layer.material for layer in STACK.layers if layer.material.kind == "solid"]
BEAM = white_beam(SOURCE, CASE.beam.distance.value, FILTERS, SOLIDS)
MOTION = Motion(0.058, 0.025, 0.8)
CUTS = [np.array([0, layer.thickness]) for layer in STACK.layers]
LINES = lines_between(np.array([-0.022, 0.0, 0.022]), 1e-3, 3.5e-3)
WAFER = rings(LINES, LINES, [disc(d) for d in (0.07, 0.09, 0.1, 0.11)], 1e-3, 3.5e-3)


def power(plan, motion=MOTION, stack=STACK):
    places = STILL if motion is None else motion.places(BEAM.fwhm / 7)
    present = layer_presence(stack, plan)
    return absorbed_power(stack, BEAM, places, CUTS, present, plan.corners)


def turned(plan, degrees):
    angle = np.radians(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return Plan(turn @ plan.points, plan.quads)


@pytest.mark.parametrize("motion", [MOTION, None])
@pytest.mark.parametrize("degrees", [0, 17, 45])
def test_the_books_close_and_all_of_the_beam_is_met_however_the_cells_lie(degrees, motion):
    """1e-9: round-off and splines.  The beam stays on the holder: nothing goes beside."""
    found = power(turned(WAFER.plan(), degrees), motion)
    assert found.balance < 1e-9
    assert abs(found.beside) < 1e-9 * found.incident
    assert found.heat.min() > -1e-9 * found.heat.max()


def test_heat_by_layer_hardly_depends_on_how_the_cells_lie():
    """0.1 % of the incident power: cells of turned plans straddle steps of parts, not of light."""
    first, fine = WAFER.plan(), WAFER.halved().plan()
    straight = power(first)
    for other in (power(turned(first, 45)), power(fine), power(split(first, (0.07, 0.09, 0.1)))):
        apart = other.heat.sum(1) - straight.heat.sum(1)
        assert np.abs(apart).max() < 1e-3 * straight.incident


def test_rectangles_take_exactly_the_product_of_lit_width_and_strip():
    """1e-12: the formula of a rectangle, written out; the pattern's steps lie on lines."""
    plan = rectangle_plan(np.linspace(-0.03, 0.03, 31), np.linspace(-0.033, 0.033, 13))
    pattern = Pattern(Outline(0.044, 0.044), ((0.3,),), STACK.pattern.clear, 0.0)
    found = power(plan, stack=replace(STACK, pattern=pattern))
    present = layer_presence(STACK, plan)
    cell = next(
        c for c in range(plan.quads.shape[1]) if plan.boxes[0, c] < -0.025 < plan.boxes[1, c]
    )
    x0, x1, y0, y1 = plan.boxes[:, cell]
    lit = min(x1, 0.025) - max(x0, -0.025)
    heat, _ = column_profiles(STACK, BEAM, present[:, cell], False, CUTS)
    mean = mean_over_scan(BEAM.height, heat, MOTION.places(BEAM.fwhm / 7), np.array([y0, y1]))
    assert found.heat[:, cell] == pytest.approx(lit * mean[:, 0], rel=1e-12, abs=1e-18)


def test_the_core_of_a_ring_plan_takes_what_the_same_rectangles_take():
    """1e-9: both are whole strips, cut in more places beside rings."""
    core = rectangle_plan(LINES, LINES)
    count = core.quads.shape[1]
    found, alone = power(WAFER.plan()).heat[:, :count], power(core).heat
    assert found == pytest.approx(alone, rel=1e-9, abs=1e-12 * alone.max())


def test_lit_width_and_pattern_are_cut_exactly_in_any_quad():
    """Area of a square standing on its corner: half of it beyond the lit edge, by symmetry."""
    edge = STACK.lit_width / 2
    square = edge * np.array([1.0, 0.0])[:, None] + 1e-3 * np.array([[1, 0, -1, 0], [0, 1, 0, -1]])
    rows = np.linspace(-2e-3, 2e-3, 9)
    for shift, share in ((0.0, 0.5), (1e-3, 0.0), (-1e-3, 1.0), (0.5e-3, 0.125)):
        corners = (square + np.array([[shift], [0]]))[:, :, None]
        open_, dark = _lit_widths(STACK, rows, corners)
        area = float((open_ @ np.diff(rows)).sum())
        assert area == pytest.approx(share * 2e-6, abs=1e-15)
        assert float(dark.sum()) == pytest.approx(0, abs=1e-12)  # no metal beyond the field
    open_, dark = _lit_widths(STACK, rows, (square - edge * np.array([[1.0], [0]]))[:, :, None])
    (a, b), (c, d) = STACK.pattern.rows
    assert float((dark @ np.diff(rows)).sum()) == pytest.approx((a + b + c + d) / 4 * 2e-6)
    assert float((open_ @ np.diff(rows)).sum()) == pytest.approx((4 - a - b - c - d) / 4 * 2e-6)


def test_what_cells_do_not_cover_counts_as_beside():
    """Half a wafer: half of the power; 1e-9, symmetric but for round-off."""
    whole = WAFER.plan()
    right = Plan(whole.points, whole.quads[:, whole.centres[0] > 0])
    found = power(right)
    assert found.beside == pytest.approx(found.incident / 2, rel=1e-9)
    assert found.balance < 1e-9


def test_cells_that_overlap_are_refused():
    plan = WAFER.plan()
    twice = Plan(plan.points, np.hstack([plan.quads, plan.quads]))
    with pytest.raises(SolveError, match="overlap: they meet 2 times the beam"):
        power(twice)
