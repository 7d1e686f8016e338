"""What loads a body: strains at the corners of its cells, pressure, body force; forces on nodes."""

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
    """Nodal forces, N, (nz + 1, n, 3, k), of forces on (u, d) of the cells, (nz, m, 24, k)."""
    nodal = np.zeros((len(cell) + 1, gather.shape[0], 3, cell.shape[-1]))
    for layer, forces in enumerate(cell):
        add_forces(nodal[layer : layer + 2], gather, forces)
    return nodal


def add_forces(nodal: Floats, gather: Gather, cell: Floats) -> None:
    """Add forces on (u, d) of the cells of one layer, N, (m, 24, k), to its nodes, (2, n, 3, k).

    The force on the stretch d acts on the upper node; the lower node takes the rest.
    """
    m, _, k = cell.shape
    upper = np.asarray(gather @ cell[:, 12:].reshape(4 * m, 3 * k))
    both = np.asarray(gather @ cell[:, :12].reshape(4 * m, 3 * k))
    nodal[0] += (both - upper).reshape(-1, 3, k)
    nodal[1] += upper.reshape(-1, 3, k)


def loads(
    solid: Solid, rise: Floats, free_strain: Floats | None
) -> tuple[tuple[int, ...], Floats, Floats]:
    """Leading axes, rises (k, nz, m, 2, 4), K, and free strains (k, nz, m), one of each a load.

    Raises
    ------
    PhysicsError : a rise or strain of a wrong shape or not finite in a solid cell
    """
    cells = solid.active.shape
    rise = np.asarray(rise, float)
    if rise.shape[-4:] != (*cells, 2, 4) or not np.isfinite(rise)[..., solid.active, :, :].all():
        raise PhysicsError(
            f"rise must be finite K in solid cells and of shape (..., {str((*cells, 2, 4))[1:]},"
            f" got shape {rise.shape}; give one value a corner of a cell"
        )
    strain = np.zeros(cells) if free_strain is None else np.asarray(free_strain, float)
    if strain.shape[-2:] != cells or not np.isfinite(strain)[..., solid.active].all():
        raise PhysicsError(
            f"free strain must be finite in solid cells and of shape (..., {str(cells)[1:]},"
            f" got shape {strain.shape}; give one value a cell"
        )
    lead = np.broadcast_shapes(rise.shape[:-4], strain.shape[:-2])
    rises = np.broadcast_to(rise, (*lead, *cells, 2, 4)).reshape(-1, *cells, 2, 4)
    strains = np.broadcast_to(strain, (*lead, *cells)).reshape(-1, *cells)
    return lead, rises, strains


def corner_strain(solid: Solid, rises: Floats, strains: Floats) -> Floats:
    """Strain of cells left to themselves, alpha T + free strain, (nz, m, 8, k); zero in void."""
    on = solid.active[:, :, None]
    strain = np.empty((*on.shape[:2], 8, len(rises)))
    for i, (T, free) in enumerate(zip(rises, strains, strict=True)):
        own = solid.alpha[:, :, None] * T.reshape(*on.shape[:2], 8) + free[:, :, None]
        strain[..., i] = np.where(on, own, 0.0)
    return strain
