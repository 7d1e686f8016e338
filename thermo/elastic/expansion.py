"""Thermal expansion of one held body: assemble, solve, and check the answer.

    K q = F (alpha rise + free strain) + f(pressure, body force) + springs' pull             (1)

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
from thermo.elastic.loads import (
    Gather,
    add_forces,
    corner_gather,
    corner_strain,
    loads,
    nodal_forces,
    outer_forces,
)
from thermo.elastic.solid import Bools, Floats, Ints, Solid
from thermo.elastic.supports import Restraint, Support, restrain, rigid_motions
from thermo.elastic.tension import shear_softening, tension_stiffness
from thermo.errors import SolveError

RESIDUAL = 1e-9  # what the estimate demands of the strain energy
BALANCE = 1e-9  # of the sum of all nodal loads
SWEEPS = 4  # the first solve and refinements of it
BLOCK = 32  # loads solved at once: enough for BLAS, few enough for the cache
CHUNK = 256  # cells whose matrices are made at once: they stay in the cache


@dataclass(frozen=True)
class Displacement:
    """Displacement of the nodes of a body and the checks of the solve behind it.

    u : m, shape (..., nz + 1, n, 3), nan at nodes that no solid cell touches
    reaction : force of the clamps and pins on the body, N, same shape, zero elsewhere
    residual : what the last refinement changed, relative in strain energy, largest of all loads
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

    Made by `hold`. K and F are the cells' stiffness, N/m, (nz, m, 24, 24), and load per unit strain
    at the corners, N, (nz, m, 24, 8); `gather` sums corner values of plan cells at the plan nodes.
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
        free_strain: Floats | None = None,
        pressure: Floats | float | None = None,
        body_force: Floats | None = None,
    ) -> Displacement:
        """Displacement of the held body under a rise of temperature; arguments as in `expand`.

        `rise` may carry leading axes, one load each; they come back in front of u.
        """
        start = perf_counter()
        lead, rises, strains = loads(self.solid, rise, free_strain)
        outer = outer_forces(self.solid, self.gather, pressure, body_force)[..., None]
        blocks = [slice(i, i + BLOCK) for i in range(0, len(rises), BLOCK)]
        found = [
            self._expand(corner_strain(self.solid, rises[b], strains[b]), outer) for b in blocks
        ]
        u, reaction, residual, balance = zip(*found, strict=True)
        shape = (*lead, *self.restraint.held.shape)
        return Displacement(
            np.concatenate(u).reshape(shape),
            np.concatenate(reaction).reshape(shape),
            max(residual),
            max(balance),
            len(self.columns.free),
            perf_counter() - start,
        )

    def _expand(self, strain: Floats, outer: Floats) -> tuple[Floats, Floats, float, float]:
        """u, reaction, both (k, nz + 1, n, 3), residual and balance of one block of loads."""
        load = nodal_forces(self.gather, self.F @ strain) + outer + self._springs()
        moved = stretches(self.restraint.displacement, self.solid.exists)[..., None]
        moved_force = self._force(moved)
        q, residual = self._solve(moved, load, moved_force)
        held = self.restraint.held[..., None]
        reaction = np.where(held, self._force(q, self._clamped_cells()) - load, 0.0)
        u = np.cumsum(q, axis=0)
        push = outer + self._springs(u) + reaction
        balance = self._balance(push, np.abs(load) + np.abs(reaction) + np.abs(moved_force))
        u[~self.solid.exists] = np.nan
        return np.moveaxis(u, -1, 0), np.moveaxis(reaction, -1, 0), residual, balance

    def again(self, alpha: Floats, supports: tuple[Support, ...]) -> "HeldSolid":
        """The body with another expansion and base growth; stiffness and factor stay.

        alpha : 1/K, shape (nz, m);  supports : those of `hold`, of the same stiffness
        """
        solid = replace(self.solid, alpha=np.asarray(alpha, float))
        return replace(self, solid=solid, restraint=restrain(solid, supports))

    def _clamped_cells(self) -> Ints:
        """Plan cells that touch a held node: they alone pull at it."""
        held: Bools = np.any(self.restraint.held, axis=(0, 2))
        return np.flatnonzero(held[self.solid.quads].any(axis=0))

    def _force(self, q: Floats, cells: Ints | None = None) -> Floats:
        """K q as forces on the nodes, N, shape (nz + 1, n, 3, k), without the springs' pull.

        cells : plan cells that are summed; None sums all
        """
        u = np.cumsum(q, axis=0)
        stiffness, quads, gather = self.K, self.solid.quads, self.gather
        if cells is not None:
            corners = (4 * cells[:, None] + np.arange(4)).ravel()
            stiffness, quads, gather = stiffness[:, cells], quads[:, cells], gather[:, corners]
        force = self._springs() - self._springs(u)
        force = np.repeat(force, q.shape[-1] // force.shape[-1], axis=-1)
        for k, K in enumerate(stiffness):
            add_forces(force[k : k + 2], gather, K @ _cell_unknowns(u[k], q[k + 1], quads))
        return force

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

    def _solve(self, q: Floats, load: Floats, force: Floats) -> tuple[Floats, float]:
        """Full unknowns q, m, and the residual, by the factor and refinement of its answer.

        q, force : unknowns with the clamps alone moved, m, and K q, N
        """
        held = self.restraint.held[..., None]
        scale, residual = np.zeros(load.shape[-1]), np.inf
        for sweep in range(SWEEPS):
            f = self.columns.forces(np.where(held, 0.0, load - force))
            x = self.factor.solve(f)
            work = np.sqrt(np.maximum((f * x).sum(axis=0), 0.0))
            scale = work if sweep == 0 else scale
            residual = float(np.max(work / np.where(scale > 0, scale, 1.0), initial=0.0))
            q = q + self.columns.unknowns(x)
            if sweep and residual <= RESIDUAL:
                break
            force = self._force(q)
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


def _corners(u: Floats, quads: Ints) -> Floats:
    """Plan-node values (..., n, 3, k) at the corners of the plan cells, (..., m, 12, k)."""
    at = u[..., quads.T, :, :]
    return at.reshape(*at.shape[:-3], 12, at.shape[-1])


def _cell_unknowns(u: Floats, d: Floats, quads: Ints) -> Floats:
    """(u, d) of the cells of one layer, m, shape (m, 24, k), of lower u and stretch d, (n, 3, k).

    u is counted from the cell's first corner: its motion as a whole strains nothing and would cost
    the digits of a thin sheet's shear.
    """
    cell = np.empty((quads.shape[1], 8, *d.shape[1:]))
    cell[:, :4], cell[:, 4:] = u[quads.T], d[quads.T]
    cell[:, 1:4] -= cell[:, :1]
    cell[:, 0] = 0.0
    return cell.reshape(len(cell), 24, d.shape[-1])


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
    one = np.ones(m)  # F per unit strain
    for k, t in enumerate(np.diff(solid.levels)):
        on = np.flatnonzero(solid.active[k])
        for i in (on[first : first + CHUNK] for first in range(0, len(on), CHUNK)):
            K[k, i], F[k, i], _, _ = layer_matrices(
                corners[i], t, solid.E[k, i], solid.nu[k, i], one[i], soft[k, i]
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
    free_strain: Floats | None = None,
    pressure: Floats | float | None = None,
    body_force: Floats | None = None,
) -> Displacement:
    """Displacement of a held body under a rise, a free strain, pressure and body force.

    Equation (1) of the module; solved directly, refined and checked.

    Parameters
    ----------
    solid : the body
    rise : temperature above the reference, K, at each cell's corners (lower and upper face, four
        plan corners), shape (..., nz, m, 2, 4); it may jump between cells; void is not read
    supports : pins, joined faces and clamps
    free_strain : isotropic strain of a cell left to itself, on top of alpha times rise: shrinkage
        < 0, swelling > 0; shape (..., nz, m); void is not read
    pressure : pressure on the lit face, along the beam, Pa, shape (m,) or one number
    body_force : force per volume at each cell's corners, N/m3, shape (nz, m, 2, 4, 3)

    Raises
    ------
    PhysicsError : supports that leave a rigid motion free; loads of a wrong shape or not finite
    SolveError : residual or net force or moment above 1e-9
    """
    return hold(solid, supports).expand(
        rise, free_strain=free_strain, pressure=pressure, body_force=body_force
    )
