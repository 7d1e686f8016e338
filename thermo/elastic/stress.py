"""Stress of a displaced body, with the inner modes of its cells."""

import numpy as np

from thermo.elastic.hexahedron import NODAL, NORMAL, isotropic, layer_matrices, strain_matrix
from thermo.elastic.solid import Floats, Solid
from thermo.elastic.tension import shear_softening

HEIGHTS = (0.0, 0.5, 1.0)  # lower face, middle, upper face


def cell_stress(solid: Solid, u: Floats, rise: Floats) -> Floats:
    """Stress in the plan middle of every cell at its lower face, middle and upper face.

        sigma = C (B (u, d, a) - alpha T m),   a = D T - A (u, d)

    The initial tension is not part of it: add it to xx and yy.

    Parameters
    ----------
    solid : the body
    u : displacement, m, shape (nz + 1, n, 3), as found by `expand`
    rise : temperature above the reference at the cells' corners, K, shape (nz, m, 2, 4)

    Returns
    -------
    sigma : Pa, shape (nz, m, 3, 6): lower face, middle, upper face; xx, yy, zz, yz, xz, xy; nan in
        void cells
    """
    sigma = np.full((*solid.active.shape, len(HEIGHTS), 6), np.nan)
    corners = solid.corners
    soft = shear_softening(solid)
    for k, (t, on) in enumerate(zip(np.diff(solid.levels), solid.active, strict=True)):
        if not on.any():
            continue
        E, nu, alpha = solid.E[k, on], solid.nu[k, on], solid.alpha[k, on]
        _, _, A, D = layer_matrices(corners[on], t, E, nu, alpha, soft[k, on])
        low, high = u[k : k + 2][:, solid.quads[:, on].T]
        q = np.concatenate([low, high - low], axis=1).reshape(-1, NODAL, 1)
        T = rise[k, on].reshape(-1, 8, 1)
        unknowns = np.concatenate([q, D @ T - A @ q], axis=1)
        middle = rise[k, on].mean(axis=2)
        for i, s in enumerate(HEIGHTS):
            T_s = (1 - s) * middle[:, 0] + s * middle[:, 1]
            strain = (strain_matrix(corners[on], t, 0.0, 0.0, s) @ unknowns)[:, :, 0]
            strain -= (alpha * T_s)[:, None] * NORMAL
            sigma[k, on, i] = (isotropic(E, nu, soft[k, on]) @ strain[:, :, None])[:, :, 0]
    return sigma
