"""The frame keeps its own temperature: the light membrane's swing stops at its rim."""

import numpy as np
import pytest

from thermo.answer.state import half_heights
from thermo.case.pattern import Outline, disc
from thermo.heat import cold_edge


def test_the_frame_does_not_take_the_membranes_swing(scanned):
    """A frame of 8 mm follows the beam far less than a membrane of 150 um (no outside source)."""
    swing = {part: t.swing_K for part, t in scanned.answer.temperature.items()}
    assert 0 <= swing["frame"] < 0.3 * swing["membrane"]


def test_a_clamped_mask_grows_with_its_mount_and_its_offset_says_so(scanned):
    """20 degC water and a measurement at 20 degC: no offset at all."""
    assert scanned.answer.placement.uniform_offset.mask_ppm == pytest.approx(0, abs=1e-9)


def test_a_cold_edge_takes_all_at_the_edge_and_nothing_far_away():
    """Limits of share = 1 - exp(-2 r d); behind the stripe it reaches farther than ahead of it."""
    away = np.array([0.0, 2e-3, 1.0])
    edge = cold_edge(np.ones(1, bool), 0.0144, 250.0, 700.0, 20e-3, away)
    assert edge.front[[0, 2]] == pytest.approx([0, 1], abs=1e-12)
    assert edge.trail[[0, 2]] == pytest.approx([0, 1], abs=1e-12)
    assert edge.trail[1] < edge.front[1]


def test_a_cold_edge_ahead_of_a_standing_line_is_its_image():
    """v = 0: a line source before a wall at T = 0 keeps 1 - exp(-2 d sqrt(h/kt)) of its own rise.

    Method of images for the fin equation, H. S. Carslaw and J. C. Jaeger, from memory.
    """
    kt, h, d = 0.0144, 700.0, 3e-3
    edge = cold_edge(np.ones(1, bool), kt, 250.0, h, 0.0, np.array([d]))
    assert edge.front[0] == pytest.approx(1 - np.exp(-2 * d * np.sqrt(h / kt)), rel=1e-12)
    assert edge.trail[0] == pytest.approx(edge.front[0], rel=1e-12)


def test_the_frame_is_as_far_as_the_opening_is_high_at_each_place():
    """A round opening in 8 steps of its radius: within half a step of the chord."""
    x = np.linspace(-34e-3, 34e-3, 69)
    assert (half_heights(Outline(60e-3, 50e-3), x) == 25e-3).all()
    chord = np.sqrt(35e-3**2 - x**2)
    assert np.abs(half_heights(disc(70e-3), x) - chord).max() <= 35e-3 / 16 * (1 + 1e-9)
