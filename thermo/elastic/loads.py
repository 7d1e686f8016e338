"""Nodal forces of pressure and body force, and how forces on cells become forces on nodes."""

import numpy as np
from scipy.sparse import coo_array, csr_array

from thermo.elastic.hexahedron import plan_matrices
from thermo.elastic.solid import Floats, Ints, Solid
from thermo.errors import PhysicsError

Gather = csr_array[np.float64, tuple[int, int]]


def corner_gather(quads: Ints, n: int) -> Gather:
    """Matrix that sums values at the corners of plan cells, (cell, corner), at the n plan nodes."""
    corners = quads.T.ravel()
    entries = (np.ones(corners.size), (corners, np.arange(corners.size)))
    return coo_array(entries, (n, corners.size)).tocsr()


def outer_forces(
    solid: Solid, gather: Gather, pressure: Floats | float | None, body_force: Floats | None
) -> Floats:
    """Nodal forces of pressure p on the lit face and of a body force b.

        f_a = int N_a p dA + int N_a b dV

    Parameters
    ----------
    solid : the body
    gather : from `corner_gather`
    pressure : along the beam, Pa, shape (m,) or one number
    body_force : at the corners of the cells, N/m3, shape (nz, m, 2, 4, 3)

    Returns
    -------
    f : N, shape (nz + 1, n, 3)

    Raises
    ------
    PhysicsError : a load of a wrong shape or not finite
    """
    nz, m = solid.active.shape
    mass, _ = plan_matrices(solid.corners)
    corner = np.zeros((nz + 1, m, 4, 3))
    if pressure is not None:
        p = np.asarray(pressure, float)
        if p.shape not in {(), (m,)} or not np.isfinite(p).all():
            raise PhysicsError(
                f"pressure must be finite Pa, one number or shape ({m},), got shape {p.shape};"
                " give one value a plan cell"
            )
        cells = np.flatnonzero(solid.active.any(axis=0))
        lit = np.argmax(solid.active[:, cells], axis=0)
        corner[lit, cells, :, 2] = (mass.sum(axis=2) * np.broadcast_to(p, m)[:, None])[cells]
    if body_force is not None:
        b = np.asarray(body_force, float)
        if b.shape != (nz, m, 2, 4, 3) or not np.isfinite(b[solid.active]).all():
            raise PhysicsError(
                f"body force must be finite N/m3 of shape {(nz, m, 2, 4, 3)}, got {b.shape};"
                " give one vector a corner of a cell"
            )
        b = np.where(solid.active[:, :, None, None, None], b, 0.0)
        pull = np.einsum("k,mab,kmsbi->kmsai", np.diff(solid.levels), mass, b)
        corner[:-1] += pull[:, :, 0] / 3 + pull[:, :, 1] / 6
        corner[1:] += pull[:, :, 0] / 6 + pull[:, :, 1] / 3
    return np.stack([gather @ level.reshape(4 * m, 3) for level in corner])


def nodal_forces(gather: Gather, cell: Floats) -> Floats:
    """Forces on the nodes, N, (nz + 1, n, 3, k), of forces on (u, d) of the cells, (nz, m, 24, k).

    The force on the stretch d acts on the upper node; the lower node takes the rest.
    """
    nz, m, _, k = cell.shape
    upper = cell[:, :, 12:]
    lower = cell[:, :, :12] - upper
    nodal = np.zeros((nz + 1, gather.shape[0], 3 * k))
    for layer in range(nz):
        nodal[layer] += gather @ lower[layer].reshape(4 * m, 3 * k)
        nodal[layer + 1] += gather @ upper[layer].reshape(4 * m, 3 * k)
    return nodal.reshape(nz + 1, -1, 3, k)
