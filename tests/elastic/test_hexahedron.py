"""The thin-layer element: rigid motion, symmetry, inner modes that carry no mean strain."""

import numpy as np
import pytest

from thermo.elastic.hexahedron import (
    GAUSS,
    layer_matrices,
    plan_matrices,
    plan_shape,
    strain_matrix,
)
from thermo.elastic.tension import tension_stiffness

SKEWED = np.array([[[0.0, 0.0], [2.1, 0.3], [1.7, 1.9], [-0.2, 1.2]]]) * 1e-3
ONE = np.ones(1)


def matrices(t=0.2e-3, E=100e9):
    return layer_matrices(SKEWED, t, E * ONE, 0.3 * ONE, 1e-5 * ONE, ONE)


def rigid(t):
    """Six rigid motions as (lower displacement, stretch), columns."""
    modes = np.zeros((24, 6))
    for a, (x, y) in enumerate(SKEWED[0]):
        u = np.array([[1, 0, 0, 0, 0, -y], [0, 1, 0, 0, 0, x], [0, 0, 1, y, -x, 0]])
        modes[3 * a : 3 * a + 3] = u
        modes[12 + 3 * a : 15 + 3 * a] = [[0, 0, 0, 0, t, 0], [0, 0, 0, -t, 0, 0], [0] * 6]
    return modes


def test_rigid_motion_gives_no_force_and_nothing_else_does_so():
    """Six zero eigenvalues and no seventh; 1e-12 of the largest is round-off."""
    K = matrices()[0][0]
    modes = rigid(0.2e-3)
    scale = np.abs(K).max() * np.abs(modes).max(axis=0)
    assert (np.abs(K @ modes) < 1e-12 * scale).all()
    size = 1 / np.sqrt(np.diag(K))
    values = np.linalg.eigvalsh(K * size * size[:, None])
    assert (np.abs(values[:6]) < 1e-12).all()
    assert values[6] > 1e-5  # the softest true mode of this cell is 1e-3


def test_stiffness_is_symmetric():
    K = matrices()[0][0]
    assert np.abs(K - K.T).max() < 1e-14 * np.abs(K).max()  # two orders of the same sums


def test_thermal_load_balances_itself():
    """A rise moves no cell as a whole; round-off alone."""
    F = matrices()[1][0]
    arm = np.abs(rigid(0.2e-3)).max(axis=0)[:, None]
    assert (np.abs(rigid(0.2e-3).T @ F) < 1e-12 * np.abs(F).max() * arm).all()


def test_inner_modes_carry_no_mean_strain_on_skewed_cells():
    """The condition of the patch test, R. L. Taylor et al. (1976, from memory); round-off alone."""
    mean, most = np.zeros((6, 9)), 0.0
    for xi in GAUSS:
        for eta in GAUSS:
            for s in (1 + GAUSS) / 2:
                B = strain_matrix(SKEWED, 0.2e-3, xi, eta, s)[0, :, 24:]
                mean += np.linalg.det(plan_shape(SKEWED, xi, eta)[1])[0] * B
                most = max(most, np.abs(B).max())
    assert np.abs(mean).max() < 1e-12 * most * 1e-6  # areas are of the order 1e-6 m2


def test_a_foil_bends_with_its_bending_stiffness_and_does_not_lock():
    """Energy of pure bending: D kappa2 (1 + nu) area for equal curvatures, elementary plate theory.

    2 um against cells of 2 mm; 1e-6 leaves room for the round-off of a ratio of 1000.
    """
    t, E, nu, kappa = 2e-6, 100e9, 0.3, 0.1
    K = layer_matrices(SKEWED, t, E * ONE, nu * ONE, ONE * 0, ONE)[0][0]
    x, y = SKEWED[0].T
    q = np.zeros((2, 4, 3))
    # middle surface w = -kappa r2/2; fibres turn with it
    q[0, :, 0], q[0, :, 1], q[0, :, 2] = (
        -kappa * x * t / 2,
        -kappa * y * t / 2,
        -kappa * (x**2 + y**2) / 2,
    )
    q[1, :, 0], q[1, :, 1] = kappa * x * t, kappa * y * t
    area = plan_matrices(SKEWED)[0].sum()
    D = E * t**3 / (12 * (1 - nu**2))
    assert q.ravel() @ K @ q.ravel() == pytest.approx(2 * D * kappa**2 * (1 + nu) * area, rel=1e-6)


def test_a_membrane_tilts_against_its_tension():
    """K_0 of a plane w = slope x: energy s0 t slope2 area, elementary; blind to translation."""
    t, tension, slope = 2e-6, 100e6, 1e-3
    K = tension_stiffness(SKEWED, t, tension * ONE)[0]
    q = np.zeros((2, 4, 3))
    q[0, :, 2] = slope * SKEWED[0, :, 0]
    area = plan_matrices(SKEWED)[0].sum()
    assert q.ravel() @ K @ q.ravel() == pytest.approx(tension * t * slope**2 * area, rel=1e-12)
    assert np.abs(K @ rigid(t)[:, :3]).max() < 1e-12 * K.max()
    q[:] = q[::-1]  # the same slope growing from the lower to the upper face: mean of s2 is 1/3
    third = tension * t * slope**2 * area / 3
    assert q.ravel() @ K @ q.ravel() == pytest.approx(third, rel=1e-12)


def test_turning_the_corners_around_changes_nothing():
    """The cell has no preferred corner: a quarter turn of its numbering; round-off alone."""
    K = matrices()[0][0].reshape(2, 4, 3, 2, 4, 3)
    turned = np.roll(SKEWED, -1, axis=1)
    L = layer_matrices(turned, 0.2e-3, 100e9 * ONE, 0.3 * ONE, 1e-5 * ONE, ONE)[0][0]
    back = np.roll(np.roll(L.reshape(2, 4, 3, 2, 4, 3), 1, axis=1), 1, axis=4)
    assert np.abs(K - back).max() < 1e-11 * np.abs(K).max()
