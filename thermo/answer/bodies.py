"""Mask and sample as elastic bodies on a plan of their own: properties, supports, displacement.

Each layer is one elastic layer (the resist two): the thin-layer hexahedron needs no more.
What a body is tied to grows as a whole: its share is a displacement of its own, times that growth.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.answer.mounts import elastic_constants, mask_supports, sample_supports
from thermo.answer.rise import Slab, Transfer, transfer
from thermo.answer.scene import Meshed
from thermo.answer.state import State
from thermo.elastic import HeldSolid, Solid, hold
from thermo.elastic.hexahedron import plan_matrices
from thermo.materials import Sheet, patterned_metal
from thermo.mesh import Plan, interpolation, layer_presence

Array = NDArray[np.float64]
Name = Literal["mask", "sample"]
ALIKE = 2e-3  # of its expansion: what counts as no change


@dataclass(frozen=True)
class Body:
    """A held body whose base or mount is at rest, and what their growth does to it.

    slabs : its elastic layers;  nodes, cells : its own of the plan of the bodies
    grown : displacement for a strain of 1 of base or mount, m, (levels, nodes, 3)
    free : the level a free body lies on, None where it is tied
    """

    name: Name
    held: HeldSolid
    slabs: tuple[Slab, ...]
    nodes: NDArray[np.int64]
    cells: NDArray[np.int64]
    grown: Array
    free: int | None

    def again(self, state: State) -> "Body":
        """The same body with the expansion of another state; stiffness and factor stay."""
        alpha = _properties(state, self.slabs).alpha[:, self.cells]
        return replace(self, held=replace(self.held, solid=replace(self.held.solid, alpha=alpha)))

    def is_like(self, other: "Body") -> bool:
        """Whether another one is held by the same factor and grows by the same, but for a hair."""
        if self.held.factor is not other.held.factor:
            return False
        return is_near(self.held.solid.alpha, other.held.solid.alpha)

    def transfer(self, meshed: Meshed) -> Transfer:
        """How temperatures of a heat mesh reach this body."""
        return transfer(meshed, self.held.solid.points, self.held.solid.quads, self.slabs)

    def displacement(
        self, rise: Array, growth: Array, free_strain: Array | None = None
    ) -> tuple[Array, float]:
        """Displacement (k, levels, nodes, 3) m under rises and growths (k,), and the residual.

        rise : K, at the cells' corners, (k, slabs, cells, 2, 4)
        free_strain : of the cells, in every load, (slabs, cells)
        """
        found = self.held.expand(rise, free_strain=free_strain)
        u = found.u + growth[:, None, None, None] * self.grown
        if self.free is not None:
            u = centred(self.held.solid, u, self.free)
        return u, found.residual

    def at_points(self, meshed: Meshed, points: Array) -> sparse.csr_array:
        """Weights of the body's nodal values at points (2, n) m, (n, nodes)."""
        return interpolation(meshed.bodies, points)[:, self.nodes]


def is_near(alpha: Array | float, other: Array | float) -> bool:
    """Whether expansions differ by a hair only, 1/K."""
    return bool(np.all(np.abs(np.subtract(alpha, other)) <= ALIKE * np.abs(other)))


def make_body(state: State, name: Name) -> Body:
    """Mask or sample of a state, held as the case says."""
    plan = state.meshed.bodies
    slabs = _slabs(state, name)
    found = _properties(state, slabs)
    cells = np.flatnonzero(found.active.any(0))
    nodes, quads = np.unique(plan.quads[:, cells], return_inverse=True)
    levels = np.array([s.top for s in slabs] + [slabs[-1].bottom])
    solid = Solid(
        plan.points[:, nodes],
        quads.reshape(4, -1),
        levels,
        found.active[:, cells],
        found.E[:, cells],
        found.nu[:, cells],
        found.alpha[:, cells],
        found.tension[:, cells],
    )
    supports = mask_supports if name == "mask" else sample_supports
    held = hold(solid, supports(state, solid, 0.0))
    tied = held.again(solid.alpha, supports(state, solid, 1.0))
    grown = tied.expand(np.zeros((*solid.active.shape, 2, 4))).u
    case = state.scene.case
    how, level = (case.mask.frame, 0) if name == "mask" else (case.sample, len(levels) - 1)
    return Body(name, held, slabs, nodes, cells, grown, level if how.held == "free" else None)


