"""Thin-layer hexahedron: a vertical prism on a quadrilateral that does not lock in thin plates.

Displacement in the cell, with plan shape functions N_a and s = 0 at the lower, 1 at the upper face:

    u = sum_a N_a(xi, eta) (u_a + s d_a) + bubbles,      d_a = u_a(upper) - u_a(lower)     (1)

The unknowns are the lower displacement u_a and the stretch of the edge d_a, not the two ends: no
term of order 1/t then acts on u_a, and a foil of a few um loses no digits against its bending.

    strain  eps = B [u, d, a]                                                              (2)
    K = int B' C B dV,  F = int B' C alpha m N_T dV,   m = (1, 1, 1, 0, 0, 0)              (3)
    a = K_aa^-1 (F_a T - K_aq q),  K <- K_qq - K_qa K_aa^-1 K_aq,  F likewise              (4)

The nine inner modes a: u_x and u_y in 1 - xi2 and 1 - eta2 (bending in the plane), u_x, u_y, u_z
in s(1 - s), and thickness strain in (1 - 2s) xi and (1 - 2s) eta (a curvature that changes along
the cell must not squeeze the layer). The transverse shear along an edge is sampled at the middle
of that edge and interpolated linearly to the opposite edge: this is what removes shear locking.
The rise T is trilinear between the eight corners and also loads the inner modes.

Constant strain and constant curvature are exact on any convex quadrilateral; a free body with
T = a0 + a1 x + a2 y + a3 z is exact at the nodes of box cells.

Sources
-------
Inner modes: E. L. Wilson et al. (1973); their mean set to zero on skewed cells: R. L. Taylor,
P. J. Beresford, E. L. Wilson, Int. J. Num. Meth. Eng. 10 (1976) 1211. Sampled transverse shear:
K. J. Bathe, E. N. Dvorkin, Int. J. Num. Meth. Eng. 21 (1985) 367. All from memory.
"""

import numpy as np

from thermo.elastic.solid import Floats

XI = np.array([-1.0, 1.0, 1.0, -1.0])  # plan corners of the reference square
ETA = np.array([-1.0, -1.0, 1.0, 1.0])
GAUSS = np.array([-1.0, 1.0]) / np.sqrt(3)
EDGES_XI = ((0, 1), (3, 2))  # edges along xi, at eta = -1 and eta = +1
EDGES_ETA = ((0, 3), (1, 2))  # edges along eta, at xi = -1 and xi = +1
NODAL, INNER = 24, 9
NORMAL = np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0])


def plan_shape(corners: Floats, xi: float, eta: float) -> tuple[Floats, Floats, Floats]:
    """Shape functions of the plan quadrilateral and their slopes at one point.

    Parameters
    ----------
    corners : plan corners, m, shape (m, 4, 2)
    xi, eta : point of the reference square, each in [-1, 1]

    Returns
    -------
    N : shape functions, shape (4,)
    J : J[i, j] = d x_j / d xi_i, m, shape (m, 2, 2)
    slopes : d N_a / d x_j, 1/m, shape (m, 2, 4)
    """
    N = (1 + XI * xi) * (1 + ETA * eta) / 4
    dN = np.array([XI * (1 + ETA * eta), ETA * (1 + XI * xi)]) / 4
    J = dN @ corners
    return N, J, np.linalg.inv(J) @ dN


def plan_matrices(corners: Floats) -> tuple[Floats, Floats]:
    """Plan mass int N_a N_b dA, m2, and plan stiffness int grad N_a . grad N_b dA, 1; (m, 4, 4)."""
    mass = np.zeros((len(corners), 4, 4))
    stiffness = np.zeros_like(mass)
    for xi in GAUSS:
        for eta in GAUSS:
            N, J, slopes = plan_shape(corners, xi, eta)
            area = np.linalg.det(J)[:, None, None]
            mass += area * np.outer(N, N)
            stiffness += area * (slopes.transpose(0, 2, 1) @ slopes)
    return mass, stiffness


def strain_matrix(corners: Floats, t: float, xi: float, eta: float, s: float) -> Floats:
    """Strain of the lower displacements u, the stretches d and the inner modes a, at one point.

    Parameters
    ----------
    corners : plan corners, m, shape (m, 4, 2)
    t : thickness of the layer, m
    xi, eta, s : point of the cell; s runs from 0 at the lower to 1 at the upper face

    Returns
    -------
    B : shape (m, 6, 33); rows xx, yy, zz, yz, xz, xy with engineering shear; columns u_a, d_a as
        (corner, component), then the nine inner modes
    """
    N, J, slopes = plan_shape(corners, xi, eta)
    B = np.zeros((len(corners), 6, NODAL + INNER))
    for first, factor in ((0, 1.0), (12, s)):
        x, y = first + 3 * np.arange(4), first + 3 * np.arange(4) + 1
        B[:, 0, x] = B[:, 5, y] = factor * slopes[:, 0]
        B[:, 1, y] = B[:, 5, x] = factor * slopes[:, 1]
    B[:, 2, 14:24:3] = N / t
    along = _edge_shear(corners, t, xi, eta, s)
    B[:, [4, 3]] = np.linalg.inv(J) @ along
    B[:, :, NODAL:] += _inner_strain(corners, J, t, xi, eta, s)
    return B


