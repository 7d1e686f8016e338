"""Manufactured thermoelastic solution on the unit cube: the observed order of convergence."""

import numpy as np
from expansion_bodies import at_corners, at_nodes, body, grid

from thermo.elastic import Held, expand

E, NU, ALPHA, T0 = 1.0, 0.3, 1e-3, 100.0  # thermal strain of the order of the others
MU = E / (2 * (1 + NU))
LAM = E * NU / ((1 + NU) * (1 - 2 * NU))
GAUSS = np.array([0.5 - 1 / np.sqrt(12), 0.5 + 1 / np.sqrt(12)])


def exact(x, y, z):
    return np.stack([np.sin(np.pi * x) * y, x**2 * z, np.cos(y) * z**2], axis=-1)


def rise(x, y, z):
    return T0 * np.sin(np.pi * x) * z


def body_force(x, y, z):
    """b = (3 lam + 2 mu) alpha grad T - (lam + mu) grad div u - mu lap u, worked out by hand."""
    s, c = np.sin(np.pi * x), np.cos(np.pi * x)
    grad_div = np.stack(
        [-(np.pi**2) * s * y, np.pi * c - 2 * z * np.sin(y), 2 * np.cos(y)], axis=-1
    )
    lap = np.stack([-(np.pi**2) * s * y, 2 * z, (2 - z**2) * np.cos(y)], axis=-1)
    grad_T = T0 * np.stack([np.pi * c * z, 0 * x, s], axis=-1)
    return (3 * LAM + 2 * MU) * ALPHA * grad_T - (LAM + MU) * grad_div - MU * lap


def error(n):
    """L2 norm of the error of the trilinear field on n3 cells, by 2 x 2 x 2 Gauss points."""
    x = np.linspace(0, 1, n + 1)
    solid = body(grid(x, x), x, E=E, nu=NU, alpha=ALPHA)
    u = at_nodes(solid, exact)
    border = (np.isclose(solid.points, 0) | np.isclose(solid.points, 1)).any(axis=0)
    clamps = (
        Held(border, "xyz", None, u),
        Held(np.ones_like(border), "xyz", (0, n), u),
    )
    found = expand(solid, at_corners(solid, rise), clamps, body_force=at_corners(solid, body_force))
    lower, upper = found.u[:-1][:, solid.quads.T], found.u[1:][:, solid.quads.T]
    total = 0.0
    for s in GAUSS:
        for p in GAUSS:
            for q in GAUSS:
                N = np.array([(1 - p) * (1 - q), p * (1 - q), p * q, (1 - p) * q])
                h = np.einsum("a,kmai->kmi", N, (1 - s) * lower + s * upper)
                place = np.einsum("a,mai->mi", N, solid.corners)
                z = (1 - s) * solid.levels[:-1] + s * solid.levels[1:]
                true = np.stack([exact(*place.T, np.full(len(place), height)) for height in z])
                total += ((h - true) ** 2).sum() / (8 * n**3)
    return np.sqrt(total)


def test_the_displacement_converges_with_the_square_of_the_cell():
    """MMS-THERMOELASTIC: order 2 in L2 for a trilinear displacement.

    0.1: at 8 and 16 cells a side the higher terms still change the order by a few hundredths.
    """
    coarse, middle, fine = error(4), error(8), error(16)
    assert abs(np.log2(middle / fine) - 2) < 0.1
    assert abs(np.log2(coarse / middle) - 2) < 0.2
