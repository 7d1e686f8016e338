"""Thermal expansion of one held body: assemble, solve, and check the answer.

    K q = f(rise) + f(pressure, body force) + springs' pull                                  (1)

K is the stiffness of thin-layer hexahedra (`hexahedron`), of the initial tension (`tension`) and of
the joint's springs (`supports`). Small strains, linear elastic, properties constant in each cell.

The answer is refined by its own factor and then checked twice. The residual is measured by the work
it would do, sqrt(r' K^-1 r / f' K^-1 f): this is the relative error of the solution in strain
energy. A plain norm of forces would weigh the couples that bend a foil like forces that stretch it.
"""

from dataclasses import dataclass, replace
from time import perf_counter

import numpy as np

from thermo.elastic.columns import Columns, number_columns, stretches
from thermo.elastic.dissection import Factor, dissect, elimination_order, factorise
from thermo.elastic.hexahedron import layer_matrices
from thermo.elastic.leaves import Leaves
from thermo.elastic.loads import Gather, corner_gather, nodal_forces, outer_forces
from thermo.elastic.solid import Floats, Ints, Solid
from thermo.elastic.supports import Restraint, Support, restrain, rigid_motions
from thermo.elastic.tension import shear_softening, tension_stiffness
from thermo.errors import PhysicsError, SolveError

RESIDUAL = 1e-9  # what the estimate demands of the strain energy
BALANCE = 1e-9  # of the sum of all nodal loads
SWEEPS = 4  # the first solve and refinements of it


@dataclass(frozen=True)
class Displacement:
    """Displacement of the nodes of a body and the checks of the solve behind it.

    u : m, shape (..., nz + 1, n, 3), nan at nodes that no solid cell touches
    reaction : force of the clamps and pins on the body, N, same shape, zero elsewhere
    residual : relative error in strain energy by the last refinement, largest of all loads
    balance : net force and moment on the body over the sum of its nodal loads, largest of all
    unknowns : number of unknowns solved for
    seconds : time of the solve, without the factor
    """

    u: Floats
    reaction: Floats
    residual: float
    balance: float
    unknowns: int
    seconds: float


