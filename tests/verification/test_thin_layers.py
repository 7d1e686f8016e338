"""Thin layers do not lock: cells from as wide as the layer is thick to a thousand times wider.

Deflection over theory less 1, one cell through each layer, measured:

    cell width / thickness          1        3.3      17       42       170      830
    free plate, gradient          round-off at all
    clamped disc, pressure     -0.005   -0.004   -0.004
    clamped disc, tension                                      0.001    0.004    0.000
"""

import numpy as np
import pytest
from expansion_bodies import at_corners, body, curvature, disc, grid
from scipy.special import ive

from thermo.elastic import Held, Pins, expand

SIDE, CELLS = 40e-3, 20
PLAN = grid(*[np.linspace(-SIDE / 2, SIDE / 2, CELLS + 1)] * 2)
R, ACROSS = 20e-3, 12  # disc: 12 cells along the radius


@pytest.mark.parametrize("ratio", [1, 10, 100, 1000])
def test_a_free_plate_bows_by_its_gradient_at_any_shape_of_cell(ratio):
    """TE-PLATE-GRAD, elementary: kappa = alpha dT/t; in the space of the element, round-off alone.

    Six cells a side: on three pins a foil 10 000 times wider than thick runs out of digits, and the
    solve refuses it.
    """
    x = np.linspace(-6e-3, 6e-3, 7)
    t = (x[1] - x[0]) / ratio
    solid = body(grid(x, x), [0.0, t])
    found = expand(solid, at_corners(solid, lambda x, y, z: z / t), (Pins(0),))
    assert curvature(solid, found.u[0, :, 2], 1.0) == pytest.approx(-2.6e-6 / t, rel=1e-6)


def theory(t, tension, E=300e9, nu=0.24):
    """Deflection of a clamped disc under 1 Pa, m.

    Without tension R4/(64 D) + R2/(4 k G t), k = 5/6, with N = s0 t
    R2/(4 N) [1 - 2 (I0(b) - 1)/(b I1(b))], b = R sqrt(N/D); S. Timoshenko and S.
    Woinowsky-Krieger, E. Reissner for the shear (from memory).
    """
    D, N = E * t**3 / (12 * (1 - nu**2)), tension * t
    if not tension:
        shear = 5 / 6 * E / (2 * (1 + nu)) * t
        return R**4 / (64 * D) + R**2 / (4 * shear)
    b = R * np.sqrt(N / D)
    return R**2 / (4 * N) * (1 - 2 * (ive(0, b) - np.exp(-b)) / (b * ive(1, b)))


@pytest.mark.parametrize(
    ("t", "tension"),
    [(2e-6, 100e6), (10e-6, 100e6), (40e-6, 100e6), (100e-6, 0), (500e-6, 0), (R / ACROSS, 0)],
)
def test_a_clamped_disc_sags_under_pressure_at_any_thickness(t, tension):
    """TE-PLATE-P and TE-MEMBRANE-P on curved cells, from a stretched foil to a thick plate.

    1 %: 12 cells along the radius are 0.5 % off, with their square.
    """
    solid = body(disc(R, ACROSS), [0.0, t], E=300e9, nu=0.24, tension=tension)
    edge = np.isclose(np.hypot(*solid.points), R)
    clamps = (Held(edge, "xy"), Held(edge, "z", (0,)))
    found = expand(solid, at_corners(solid, lambda x, y, z: 0 * x), clamps, pressure=1.0)
    middle = found.u[0, np.argmin(np.hypot(*solid.points)), 2]
    assert middle == pytest.approx(theory(t, tension), rel=0.01)


def laminate(E, nu, alpha, t):
    """Curvature per kelvin of two free layers, 1/m: force and moment vanish.

    S. Timoshenko, J. Opt. Soc. Am. 11 (1925) 233, with biaxial moduli E/(1 - nu).
    """
    M, t, alpha = np.array(E) / (1 - np.array(nu)), np.array(t), np.array(alpha)
    z = np.array([t[0] / 2, t[0] + t[1] / 2])
    A, B, D = (M * t).sum(), (M * t * z).sum(), (M * t * (z**2 + t**2 / 12)).sum()
    return np.linalg.solve([[A, B], [B, D]], [(M * t * alpha).sum(), (M * t * alpha * z).sum()])[1]


@pytest.mark.parametrize(
    ("E", "nu", "alpha", "t"),
    [
        ((300e9, 75e9), (0.08, 0.42), (11.3e-6, 14.2e-6), (0.5e-3, 15e-6)),
        ((3e9, 130e9), (0.35, 0.28), (70e-6, 2.6e-6), (0.6e-3, 525e-6)),
        ((3e9, 130e9), (0.35, 0.28), (70e-6, 2.6e-6), (2e-6, 525e-6)),
        ((11e9, 75e9), (0.2, 0.42), (7e-6, 14.2e-6), (150e-6, 15e-6)),
    ],
    ids=["gold on beryllium", "thick resist", "thin resist", "gold on graphite"],
)
def test_two_layers_bow_as_the_laminate_formula_says(E, nu, alpha, t):
    """TE-LAMINATE: even rise of 1 K, free. 1 %: the free edges disturb it over a thickness."""
    solid = body(PLAN, np.cumsum([0.0, *t]), E=E, nu=nu, alpha=alpha)
    found = expand(solid, at_corners(solid, lambda x, y, z: 1 + 0 * x), (Pins(0),))
    kappa = -curvature(solid, found.u[0, :, 2], SIDE / 4)  # grown upper face: edges go to -z
    assert kappa == pytest.approx(laminate(E, nu, alpha, t), rel=0.01)