def centred(solid: Solid, u: Array, level: int) -> Array:
    """Displacements u (k, levels, nodes, 3) without the mean motion of a face in its plane.

    What lies free has no place to count from: pins would turn a bend of the line between them into
    a turn of the whole.  Taken away is the rigid motion with, over the face,

        int u dA = 0,   int (x u_y - y u_x) dA = 0     x, y from its middle
    """
    mass, _ = plan_matrices(solid.corners)
    mass = np.where(solid.active[min(level, len(solid.active) - 1), :, None], mass.sum(2), 0.0)
    area = np.bincount(solid.quads.T.ravel(), mass.ravel(), solid.points.shape[1])
    x, y = solid.points - (solid.points @ area / area.sum())[:, None]
    ux, uy, _ = np.moveaxis(np.nan_to_num(u[:, level]), -1, 0)
    along = np.stack([ux @ area, uy @ area], axis=-1) / area.sum()
    turn = (uy @ (area * x) - ux @ (area * y)) / (area @ (x**2 + y**2))
    found = u.copy()
    found[..., :2] -= along[:, None, None]
    found[..., :2] -= turn[:, None, None, None] * np.stack([-y, x], axis=-1)
    return found


def _slabs(state: State, name: Name) -> tuple[Slab, ...]:
    """Elastic layers of a body in beam order, z = 0 at the resist's lit face."""
    stack = state.scene.stack
    thickness = np.array([layer.thickness for layer in stack.layers])
    first = stack.index(stack.resist.name)
    ends = np.concatenate([[0], np.cumsum(thickness)]) - thickness[:first].sum()
    found = []
    for i, layer in enumerate(stack.layers):
        if layer.body != name:
            continue
        cuts = np.linspace(ends[i], ends[i + 1], 3 if i == first else 2)
        own = layer.thickness / layer.material.conductivity(state.layer_T[i])
        jump = layer.resistance / (own + layer.resistance)
        found += [Slab(i, a, b, jump) for a, b in pairwise(cuts.tolist())]
    return tuple(found)


class _Properties(NamedTuple):
    """Cells of a body's slabs over the plan of the bodies, each (slabs, cells)."""

    active: NDArray[np.bool_]
    E: Array
    nu: Array
    alpha: Array
    tension: Array


def _properties(state: State, slabs: Sequence[Slab]) -> _Properties:
    stack, plan = state.scene.stack, state.meshed.bodies
    active = layer_presence(stack, plan)[[s.layer for s in slabs]]
    E, nu, alpha, tension = (np.zeros(active.shape) for _ in range(4))
    for i, s in enumerate(slabs):
        layer = stack.layers[s.layer]
        E[i], nu[i], alpha[i] = elastic_constants(layer, state.layer_T[s.layer])
        if layer.name == "membrane":
            clear = stack.pattern.clear.covers(*plan.centres)
            tension[i] = np.where(clear, state.scene.case.mask.membrane.tension.value, 0.0)
        if layer.name == "absorber":
            E[i], nu[i] = _patterned(state, plan)
            active[i] &= E[i] > 0
    return _Properties(active, E, nu, alpha, tension)


def _patterned(state: State, plan: Plan) -> tuple[Array, Array]:
    """Young's modulus (Pa) and Poisson ratio of the absorber as an even layer, (cells,)."""
    stack, T = state.scene.stack, state.layer_T
    sheets = []
    for name in ("absorber", "membrane"):
        i = stack.index(name)
        E, nu, _ = elastic_constants(stack.layers[i], T[i])
        sheets.append(Sheet(E, nu, stack.layers[i].thickness))
    coverage = stack.pattern.coverage(*plan.centres)
    return patterned_metal(coverage, state.scene.case.mask.absorber.kind, *sheets)
