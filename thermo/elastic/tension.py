"""Stiffness that a stretched membrane owes to its initial tension."""

import numpy as np

from thermo.elastic.hexahedron import plan_matrices
from thermo.elastic.solid import Floats, Solid

LENGTHWISE = np.array([[1.0, 1 / 2], [1 / 2, 1 / 3]])  # int (1, s)'(1, s) ds over the thickness
SOFTENING = 0.1


def tension_stiffness(corners: Floats, t: float, tension: Floats) -> Floats:
    """Stiffness of the initial equi-biaxial stress s0 in the cells of one layer.

        K_0 = sum_k int s0 (du_k/dx du_k/dx + du_k/dy du_k/dy) dV,   k = x, y, z

    for the unknowns (u, d) of the thin-layer hexahedron. It is blind to translation. It is NOT
    blind to a rotation of the whole body, because the forces that hold the tension at the rim
    are not part of it: a stretched membrane belongs to a rim that does not turn.

    Parameters
    ----------
    corners : plan corners, m, shape (m, 4, 2)
    t : thickness of the layer, m
    tension : s0, Pa, shape (m,)

    Returns
    -------
    K_0 : N/m, shape (m, 24, 24)

    Source: initial-stress stiffness of linear buckling analysis, common practice.
    """
    _, laplace = plan_matrices(corners)
    pull = (tension * t)[:, None, None] * laplace
    K: Floats = np.einsum("ij,mab,kl->miakjbl", LENGTHWISE, pull, np.eye(3))
    return K.reshape(len(corners), 24, 24)


def shear_softening(solid: Solid) -> Floats:
    """Factor on the transverse shear stiffness of cells under tension, shape (nz, m).

        kappa = H2 / (H2 + c h2),   H stretched thickness, h2 area of the plan cell, c = 0.1

    A stretched membrane turns at its clamp within sqrt(D/(s0 H)), far less than a cell. Rigid
    shear would carry that turn across the whole membrane as a zigzag and bind its deflection; the
    softened shear lets the angle jump and costs the bending only terms of order h2. Unstretched
    cells keep 1.

    Source: stabilised plate elements, M. Lyly, R. Stenberg, T. Vihinen, Comput. Methods Appl.
    Mech. Eng. 110 (1993) 343 (from memory; c there is 0.1 as well).
    """
    stretched = solid.active & (solid.tension > 0)
    H = np.where(stretched, np.diff(solid.levels)[:, None], 0.0).sum(axis=0)
    area = plan_matrices(solid.corners)[0].sum(axis=(1, 2))
    return np.where(stretched, H**2 / (H**2 + SOFTENING * area), 1.0)
