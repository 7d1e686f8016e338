"""Stress of a displaced body, with the inner modes of its cells."""

import numpy as np

from thermo.elastic.hexahedron import NODAL, NORMAL, isotropic, layer_matrices, strain_matrix
from thermo.elastic.loads import corner_strain, loads
from thermo.elastic.solid import Floats, Solid
from thermo.elastic.tension import shear_softening

HEIGHTS = (0.0, 0.5, 1.0)  # lower face, middle, upper face


def cell_stress(solid: Solid, u: Floats, rise: Floats, free_strain: Floats | None = None) -> Floats:
    """Stress in the plan middle of every cell at its lower face, middle and upper face.

        sigma = C (B (u, d, a) - e m),   a = D e - A (u, d),   e = alpha T + free strain

    The initial tension is not part of it: add it to xx and yy.

    Parameters
    ----------
    solid : the body
    u : displacement, m, shape (..., nz + 1, n, 3), as found by `expand`
    rise : temperature above the reference at the cells' corners, K, shape (..., nz, m, 2, 4)
    free_strain : isotropic strain of each cell on top of it, shape (..., nz, m)

    Returns
    -------
    sigma : Pa, shape (..., nz, m, 3, 6): lower face, middle, upper face; xx, yy, zz, yz, xz, xy;
        nan in void cells

    Raises
    ------
    PhysicsError : a rise or strain of a wrong shape or not finite in a solid cell
    """
    lead, rises, strains = loads(solid, rise, free_strain)
    e = corner_strain(solid, rises, strains)
    u = np.moveaxis(u.reshape(-1, *u.shape[-3:]), 0, -1)
    sigma = np.full((*solid.active.shape, len(HEIGHTS), 6, e.shape[-1]), np.nan)
    soft = shear_softening(solid)
    for k, on in enumerate(solid.active):
        if on.any():
            sigma[k, on] = _layer_stress(solid, k, u[k : k + 2], e[k, on], soft[k, on])
    return np.moveaxis(sigma, -1, 0).reshape(*lead, *sigma.shape[:-1])


def _layer_stress(solid: Solid, k: int, u: Floats, e: Floats, soft: Floats) -> Floats:
    """Stress of the solid cells of layer k, Pa, (m, 3, 6, loads), of strains e at their corners."""
    on = solid.active[k]
    corners, t = solid.corners[on], solid.levels[k + 1] - solid.levels[k]
    E, nu = solid.E[k, on], solid.nu[k, on]
    _, _, A, D = layer_matrices(corners, t, E, nu, np.ones_like(E), soft)
    low, high = u[:, solid.quads[:, on].T]
    q = np.concatenate([low, high - low], axis=1).reshape(len(e), NODAL, -1)
    unknowns = np.concatenate([q, D @ e - A @ q], axis=1)
    lower, upper = e[:, :4].mean(axis=1), e[:, 4:].mean(axis=1)
    C = isotropic(E, nu, soft)
    sigma = np.empty((len(e), len(HEIGHTS), 6, e.shape[-1]))
    for i, s in enumerate(HEIGHTS):
        free = (1 - s) * lower + s * upper
        strain = strain_matrix(corners, t, 0.0, 0.0, s) @ unknowns
        sigma[:, i] = C @ (strain - NORMAL[:, None] * free[:, None])
    return sigma