def _edge_shear(corners: Floats, t: float, xi: float, eta: float, s: float) -> Floats:
    """Transverse shear along xi and eta from the middles of the edges, m, shape (m, 2, 33)."""
    shear = np.zeros((len(corners), 2, NODAL + INNER))
    for row, (edges, across) in enumerate(((EDGES_XI, eta), (EDGES_ETA, xi))):
        for (a, b), weight in zip(edges, ((1 - across) / 2, (1 + across) / 2), strict=True):
            tangent = (corners[:, b] - corners[:, a]) / 2
            for node, sign in ((a, -1.0), (b, 1.0)):
                shear[:, row, 3 * node + 2] += weight * sign / 2
                shear[:, row, 3 * node + 14] += weight * sign / 2 * s
                shear[:, row, 3 * node + 12 : 3 * node + 14] += weight * tangent / (2 * t)
    return shear


def _inner_strain(corners: Floats, J: Floats, t: float, xi: float, eta: float, s: float) -> Floats:
    """Strain of the nine inner modes, shape (m, 6, 9); its mean over any cell is zero."""
    _, J0, _ = plan_shape(corners, 0.0, 0.0)
    ratio = np.linalg.det(J0) / np.linalg.det(J)
    slope = -2 * ratio[:, None, None] * np.linalg.inv(J0) * np.array([xi, eta])
    G = np.zeros((len(corners), 6, INNER))
    for i in (0, 1):
        x, y = 2 * i, 2 * i + 1
        G[:, 0, x] = G[:, 5, y] = slope[:, 0, i]
        G[:, 1, y] = G[:, 5, x] = slope[:, 1, i]
    stretch = (1 - 2 * s) / t
    G[:, 4, 4] = G[:, 3, 5] = G[:, 2, 6] = stretch
    G[:, 2, 7], G[:, 2, 8] = stretch * xi, stretch * eta
    return G


def isotropic(E: Floats, nu: Floats, softening: Floats) -> Floats:
    """Stiffness C of an isotropic solid, Pa, shape (m, 6, 6); E in Pa and nu of shape (m,).

    `softening` multiplies the transverse shear stiffness, see `tension.shear_softening`.
    """
    mu = E / (2 * (1 + nu))
    lam = E * nu / ((1 + nu) * (1 - 2 * nu))
    C = lam[:, None, None] * np.outer(NORMAL, NORMAL)
    C = C + mu[:, None, None] * np.diag([2.0, 2.0, 2.0, 1.0, 1.0, 1.0])
    C[:, [3, 4], [3, 4]] *= softening[:, None]
    return C


def layer_matrices(
    corners: Floats, t: float, E: Floats, nu: Floats, alpha: Floats, softening: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Stiffness and thermal load of the cells of one layer, with the inner modes condensed.

    Equations (3) and (4) of the module, by 2 x 2 x 2 Gauss points.

    Parameters
    ----------
    corners : plan corners, m, shape (m, 4, 2)
    t : thickness of the layer, m
    E, nu, alpha : Pa, -, 1/K, shape (m,)
    softening : factor on the transverse shear stiffness, shape (m,)

    Returns
    -------
    K : stiffness for (u, d), N/m, shape (m, 24, 24)
    F : forces on (u, d) per kelvin at the corners (lower 4, upper 4), N/K, shape (m, 24, 8)
    A, D : inner modes a = D T - A (u, d), shapes (m, 9, 24) and (m, 9, 8)
    """
    size = NODAL + INNER
    K, F = np.zeros((len(corners), size, size)), np.zeros((len(corners), size, 8))
    C = isotropic(E, nu, softening)
    thermal = (alpha * E / (1 - 2 * nu))[:, None]  # hydrostatic stress of one kelvin held back
    for xi in GAUSS:
        for eta in GAUSS:
            N, J, _ = plan_shape(corners, xi, eta)
            for s in (1 + GAUSS) / 2:
                B = strain_matrix(corners, t, xi, eta, s)
                volume = np.linalg.det(J)[:, None, None] * t / 2
                K += B.transpose(0, 2, 1) @ (volume * C @ B)
                held = volume[:, 0] * thermal * (NORMAL @ B)
                F += held[:, :, None] * np.concatenate([(1 - s) * N, s * N])
    q, a = slice(NODAL), slice(NODAL, size)
    AD = np.linalg.solve(K[:, a, a], np.concatenate([K[:, a, q], F[:, a]], axis=2))
    A, D = AD[:, :, :NODAL], AD[:, :, NODAL:]
    return K[:, q, q] - K[:, q, a] @ A, F[:, q] - K[:, q, a] @ D, A, D
