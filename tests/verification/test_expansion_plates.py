"""Thin plates, laminates and membranes against plate theory, one cell a layer, 2 mm cells."""

import numpy as np
import pytest
from expansion_bodies import at_corners, body, curvature, grid, rim

from thermo.elastic import Held, Pins, cell_stress, expand

SIDE = 40e-3
PLAN = grid(np.linspace(-SIDE / 2, SIDE / 2, 21), np.linspace(-SIDE / 2, SIDE / 2, 21))


def no_rise(solid):
    return at_corners(solid, lambda x, y, z: 0 * x)


def middle_deflection(solid, found):
    return found.u[0, np.argmin(np.hypot(*solid.points)), 2]


@pytest.mark.parametrize("t", [500e-6, 100e-6, 20e-6])
def test_a_free_plate_bows_by_its_gradient_at_any_thickness(t):
    """TE-PLATE-GRAD, elementary plate theory: kappa = alpha dT/t.

    The check allows 1 %; the element holds this field exactly, so 1e-6 leaves room for round-off.
    """
    solid = body(PLAN, [0.0, t])
    found = expand(solid, at_corners(solid, lambda x, y, z: z / t), (Pins(0),))
    assert curvature(solid, found.u[0, :, 2], SIDE) == pytest.approx(-2.6e-6 / t, rel=1e-6)


def test_silicon_wafer_bow_of_one_kelvin():
    """TE-PLATE-GRAD: 525 um silicon, 1 K: kappa 0.00495238 1/m, 6.19047619 um over R = 50 mm."""
    solid = body(PLAN, [0.0, 525e-6])
    found = expand(solid, at_corners(solid, lambda x, y, z: z / 525e-6), (Pins(0),))
    kappa = -curvature(solid, found.u[0, :, 2], SIDE)
    assert kappa * 0.05**2 / 2 == pytest.approx(6.19047619e-6, rel=1e-6)


def test_a_clamped_plate_with_a_gradient_stays_flat_and_carries_the_bending_stress():
    """TE-PLATE-GRAD, elementary: sigma = E alpha dT/(2 (1 - nu)) = 0.234722 MPa; in the space."""
    t = 525e-6
    solid = body(PLAN, [0.0, t])
    rise = at_corners(solid, lambda x, y, z: z / t - 0.5)
    everywhere = np.ones(solid.points.shape[1], bool)
    clamps = (rim(solid, "xy"), Held(everywhere, "z", (0,)))
    sigma = cell_stress(solid, expand(solid, rise, clamps).u, rise)
    middle = np.argmin(np.hypot(*solid.corners.mean(axis=1).T))
    assert sigma[0, middle, [0, 2], 0] == pytest.approx([0.234722e6, -0.234722e6], rel=1e-5)


def test_a_strip_of_two_metals_curls_as_timoshenko_found():
    """TE-BIMETAL, S. Timoshenko, J. Opt. Soc. Am. 11 (1925) 233: kappa h/(d alpha dT) = 1.5.

    1 %: the free ends disturb the curvature over about one thickness.
    """
    h, d_alpha = 1e-3, 10e-6
    plan = grid(np.linspace(-20e-3, 20e-3, 21), np.linspace(-2e-3, 2e-3, 3))
    solid = body(plan, [0.0, h / 2, h], E=100e9, nu=0.3, alpha=[12e-6, 12e-6 + d_alpha])
    found = expand(solid, at_corners(solid, lambda x, y, z: 1 + 0 * x), (Pins(0),))
    x, w = solid.points[0], found.u[0, :, 2]
    kappa = -2 * np.polyfit(x[abs(x) < 10e-3], w[abs(x) < 10e-3], 2)[0]
    assert kappa * h / d_alpha == pytest.approx(1.5, rel=0.01)


@pytest.mark.parametrize(
    ("film", "laminate", "over_stoney"),
    [(0.5e-6, 1.876854707e-5, 1 / 0.99915), (600e-6, 0.0327826916, 1 / 0.6864)],
)
def test_a_resist_film_bows_its_wafer_as_the_full_laminate_and_not_as_stoney(
    film, laminate, over_stoney
):
    """TE-STONEY-LIMIT: Timoshenko (1925) with biaxial moduli; thin limit G. G. Stoney (1909).

    PMMA on 525 um silicon, +1 K. 1 %: free edges. Stoney must come out 31 % low at 600 um.
    """
    wafer = 525e-6
    solid = body(
        PLAN, [0.0, film, film + wafer], E=[3e9, 130e9], nu=[0.35, 0.28], alpha=[70e-6, 2.6e-6]
    )
    found = expand(solid, at_corners(solid, lambda x, y, z: 1 + 0 * x), (Pins(2),))
    kappa = curvature(solid, found.u[2, :, 2], SIDE / 4)  # film on the lower face: edges go to +z
    stoney = 6 * (3e9 / 0.65) * film * (70e-6 - 2.6e-6) / (130e9 / 0.72 * wafer**2)
    assert kappa == pytest.approx(laminate, rel=0.01)
    assert kappa / stoney == pytest.approx(over_stoney, rel=0.01)


@pytest.mark.parametrize("t", [500e-6, 200e-6, 50e-6])
def test_a_clamped_square_plate_sags_under_pressure(t):
    """TE-PLATE-P, Timoshenko & Woinowsky-Krieger (from memory): w0 = 0.0012653 q L4/D.

    1 %: 20 cells a side are 0.2 % off; shear adds 0.1 % at 500 um.
    """
    solid = body(PLAN, [0.0, t])
    found = expand(solid, no_rise(solid), (rim(solid),), pressure=1.0)
    D = 130e9 * t**3 / (12 * (1 - 0.28**2))
    assert middle_deflection(solid, found) == pytest.approx(0.0012653 * SIDE**4 / D, rel=0.01)


@pytest.mark.parametrize("side_cells", [10, 20])
def test_a_stretched_membrane_sags_under_pressure(side_cells):
    """TE-MEMBRANE-P, Poisson series on the square: w0 = 0.0736714 p L2/(s0 t).

    2 um, 100 MPa, clamped. 1 %: 10 cells a side are 0.8 % off, 20 are 0.2 %.
    """
    t, tension = 2e-6, 100e6
    x = np.linspace(-SIDE / 2, SIDE / 2, side_cells + 1)
    solid = body(grid(x, x), [0.0, t], E=300e9, nu=0.24, alpha=2.3e-6, tension=tension)
    found = expand(solid, no_rise(solid), (rim(solid),), pressure=1.0)
    w0 = 0.0736714 * SIDE**2 / (tension * t)
    assert middle_deflection(solid, found) == pytest.approx(w0, rel=0.01)
    assert found.reaction[..., 2].sum() == pytest.approx(-(SIDE**2), rel=1e-9)
