"""Mesh lines: through all steps, sizes kept, and nothing doubled."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thermo.errors import PhysicsError
from thermo.mesh import from_face, graded, halved, lines_between, merged, rectangle_plan


@settings(max_examples=200, deadline=None)
@given(
    st.floats(1e-5, 0.2),
    st.floats(1e-4, 5e-3),
    st.floats(1.0, 10.0),
)
def test_graded_lines_rise_from_start_to_stop_in_cells_no_larger_than_asked(length, first, times):
    """Half a cell of stretch at most: both ends must be met with whole cells."""
    largest = first * times
    lines = graded(-0.01, -0.01 + length, first, largest)
    sizes = np.diff(lines)
    assert lines[0] == -0.01
    assert lines[-1] == -0.01 + length
    assert (sizes > 0).all()
    assert sizes.max() <= largest * (1 + 1e-6)
    assert sizes == pytest.approx(sizes[::-1], rel=1e-6)
    assert sizes[0] <= first * (1 + 1e-6)


def test_graded_cells_grow_by_the_given_factor_until_the_largest():
    sizes = np.diff(graded(0, 1, 0.01, 0.1, growth=1.5))
    ratios = sizes[1 : len(sizes) // 2] / sizes[: len(sizes) // 2 - 1]
    assert ratios.max() == pytest.approx(1.5, rel=1e-6)
    assert ratios.min() >= 1 - 1e-9


def test_one_cell_is_enough_where_it_is_small_enough():
    assert graded(0, 1e-3, 1e-3, 3e-3).tolist() == [0, 1e-3]


def test_lines_run_through_every_break():
    breaks = [0.03, -0.02, 0.0, 0.0113, 0.0113]
    lines = lines_between(breaks, 1e-3, 4e-3)
    assert set(breaks) <= set(lines.tolist())
    assert (np.diff(lines) > 0).all()
    assert np.diff(lines).max() <= 4e-3 * (1 + 1e-9)


def test_breaks_closer_than_a_micrometre_are_one():
    assert merged([1e-3, 0.0, 1.0005e-3]).tolist() == [0.0, 1e-3]
    assert len(lines_between([0, 1e-7, 1e-3], 1e-3, 1e-3)) == 2


def test_halving_keeps_every_line_and_adds_every_middle():
    lines = np.array([0.0, 1.0, 4.0])
    assert halved(lines).tolist() == [0.0, 0.5, 1.0, 2.5, 4.0]


def test_layer_cuts_grow_away_from_the_lit_face():
    cuts = from_face(1.4e-3, 8, 1.25)
    assert (cuts[0], cuts[-1], len(cuts)) == (0, 1.4e-3, 9)
    sizes = np.diff(cuts)
    assert sizes[1:] / sizes[:-1] == pytest.approx(1.25, rel=1e-9)


def test_plan_of_rectangles_has_x_fastest_and_turns_left():
    plan = rectangle_plan(np.array([0.0, 1.0, 3.0]), np.array([0.0, 2.0]))
    assert plan.points[0].tolist() == [0, 1, 3, 0, 1, 3]
    assert plan.areas.tolist() == [2, 4]  # positive: counter-clockwise
    assert plan.centres.tolist() == [[0.5, 2.0], [1.0, 1.0]]
    assert plan.boxes.T.tolist() == [[0, 1, 0, 2], [1, 3, 0, 2]]


@pytest.mark.parametrize("lines", [[0.0, 1.0, 1.0], [0.0, np.nan], [1.0, 0.0]])
def test_lines_that_do_not_rise_are_refused(lines):
    with pytest.raises(PhysicsError, match="plan lines in y must increase"):
        rectangle_plan(np.array([0.0, 1.0]), np.array(lines))
