"""The frame keeps its own temperature: the light membrane's swing stops at its rim."""

import pytest


def test_the_frame_does_not_take_the_membranes_swing(scanned):
    """A frame of 8 mm follows the beam far less than a membrane of 150 um (no outside source)."""
    swing = {part: t.swing_K for part, t in scanned.answer.temperature.items()}
    assert 0 <= swing["frame"] < 0.3 * swing["membrane"]


def test_a_clamped_mask_grows_with_its_mount_and_its_offset_says_so(scanned):
    """20 degC water and a measurement at 20 degC: no offset at all."""
    assert scanned.answer.placement.uniform_offset.mask_ppm == pytest.approx(0, abs=1e-9)
