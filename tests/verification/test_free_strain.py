"""Shrinkage and swelling of cells: films on rigid bases, bows, and the same growth by heat."""

import dataclasses

import numpy as np
import pytest
from expansion_bodies import at_corners, body, curvature, grid

from thermo.elastic import Held, Pins, cell_stress, expand, hold
from thermo.errors import PhysicsError

SHRINKAGE = -2e-3
X = np.linspace(-10e-3, 10e-3, 21)


def none(solid):
    return at_corners(solid, lambda x, y, z: 0 * x)


def test_a_film_on_a_rigid_base_lifts_by_its_strain_and_what_it_may_not_spread():
    """Confined in the plane, elementary: u_z = (1 + nu)/(1 - nu) e h, sigma = -E e/(1 - nu).

    In the middle, 10 thicknesses from the free edge: 1e-4. alpha is zero: the strain loads alone.
    """
    h, E, nu = 1e-3, 3e9, 0.35
    solid = body(grid(X, X), h * np.linspace(0, 1, 4), E=E, nu=nu, alpha=0.0)
    strain = np.full(solid.active.shape, SHRINKAGE)
    base = Held(np.ones(solid.points.shape[1], bool), "xyz", (0,))
    found = expand(solid, none(solid), (base,), free_strain=strain)
    middle = np.argmin(np.hypot(*solid.points))
    lift = (1 + nu) / (1 - nu) * SHRINKAGE * h
    assert found.u[-1, middle, 2] == pytest.approx(lift, rel=1e-4)
    sigma = cell_stress(solid, found.u, none(solid), strain)
    cell = np.argmin(np.hypot(*solid.corners.mean(axis=1).T))
    assert sigma[:, cell, 1, :2] == pytest.approx(
        np.full((3, 2), -E * SHRINKAGE / (1 - nu)), rel=1e-3
    )
    assert np.abs(sigma[:, cell, 1, 2]).max() < 1e-3 * E * abs(SHRINKAGE)


def test_a_shrinking_resist_bows_its_wafer_as_the_laminate():
    """S. Timoshenko, J. Opt. Soc. Am. 11 (1925) 233 (from memory), with biaxial moduli M.

    kappa = 6 M1 M2 h1 h2 (h1 + h2) e/(M1^2 h1^4 + M2^2 h2^4 + 2 M1 M2 h1 h2 (2 h1^2 + 3 h1 h2
    + 2 h2^2)); 1 %: free edges.
    """
    h, M = np.array([600e-6, 525e-6]), np.array([3e9 / 0.65, 130e9 / 0.72])
    x = np.linspace(-20e-3, 20e-3, 21)
    solid = body(grid(x, x), [0.0, h[0], h.sum()], E=[3e9, 130e9], nu=[0.35, 0.28], alpha=0.0)
    strain = np.where(np.arange(2)[:, None] == 0, SHRINKAGE, np.zeros(solid.active.shape))
    found = expand(solid, none(solid), (Pins(2),), free_strain=strain)
    both = M.prod() * h.prod()
    weight = (M**2 * h**4).sum() + 2 * both * (2 * h[0] ** 2 + 3 * h.prod() + 2 * h[1] ** 2)
    kappa = 6 * both * h.sum() * SHRINKAGE / weight  # film on the lower face: grown, edges go to +z
    assert curvature(solid, found.u[2, :, 2], 10e-3) == pytest.approx(kappa, rel=0.01)


def test_a_strain_is_the_same_load_as_a_rise_that_gives_it():
    """By definition, alpha T = e in every cell, voids unread; round-off, also added to a rise."""
    solid = body(grid(X[::4], X[::4]), [0.0, 1e-3, 1.5e-3], alpha=[2.6e-6, 70e-6])
    active = solid.active.copy()
    active[1, :5] = False
    solid = dataclasses.replace(solid, active=active)
    held = hold(solid, (Pins(0),))
    T = np.random.default_rng(0).uniform(-5, 5, solid.active.shape)
    rise = np.broadcast_to(T[..., None, None], (*T.shape, 2, 4))
    strain = np.where(active, solid.alpha * T, np.nan)
    warm, swollen = held.expand(rise), held.expand(none(solid), free_strain=strain)
    scale = np.nanmax(np.abs(warm.u))
    assert swollen.u == pytest.approx(warm.u, abs=1e-12 * scale, nan_ok=True)
    more = held.expand(rise, free_strain=2 * strain)
    assert more.u == pytest.approx(3 * warm.u, abs=1e-11 * scale, nan_ok=True)
    sigma = cell_stress(solid, warm.u, rise)
    same = cell_stress(solid, swollen.u, none(solid), strain)
    assert same == pytest.approx(sigma, abs=1e-9 * np.nanmax(np.abs(sigma)), nan_ok=True)


def test_many_loads_keep_their_own_strain_and_stress():
    """Forty loads, more than one block of the solve, against three of them alone; round-off."""
    solid = body(grid(X[::5], X[::5]), [0.0, 1e-3, 1.5e-3])
    held, random = hold(solid, (Pins(0),)), np.random.default_rng(1)
    rises = random.uniform(0, 5, (40, *solid.active.shape, 2, 4))
    strains = random.uniform(0, 1e-5, (40, *solid.active.shape))
    found = held.expand(rises, free_strain=strains)
    sigma = cell_stress(solid, found.u, rises, strains)
    for i in (0, 31, 39):
        alone = held.expand(rises[i], free_strain=strains[i]).u
        assert found.u[i] == pytest.approx(alone, abs=1e-9 * np.abs(alone).max())
        own = cell_stress(solid, found.u[i], rises[i], strains[i])
        assert sigma[i] == pytest.approx(own, abs=1e-9 * np.abs(own).max())
    shared = held.expand(rises[:2], free_strain=strains[0]).u
    assert shared[0] == pytest.approx(found.u[0], abs=1e-9 * np.abs(found.u[0]).max())


def test_another_expansion_serves_the_same_factor_also_from_zero():
    """`again` against a body held anew; alpha may have been zero before; round-off."""
    solid = body(grid(X[::5], X[::5]), [0.0, 1e-3, 1.5e-3], alpha=[0.0, 3e-6])
    rise = at_corners(solid, lambda x, y, z: 1 + 100 * x + 0 * z)
    alpha = np.where(np.arange(2)[:, None] == 0, 5e-6, np.full(solid.active.shape, 2e-6))
    found = hold(solid, (Pins(0),)).again(alpha, (Pins(0),)).expand(rise).u
    anew = expand(dataclasses.replace(solid, alpha=alpha), rise, (Pins(0),)).u
    assert found == pytest.approx(anew, abs=1e-10 * np.abs(anew).max())


@pytest.mark.parametrize("strain", [np.zeros((2, 3)), np.full((2, 16), np.nan), np.zeros(16)])
def test_a_wrong_strain_is_refused(strain):
    solid = body(grid(X[::5], X[::5]), [0.0, 1e-3, 1.5e-3])
    with pytest.raises(PhysicsError, match=r"free strain must be finite .* \(\.\.\., 2, 16\)"):
        expand(solid, none(solid), (Pins(0),), free_strain=strain)
