"""Flatness of a membrane: how far its thermal stress is from buckling it, and the tension it needs.

A small deflection w of a stressed sheet adds w,i w,j / 2 to its strain in the plane, so that the
stress sigma of the moment does work on it. With the stress grown lambda times the flat state stops
being stable where

    (K + lambda K_geo) phi = 0,   K_geo = int sigma_ij dw/dx_i dw/dx_j dV,  i, j in x, y     (1)

K holds the elastic stiffness and that of the initial tension; sigma is the thermal stress alone.
K_geo acts on u_z only (von Karman's strain): slopes of u_x and u_y would change a stiffness of E by
sigma, less than 1e-3 of it. Stress is linear through a cell, so its middle is its mean; what it
varies about the mean turns no deflection into work but by the stretch of the thickness.

(1) becomes  S y = mu y,  S = -L^-1 K_geo L'^-1,  K = L L',  lambda = 1/mu,  for the largest mu.

Source: linear buckling analysis, S. Timoshenko, J. Gere, Theory of Elastic Stability (from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.linalg import ArpackNoConvergence, LinearOperator, eigsh

from thermo.elastic.expansion import HeldSolid, hold
from thermo.elastic.hexahedron import GAUSS, plan_shape
from thermo.elastic.solid import Bools, Floats, Solid
from thermo.elastic.stress import cell_stress
from thermo.elastic.supports import Support
from thermo.errors import PhysicsError, SolveError

ACCURACY = 1e-4  # of mu + SHIFT
RESIDUAL = 1e-3  # allowed of the pair, by the stiffness that the factor did not see
SHIFT = 1e-2  # factors below 1/SHIFT are found to ACCURACY, those above as closely in 1/factor
RESTARTS = 100
TENSION = 2e-3  # relative step at which the search of the tension ends
LEAST = 1e-3  # of the largest compression: less tension counts as none
MOST = 10.0  # of the largest compression: as much cures every cell that is stretched
STEPS = 12
THROUGH = np.array([[1 / 3, 1 / 6], [1 / 6, 1 / 3]])  # int (1 - s, s)'(1 - s, s) ds

Sparse = csr_array[np.float64, tuple[int, int]]


@dataclass(frozen=True)
class Flatness:
    """Distance of a membrane from buckling at one moment.

    factor : the thermal stress may grow so many times, -; <= 1: past its flat state; inf: nothing
        pushes, or it is above 1e6
    shape : deflection it would buckle into, largest u_z is 1, shape (nz + 1, n, 3); nan at nodes
        without solid; zero where factor is inf
    """

    factor: float
    shape: Floats


def flatness(
    held: HeldSolid, u: Floats, rise: Floats, free_strain: Floats | None = None
) -> Flatness:
    """How many times the thermal stress of a moment may grow before the membrane buckles.

    Smallest lambda > 0 of equation (1) of the module, to 1e-4 on its mesh where it is below 100.
    With n cells across the span the mesh makes the share of bending 5/n2 too large (0.3 % at 40,
    1.3 % at 20, 5 % at 10), that of the tension 0.

    Parameters
    ----------
    held : the body, whose stiffness includes its initial tension
    u : displacement of the moment, m, shape (nz + 1, n, 3), as found by `expand`
    rise : temperature above the reference at the cells' corners, K, shape (nz, m, 2, 4)
    free_strain : isotropic strain of each cell on top of it, shape (nz, m)

    Raises
    ------
    SolveError : the search does not end, or residual of the pair above 1e-3
    """
    return _flatness(held, _mean_stress(held.solid, u, rise, free_strain))


def curing_tension(
    held: HeldSolid,
    supports: tuple[Support, ...],
    u: Floats,
    rise: Floats,
    stretched: Bools,
    free_strain: Floats | None = None,
) -> float:
    """Initial tension at which the membrane is just flat under the thermal stress of a moment, Pa.

        s <- s + (lambda - 1) phi'K_geo phi / phi'K_1 phi,   K_1 = dK/ds,   until lambda = 1

    The stress of a clamped membrane does not change with its tension, so sigma is kept. Each step
    factorises anew. They start at the largest compression; every later one is a lower bound and
    rises. Within 0.3 % on its mesh, which adds the error of `flatness` in what bending carries: 1 %
    of the largest compression with 20 cells across. 0 where less than 0.1 % of it is needed.

    Parameters
    ----------
    held, supports : the body and what `hold` was given; its own tension in `stretched` is left out
    u, rise, free_strain : as in `flatness`
    stretched : cells that get the tension, shape (nz, m)

    Raises
    ------
    PhysicsError : no solid cell to stretch
    SolveError : the steps do not settle, or no cell is stretched where the body buckles
    """
    solid = held.solid
    stretched = solid.active & np.asarray(stretched, bool)
    if not stretched.any():
        raise PhysicsError("0 solid cells are to be stretched, needs at least 1; mark the membrane")
    sigma = _mean_stress(solid, u, rise, free_strain)
    start = _compression(solid, sigma, stretched)
    if start <= 0:
        return 0.0
    tension = start
    for _ in range(STEPS):
        now = hold(replace(solid, tension=np.where(stretched, tension, solid.tension)), supports)
        step = _step(now, sigma, stretched, tension)
        if not tension + step <= MOST * start:
            raise SolveError(
                f"a tension of {tension + step:.4g} Pa, {MOST:g} times the largest compression or"
                " more, is needed: the body buckles where no cell is stretched; mark those cells"
            )
        if step <= 0 and tension <= LEAST * start:
            return 0.0
        tension = max(tension + step, LEAST * start)
        if abs(step) <= TENSION * tension:
            return tension
    raise SolveError(
        f"the curing tension is {tension:.4g} Pa after {STEPS} steps and still moves; refine the"
        " plan cells of the membrane"
    )


def _step(held: HeldSolid, sigma: Floats, stretched: Bools, tension: float) -> float:
    """Change of the tension that the buckling shape at the present one asks for, Pa."""
    found = _flatness(held, sigma)
    if not np.isfinite(found.factor):
        return -tension
    w = np.nan_to_num(found.shape[..., 2].ravel())
    unit = np.where(stretched[..., None], [1.0, 1.0, 0.0], 0.0)
    push, pull = (float(w @ np.asarray(_geometric(held.solid, s) @ w)) for s in (sigma, unit))
    return (found.factor - 1) * push / pull if pull > 0 else np.inf


def _mean_stress(solid: Solid, u: Floats, rise: Floats, free_strain: Floats | None) -> Floats:
    """Mean stress in the plane of each cell, xx, yy, xy, Pa, (nz, m, 3); zero in void."""
    sigma = cell_stress(solid, u, rise, free_strain)[:, :, 1]
    return np.where(solid.active[..., None], sigma[..., [0, 1, 5]], 0.0)


def _least_principal(sigma: Floats) -> Floats:
    """Lower principal stress of xx, yy, xy in the last axis, Pa."""
    xx, yy, xy = np.moveaxis(sigma, -1, 0)
    least: Floats = (xx + yy) / 2 - np.hypot((xx - yy) / 2, xy)
    return least


def _compression(solid: Solid, sigma: Floats, stretched: Bools) -> float:
    """Tension of the stretched cells that takes all compression out of their columns, Pa."""
    t = np.diff(solid.levels)
    H = t @ stretched
    force = np.einsum("k,kmi->mi", t, sigma)[H > 0]
    return float(np.max(-_least_principal(force) / H[H > 0]))


def _geometric(solid: Solid, sigma: Floats) -> Sparse:
    """K_geo of equation (1) for u_z of the nodes (level, node), N/m."""
    corners, n = solid.corners, solid.points.shape[1]
    stress = sigma[..., [[0, 2], [2, 1]]]
    K = np.zeros((*sigma.shape[:2], 4, 4))
    for xi in GAUSS:
        for eta in GAUSS:
            _, J, slopes = plan_shape(corners, xi, eta)
            area = np.linalg.det(J)[:, None, None]
            K += area * (slopes.transpose(0, 2, 1) @ stress @ slopes)
    K *= np.diff(solid.levels)[:, None, None, None]
    K = np.einsum("st,kmab->kmsatb", THROUGH, K)
    layer = np.arange(len(sigma))[:, None, None, None] + np.arange(2)[:, None]
    node = (layer * n + solid.quads.T[None, :, None]).reshape(-1, 8)
    row = np.repeat(node, 8, axis=1).ravel()
    column = np.tile(node, 8).ravel()
    size = len(solid.levels) * n
    return coo_array((K.ravel(), (row, column)), (size, size)).tocsr()


def _flatness(held: HeldSolid, sigma: Floats) -> Flatness:
    """Factor and shape under the mean stress sigma of the cells, xx, yy, xy, Pa, (nz, m, 3)."""
    solid, columns, factor = held.solid, held.columns, held.factor
    flat = Flatness(np.inf, np.where(solid.exists[..., None], np.zeros(3), np.nan))
    if len(columns.free) == 0 or not (_least_principal(sigma) < 0).any():
        return flat
    K_geo = _geometric(solid, sigma)

    def work(x: Floats) -> Floats:
        """-K_geo x as forces on the unknowns."""
        w = np.cumsum(columns.unknowns(x)[:, :, 2], axis=0)
        force = np.zeros((*held.restraint.held.shape, 1))
        force[:, :, 2] = -(K_geo @ w.reshape(-1, 1)).reshape(w.shape)
        return columns.forces(force)

    def shifted(y: Floats) -> Floats:
        y = y.reshape(-1, 1)
        return (factor.forward(work(factor.backward(y))) + SHIFT * y).ravel()

    x = factor.backward(_largest(shifted, len(columns.free)))
    mu = _quotient(held, x, work(x))
    if mu <= ACCURACY * SHIFT:
        return flat
    u = np.cumsum(columns.unknowns(x), axis=0)[..., 0]
    u = u / u[..., 2].flat[np.abs(u[..., 2]).argmax()]
    return Flatness(1 / mu, np.where(solid.exists[..., None], u, np.nan))


def _quotient(held: HeldSolid, x: Floats, f: Floats) -> float:
    """Rayleigh quotient mu = x'f/x'K x of f = -K_geo x by the stiffness of the cells, checked."""
    Kx = held.columns.forces(held._force(held.columns.unknowns(x)))
    energy = float((x * Kx).sum())
    mu = float((x * f).sum()) / energy
    r = f - mu * Kx
    error = max(float((r * held.factor.solve(r)).sum()), 0.0)
    residual = np.sqrt(error / energy) / (abs(mu) + SHIFT)
    if not residual <= RESIDUAL:
        raise SolveError(
            f"residual of the buckling shape is {residual:.2g}, needs <= {RESIDUAL:g};"
            " thicker layers or an initial tension bring the digits back"
        )
    return mu


def _largest(product: Callable[[Floats], Floats], n: int) -> Floats:
    """Eigenvector of the largest eigenvalue of a symmetric product, shape (n, 1)."""
    start = np.random.default_rng(0).normal(size=n)
    operator = LinearOperator((n, n), product, dtype=np.float64)
    try:
        _, y = eigsh(operator, 1, which="LA", v0=start, tol=ACCURACY, maxiter=RESTARTS)
    except ArpackNoConvergence:
        raise SolveError(
            f"the search for the buckling shape does not end within {RESTARTS} restarts;"
            " a coarser plan away from the membrane helps"
        ) from None
    return np.asarray(y, float)
