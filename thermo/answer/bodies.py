"""Mask and sample as elastic bodies: their grids, properties, supports, and the rise in them.

Each layer is one elastic layer (the resist two): the thin-layer hexahedron needs no more.  The
rise through a layer is its best straight line: same mean and same first moment, which is what
moves and bends a layer.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.answer.state import State
from thermo.case import Case
from thermo.case.stack import Layer, Stack
from thermo.elastic import FaceSprings, Held, HeldSolid, Pins, Solid, Support, hold
from thermo.errors import MaterialError
from thermo.mesh import Grid, rim

Array = NDArray[np.float64]
HARD = 1e13  # N/m3: a back that rests on its holder through a bare contact


@dataclass(frozen=True)
class Body:
    """A held body and how its cells sit in the heat grid.

    nodes, cells : plan nodes and cells of the heat grid that the body keeps
    slabs : for each elastic layer, the heat slabs it takes together, None where void
    """

    held: HeldSolid
    supports: "MakeSupports"
    nodes: NDArray[np.int64]
    cells: NDArray[np.int64]
    slabs: tuple[slice, ...]

    def again(self, state: State) -> "Body":
        """The same body with the expansion and the base growth of another state."""
        solid, stack = self.held.solid, state.scene.stack
        alpha = np.zeros_like(solid.alpha)
        for i, s in enumerate(self.slabs):
            number = int(state.meshed.grid.layer[s.start])
            alpha[i] = elastic_constants(stack.layers[number], state.layer_T[number])[2]
        return replace(self, held=self.held.again(alpha, self.supports(state, solid)))

    def rise(self, grid: Grid, T: Array, reference: float) -> Array:
        """Rise above the reference at the cells' corners, K, (layers, cells, 2, 4)."""
        quads = grid.plan.quads[:, self.cells]
        ends = [straight(grid.levels[_levels(s)], T[_levels(s)] - reference) for s in self.slabs]
        return np.stack([e[:, quads].transpose(2, 0, 1) for e in ends])

    def expand(self, grid: Grid, T: Array, reference: float) -> tuple[Array, float]:
        """Displacement (levels, nodes, 3) m of the body's own nodes, and the solve's residual."""
        found = self.held.expand(np.nan_to_num(self.rise(grid, T, reference)))
        return found.u, found.residual


def straight(z: Array, T: Array) -> Array:
    """Best straight line through piecewise linear T (levels, ...) over z: values at both ends."""
    middle, h = (z[0] + z[-1]) / 2, z[-1] - z[0]
    dz = np.diff(z).reshape((-1,) + (1,) * (T.ndim - 1))
    a, b = T[:-1], T[1:]
    lever = (z[:-1] - middle).reshape(dz.shape)
    mean = (dz * (a + b) / 2).sum(0) / h
    moment = (dz * (lever * (a + b) / 2 + dz * (a + 2 * b) / 6)).sum(0)
    bend = 6 * moment / h**2
    return np.stack([mean - bend, mean + bend])


def _levels(slabs: slice) -> slice:
    return slice(slabs.start, slabs.stop + 1)


def sample_body(state: State) -> Body:
    """Resist and base layers on their joint."""
    stack, grid = state.scene.stack, state.meshed.grid
    layers = [layer for layer in stack.layers if layer.body == "sample"]
    slabs: list[slice] = []
    for layer in layers:
        own = grid.slabs(stack.index(layer.name))
        if layer is stack.resist and own.stop - own.start > 1:
            half = grid.levels[own.start] + layer.thickness / 2
            cut = own.start + int(np.abs(grid.levels[_levels(own)] - half).argmin())
            slabs += [slice(own.start, cut), slice(cut, own.stop)]
        else:
            slabs.append(own)
    return _body(state, slabs, _sample_supports)


def mask_body(state: State) -> Body:
    """Frame, membrane and absorber."""
    stack, grid = state.scene.stack, state.meshed.grid
    names = ("frame", "membrane", "absorber")
    return _body(state, [grid.slabs(stack.index(n)) for n in names], _mask_supports)


Supports = tuple[Support, ...]
MakeSupports = Callable[[State, Solid], Supports]


def _body(state: State, slabs: list[slice], supports: MakeSupports) -> Body:
    stack, grid = state.scene.stack, state.meshed.grid
    active = np.stack([grid.active[s.start] for s in slabs])
    E, nu, alpha, tension = (np.zeros(active.shape) for _ in range(4))
    for i, s in enumerate(slabs):
        number = int(grid.layer[s.start])
        layer, T = stack.layers[number], state.layer_T[number]
        E[i], nu[i], alpha[i] = elastic_constants(layer, T)
        if layer.name == "membrane":
            clear = stack.pattern.clear
            stretched = clear.covers(*grid.plan.centres)
            tension[i] = np.where(stretched, state.scene.case.mask.membrane.tension.value, 0.0)
        if layer.name == "absorber":
            stiff = _metal_share(state, stack)
            active[i] &= stiff > 0
            E[i] *= np.maximum(stiff, 1e-6)
    cells = np.flatnonzero(active.any(0))
    nodes, quads = np.unique(grid.plan.quads[:, cells], return_inverse=True)
    levels = np.array([grid.levels[s.start] for s in slabs] + [grid.levels[slabs[-1].stop]])
    solid = Solid(
        grid.plan.points[:, nodes],
        quads.reshape(4, -1),
        levels,
        active[:, cells],
        E[:, cells],
        nu[:, cells],
        alpha[:, cells],
        tension[:, cells],
    )
    return Body(hold(solid, supports(state, solid)), supports, nodes, cells, tuple(slabs))


