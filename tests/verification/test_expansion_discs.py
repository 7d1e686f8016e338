"""Discs with an uneven rise, on the curved cells of a round plan."""

import numpy as np
import pytest
from expansion_bodies import at_corners, body, disc

from thermo.elastic import Held, Pins, cell_stress, expand


def radial(solid, found):
    """Displacement along the radius, m, and the radius, m, both of shape (n,)."""
    r = np.hypot(*solid.points)
    return (found.u[0, :, :2].T * solid.points).sum(axis=0) / np.maximum(r, 1e-12), r


def test_a_disc_hot_in_the_middle_has_the_textbook_stress():
    """TE-DISC-T, Timoshenko & Goodier, art. 150 (from memory), T = T0 (1 - r2/R2), free rim.

    Sum of the two plane stresses -E alpha T0 (1 - 2 r2/R2)/2, rim displacement alpha T0 R/2.
    0.5 % of E alpha T0 with 48 cells across; measured 0.35 % in the middle, 0.1 % at the rim.
    """
    R, T0, E, alpha = 40e-3, 10.0, 270e9, 3e-6
    solid = body(disc(R, 16), [0.0, 100e-6], E=E, nu=0.25, alpha=alpha)
    rise = at_corners(solid, lambda x, y, z: T0 * (1 - (x**2 + y**2) / R**2))
    found = expand(solid, rise, (Pins(0),))
    u, r = radial(solid, found)
    sigma = cell_stress(solid, found.u, rise)[0, :, 1]
    r_cell = np.hypot(*solid.corners.mean(axis=1).T)
    exact = -E * alpha * T0 * (1 - 2 * r_cell**2 / R**2) / 2
    assert sigma[:, 0] + sigma[:, 1] == pytest.approx(exact, abs=5e-3 * E * alpha * T0)
    assert u[np.isclose(r, R)] == pytest.approx(np.full(64, alpha * T0 * R / 2), rel=5e-3)


@pytest.mark.parametrize(("rim", "largest"), [("free", 147.12e-9), ("clamped", 117.19e-9)])
def test_a_hot_spot_on_a_disc_pushes_outwards_as_the_quadrature_says(rim, largest):
    """TE-GAUSS-DISC, Timoshenko & Goodier, plane stress (section from memory), by quadrature.

    10 K exp(-r2/2 s2), s = 8 mm, R = 40 mm; 1 % with cells of s/4.
    """
    R, s = 40e-3, 8e-3
    solid = body(disc(R, 14), [0.0, 100e-6], E=270e9, nu=0.25, alpha=3e-6)
    rise = at_corners(solid, lambda x, y, z: 10 * np.exp(-(x**2 + y**2) / (2 * s**2)))
    edge = np.isclose(np.hypot(*solid.points), R)
    supports = (Pins(0),) if rim == "free" else (Held(edge, "xyz"),)
    u, _ = radial(solid, expand(solid, rise, supports))
    assert u.max() == pytest.approx(largest, rel=0.01)