@dataclass(frozen=True)
class HeldSolid:
    """A body with its supports, assembled and factorised; one factor serves any number of rises.

    Made by `hold`. K and F are the cells' stiffness, N/m, (nz, m, 24, 24), and thermal load, N/K,
    (nz, m, 24, 8); `gather` sums corner values of plan cells at the plan nodes.
    """

    solid: Solid
    restraint: Restraint
    K: Floats
    F: Floats
    gather: Gather
    columns: Columns
    factor: Factor

    def expand(
        self,
        rise: Floats,
        *,
        pressure: Floats | float | None = None,
        body_force: Floats | None = None,
    ) -> Displacement:
        """Displacement of the held body under a rise of temperature; arguments as in `expand`.

        `rise` may carry leading axes, one load each; they come back in front of u.
        """
        start = perf_counter()
        solid = self.solid
        outer = outer_forces(solid, self.gather, pressure, body_force)[..., None]
        lead, T = _corner_rise(solid, rise)
        load = nodal_forces(self.gather, self.F @ T) + outer + self._springs()
        moved = self._moved(load.shape[-1])
        q, residual = self._solve(moved, load)
        force = self._force(q)
        reaction = np.where(self.restraint.held[..., None], force - load, 0.0)
        u = np.cumsum(q, axis=0)
        push = outer + self._springs(u) + reaction
        balance = self._balance(push, np.abs(load) + np.abs(reaction) + np.abs(self._force(moved)))
        u = np.where(solid.exists[:, :, None, None], u, np.nan)
        shape = (*lead, *u.shape[:3])
        return Displacement(
            np.moveaxis(u, -1, 0).reshape(shape),
            np.moveaxis(reaction, -1, 0).reshape(shape),
            residual,
            balance,
            len(self.columns.free),
            perf_counter() - start,
        )

    def again(self, alpha: Floats, supports: tuple[Support, ...]) -> "HeldSolid":
        """The body with another expansion and base growth; stiffness and factor stay.

        alpha : 1/K, shape (nz, m);  supports : those of `hold`, of the same stiffness
        """
        old = self.solid.alpha
        ratio = np.divide(alpha, old, out=np.ones_like(old), where=self.solid.active & (old != 0))
        solid = replace(self.solid, alpha=np.asarray(alpha, float))
        F = self.F * ratio[:, :, None, None]
        return replace(self, solid=solid, F=F, restraint=restrain(solid, supports))

    def _force(self, q: Floats) -> Floats:
        """K q as forces on the nodes, N, shape (nz + 1, n, 3, k), without the springs' pull."""
        u = np.cumsum(q, axis=0)
        cells = nodal_forces(self.gather, self.K @ _cell_unknowns(q, u, self.solid.quads))
        return cells - self._springs(u) + self._springs()

    def _springs(self, u: Floats | None = None) -> Floats:
        """Force of the springs on the nodes, N, (nz + 1, n, 3, k), on a body displaced by u, m."""
        m, shape = self.solid.quads.shape[1], self.restraint.held.shape
        k = 1 if u is None else u.shape[-1]
        force = np.zeros((*shape, k))
        for spring in self.restraint.springs:
            pull = spring.pull[..., None]
            if u is not None:
                pull = pull - spring.stiffness @ _corners(u[spring.level], self.solid.quads)
            nodal = np.asarray(self.gather @ pull.reshape(4 * m, 3 * k))
            force[spring.level] += nodal.reshape(-1, 3, k)
        return force

    def _moved(self, k: int) -> Floats:
        """Full unknowns q, m, with the clamps at their displacement and all other nodes at rest."""
        q = stretches(self.restraint.displacement, self.solid.exists)
        return np.repeat(q[..., None], k, axis=3)

    def _solve(self, q: Floats, load: Floats) -> tuple[Floats, float]:
        """Full unknowns q, m, and the residual, by the factor and refinement of its answer."""
        held = self.restraint.held[..., None]
        scale, residual = np.zeros(load.shape[-1]), np.inf
        for sweep in range(SWEEPS):
            r = np.where(held, 0.0, load - self._force(q))
            f = self.columns.forces(r)
            x = self.factor.solve(f)
            work = np.sqrt(np.maximum((f * x).sum(axis=0), 0.0))
            scale = work if sweep == 0 else scale
            residual = float(np.max(work / np.where(scale > 0, scale, 1.0), initial=0.0))
            if sweep and residual <= RESIDUAL / 100:
                break
            q = q + self.columns.unknowns(x)
        if not residual <= RESIDUAL:
            raise SolveError(
                f"relative residual is {residual:.2g} after {SWEEPS} sweeps, needs"
                f" <= {RESIDUAL:g}; thicker layers, wider cells or an initial tension bring the"
                " digits back"
            )
        return q, residual

    def _balance(self, push: Floats, load: Floats) -> float:
        """Net force and moment of outer loads, springs and reactions over the sum of loads."""
        place = self.solid.points
        middle = np.append(place.mean(axis=1), self.solid.levels.mean())
        modes = rigid_motions(self.solid, middle)
        modes[..., 3:] /= np.ptp(place, axis=1).max()
        if self.solid.tension[self.solid.active].any():
            modes = modes[..., :3]  # the rim forces of an initial tension are not in the model
        net = np.abs(np.einsum("knij,knil->jl", modes, push)).max(axis=0)
        total = load.sum(axis=(0, 1, 2))
        balance = float(np.max(net / np.where(total > 0, total, 1.0), initial=0.0))
        if not balance <= BALANCE:
            raise SolveError(
                f"forces and moments balance to {balance:.2g} of the loads, needs <= {BALANCE:g};"
                " a property or a cell size spans too many decades"
            )
        return balance