def elastic_constants(layer: Layer, T: float) -> tuple[float, float, float]:
    """Young's modulus (Pa), Poisson ratio and expansion (1/K) of a layer at T (K)."""
    m = layer.material
    E, nu, alpha = m.youngs_modulus, m.poisson_ratio, m.expansion
    if E is None or nu is None or alpha is None:
        raise MaterialError(f"{m.name} has no elastic properties; only solids can be layers")
    return E(T), nu(T), alpha(T)


def _metal_share(state: State, stack: Stack) -> Array:
    """In-plane stiffness of the absorber layer over that of its metal, (cells,).

    Connected metal with openings: c/(3 - 2c), the bound for holes in a sheet (Z. Hashin and S.
    Shtrikman, J. Mech. Phys. Solids 11 (1963) 127, 2D form from memory, Poisson ratio 1/3).
    Islands do not carry from one to the next: 0; that they stiffen their own spot is left out.
    """
    coverage = stack.pattern.coverage(*state.meshed.grid.plan.centres)
    if state.scene.case.mask.absorber.kind == "islands":
        return np.where(coverage >= 1, 1.0, 0.0)
    return np.asarray(coverage / (3 - 2 * coverage))


def _mask_supports(state: State, solid: Solid) -> Supports:
    """free: three-two-one pins on the frame's lit face; clamped: that face follows its mount.

    The mount is taken to be of the frame's material and at the temperature of its water.
    """
    if state.scene.case.mask.frame.held == "free":
        return (Pins(0),)
    face = np.zeros(solid.points.shape[1], bool)
    face[solid.quads[:, solid.active[0]]] = True
    drawn = np.zeros((len(solid.levels), solid.points.shape[1], 3))
    drawn[..., :2] = mount_growth(state.scene.case, state.scene.stack) * solid.points.T
    return (Held(face, "xy", (0,), drawn), Held(face & _rim(solid), "z", (0,)))


def _sample_supports(state: State, solid: Solid) -> Supports:
    """The ways to hold a sample; the base it is tied to grows like the holder's material."""
    case, stack = state.scene.case, state.scene.stack
    sample = case.sample
    kt, kn = joint_stiffness(state)
    back = len(solid.levels) - 1
    growth = holder_growth(state)
    if sample.held == "free":
        return (Pins(back, along_beam=False), FaceSprings(back, 0.0, kn))
    if sample.held == "glued":
        return (FaceSprings(back, kt, kn, growth=growth),)
    face = stack.resist.outline
    if sample.held == "taped":
        assert sample.patch is not None  # the case room asks for it
        x, y = np.abs(solid.corners.mean(1)).T
        side = sample.patch.value
        corner = (x > face.width / 2 - side) & (y > face.height / 2 - side)
        return (FaceSprings(back, kt, kn, cells=corner, growth=growth),)
    edge = _rim(solid)
    drawn = np.zeros((len(solid.levels), solid.points.shape[1], 3))
    drawn[..., :2] = growth * solid.points.T
    return (Held(edge, "xy", (0,), drawn), Held(edge, "z", (back,)))


def _rim(solid: Solid) -> NDArray[np.bool_]:
    """Nodes on the outer edge of a body."""
    nodes = np.zeros(solid.points.shape[1], bool)
    nodes[rim(solid.quads)] = True
    return nodes


def joint_stiffness(state: State) -> tuple[float, float]:
    """Shear and normal stiffness of the joint per area, kt = G/t and kn = E_oed/t, N/m3."""
    number = state.scene.stack.index("joint")
    joint = state.scene.stack.layers[number]
    if joint.material.kind == "gas":
        return HARD, HARD
    E, nu, _ = elastic_constants(joint, state.layer_T[number])
    shear = E / (2 * (1 + nu))
    hindered = E * (1 - nu) / ((1 + nu) * (1 - 2 * nu))
    return shear / joint.thickness, hindered / joint.thickness


def mount_growth(case: Case, stack: Stack) -> float:
    """Strain of the frame's mount against the mask's temperature of measurement."""
    T = (case.mask.frame.water or case.chamber.temperature).value
    _, _, alpha = elastic_constants(stack.layer("frame"), T)
    return alpha * (T - case.mask.measured_at.value)


def holder_growth(state: State) -> float:
    """Strain of the holder at its mean temperature against the sample's measurement."""
    T = state.layer_T[-1]
    _, _, alpha = elastic_constants(state.scene.stack.layer("holder"), T)
    return alpha * (T - state.scene.case.sample.measured_at.value)
