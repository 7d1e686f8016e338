"""What the joint does to magnification: a free wafer, a glued one, and the shear lag between."""

import numpy as np
import pytest
from expansion_bodies import at_corners, body, grid

from thermo.elastic import FaceSprings, Held, Pins, expand

ALPHA, RISE = 2.6e-6, 10.0


def magnification(solid, u):
    """Isotropic scale of the upper resist face over the inner 80 x 80 mm, -."""
    x = solid.points
    inner = (np.abs(x) < 40.1e-3).all(axis=0)
    v = u[0, inner, :2].T - u[0, inner, :2].T.mean(axis=1, keepdims=True)
    return (v * x[:, inner]).sum() / (x[:, inner] ** 2).sum()


def test_glue_takes_nearly_all_magnification_of_a_thin_wafer_away():
    """525 um silicon, 100 mm, 10 K: free 26 ppm (elementary); glued on a cold base > 20 x less.

    Glue invented: 50 um with G = 1 GPa, E_oed = 4 GPa. Its shear lag of 2 mm leaves e-5 inside.
    """
    x = np.linspace(-50e-3, 50e-3, 41)
    solid = body(grid(x, x), [0.0, 525e-6], alpha=ALPHA)
    rise = at_corners(solid, lambda x, y, z: np.full_like(x, RISE))
    free = magnification(solid, expand(solid, rise, (Pins(1),)).u)
    glued = magnification(solid, expand(solid, rise, (FaceSprings(1, 1e9 / 50e-6, 4e9 / 50e-6),)).u)
    lying = (FaceSprings(1, 0.0, 4e9 / 50e-6), Pins(1, along_beam=False))
    assert free == pytest.approx(ALPHA * RISE, rel=1e-9)
    assert abs(glued) < free / 20
    assert magnification(solid, expand(solid, rise, lying).u) == pytest.approx(free, rel=1e-6)


def test_a_glued_strip_ends_where_the_shear_lag_says():
    """Shear lag (Volkersen type, from memory), plane strain in y, one face kept flat:

        u(x) = (1 + nu) alpha dT l sinh(x/l)/cosh(L/l),   l2 = E t/((1 - nu2) kt)

    0.5 %: cells of l/10; the strip is thin against l, so its own shear does not count.
    """
    E, nu, t, L, kt = 130e9, 0.28, 50e-6, 20e-3, 1e11
    lag = np.sqrt(E * t / ((1 - nu**2) * kt))
    solid = body(grid(np.linspace(-L, L, 51), np.array([0.0, 1e-3])), [0.0, t], E, nu, ALPHA)
    rise = at_corners(solid, lambda x, y, z: np.full_like(x, RISE))
    everywhere = np.ones(solid.points.shape[1], bool)
    found = expand(
        solid, rise, (FaceSprings(1, kt, 0.0), Held(everywhere, "yz", (1,)), Held(everywhere, "y"))
    )
    x = solid.points[0]
    exact = (1 + nu) * ALPHA * RISE * lag * np.sinh(x / lag) / np.cosh(L / lag)
    assert found.u[1, :, 0] == pytest.approx(exact, abs=5e-3 * np.abs(exact).max())