def _corner_rise(solid: Solid, rise: Floats) -> tuple[tuple[int, ...], Floats]:
    """Leading axes of the rise, and the rise as (nz, m, 8, k), K, zero in void cells."""
    cells = (*solid.active.shape, 2, 4)
    rise = np.asarray(rise, float)
    if rise.shape[-4:] != cells or not np.isfinite(rise[..., solid.active, :, :]).all():
        raise PhysicsError(
            f"rise must be finite K in solid cells and of shape (..., {str(cells)[1:]},"
            f" got shape {rise.shape}; give one value a corner of a cell"
        )
    T = np.moveaxis(rise.reshape(-1, *cells), 0, -1).reshape(*cells[:2], 8, -1)
    return rise.shape[:-4], np.where(solid.active[:, :, None, None], T, 0.0)


def _corners(u: Floats, quads: Ints) -> Floats:
    """Plan-node values (..., n, 3, k) at the corners of the plan cells, (..., m, 12, k)."""
    at = u[..., quads.T, :, :]
    return at.reshape(*at.shape[:-3], 12, at.shape[-1])


def _cell_unknowns(q: Floats, u: Floats, quads: Ints) -> Floats:
    """(u, d) of the cells, m, shape (nz, m, 24, k), of full unknowns q and displacements u.

    u is counted from the cell's first corner: its motion as a whole strains nothing and would cost
    the digits of a thin sheet's shear.
    """
    low = _corners(u[:-1], quads)
    low = low - np.tile(low[:, :, :3], (1, 1, 4, 1))
    return np.concatenate([low, _corners(q[1:], quads)], axis=2)


def hold(solid: Solid, supports: tuple[Support, ...]) -> HeldSolid:
    """Assemble and factorise a body with its supports.

    Parameters
    ----------
    solid : the body
    supports : pins, joined faces and clamps that together stop its six rigid motions

    Raises
    ------
    PhysicsError : supports that leave a rigid motion free or touch nothing
    SolveError : a stiffness that is not positive definite
    """
    restraint = restrain(solid, supports)
    nz, m = solid.active.shape
    K, F = np.zeros((nz, m, 24, 24)), np.zeros((nz, m, 24, 8))
    corners, soft = solid.corners, shear_softening(solid)
    for k, (t, on) in enumerate(zip(np.diff(solid.levels), solid.active, strict=True)):
        if not on.any():
            continue
        K[k, on], F[k, on], _, _ = layer_matrices(
            corners[on], t, solid.E[k, on], solid.nu[k, on], solid.alpha[k, on], soft[k, on]
        )
        if solid.tension[k, on].any():
            K[k, on] += tension_stiffness(corners[on], t, solid.tension[k, on])
    part = dissect(solid.quads, corners, np.flatnonzero(solid.active.any(axis=0)))
    columns = number_columns(solid.exists, restraint.held, elimination_order(part))
    leaves = Leaves(solid.quads, K, restraint.springs, columns)
    factor = factorise(part, columns.first, columns.count, leaves.stiffness)
    gather = corner_gather(solid.quads, solid.points.shape[1])
    return HeldSolid(solid, restraint, K, F, gather, columns, factor)


def expand(
    solid: Solid,
    rise: Floats,
    supports: tuple[Support, ...],
    *,
    pressure: Floats | float | None = None,
    body_force: Floats | None = None,
) -> Displacement:
    """Displacement of a held body under a rise of temperature, pressure and body force.

    Equation (1) of the module; solved directly, refined and checked.

    Parameters
    ----------
    solid : the body
    rise : temperature above the reference, K, at each cell's corners (lower and upper face, four
        plan corners), shape (..., nz, m, 2, 4); it may jump between cells; void is not read
    supports : pins, joined faces and clamps
    pressure : pressure on the lit face, along the beam, Pa, shape (m,) or one number
    body_force : force per volume at each cell's corners, N/m3, shape (nz, m, 2, 4, 3)

    Raises
    ------
    PhysicsError : supports that leave a rigid motion free; loads of a wrong shape or not finite
    SolveError : residual or net force or moment above 1e-9
    """
    return hold(solid, supports).expand(rise, pressure=pressure, body_force=body_force)
