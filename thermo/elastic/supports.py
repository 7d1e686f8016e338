"""How a body is held: three-two-one pins, facet springs of a joint, held components of nodes.

Every support is reduced to two things: displacements that are prescribed at nodes, and springs
that act on the facets of one level. A set that leaves a rigid motion free is recognised here,
before anything is solved.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from thermo.elastic.hexahedron import plan_matrices
from thermo.elastic.solid import Bools, Floats, Ints, Solid
from thermo.errors import PhysicsError

AXES = "xyz"
FREE = 1e-13  # of the stiffest motion: a foil of 1 um over 100 mm clamped at its edge is at 1e-10
MOTIONS = (
    "move along x",
    "move along y",
    "move along z",
    "turn about x",
    "turn about y",
    "turn about z",
)


@dataclass(frozen=True)
class Pins:
    """Three-two-one pins: six constraints that stop rigid motion and stress nothing.

    In the plane the node nearest the middle of the body is pinned in x and y and the node farthest
    from it along x in y alone; along the beam three corner nodes are pinned. A body loaded
    symmetrically about a node in its middle is therefore not shifted. Where no node lies level with
    the middle one, growth turns the body a little: take rigid motion out before comparing shapes.

    Parameters
    ----------
    level : index of the level whose nodes are pinned
    along_beam : False leaves out the three pins along the beam, for a back that lies on springs
    """

    level: int
    along_beam: bool = True


@dataclass(frozen=True)
class FaceSprings:
    """Facet springs of a glued, taped or greased face on a base that grows by itself.

        traction on the body = -k (u - growth x),   k = (kt, kt, kn),  x about the plan origin

    A joint of thickness t_j has kt = G/t_j and kn = E_oed/t_j with E_oed the modulus at hindered
    sideways strain. kt = 0 lets the face slide.

    Parameters
    ----------
    level : index of the level that carries the facets
    kt : stiffness in the plane, N/m3, >= 0
    kn : stiffness along the beam, N/m3, >= 0
    cells : plan cells whose facet is joined, shape (m,); None joins every solid one
    growth : strain of the base in the plane, -, for instance alpha times its rise
    """

    level: int
    kt: float
    kn: float
    cells: Bools | None = None
    growth: float = 0.0


@dataclass(frozen=True)
class Held:
    """Displacement components prescribed on a set of nodes: clamps.

    A clamped rim holds x and y on its face but z on one edge line only: holding z on the whole
    face squeezes the layers and puts the stress 1-2 % off.

    Parameters
    ----------
    nodes : plan nodes that are held, shape (n,)
    components : letters of the held components, for instance "xy"
    levels : indices of the levels on which they are held; None means all
    displacement : prescribed displacement, m, shape (nz + 1, n, 3); None means zero
    """

    nodes: Bools
    components: str
    levels: tuple[int, ...] | None = None
    displacement: Floats | None = None


Support = Pins | FaceSprings | Held


@dataclass(frozen=True)
class Spring:
    """Springs on the facets of one level, ready to assemble.

    level : index; stiffness : N/m, shape (m, 12, 12); pull : load of the growing base, N, (m, 12)
    """

    level: int
    stiffness: Floats
    pull: Floats


@dataclass(frozen=True)
class Restraint:
    """All supports of a body: held (nz + 1, n, 3), their displacement (m), and its springs."""

    held: Bools
    displacement: Floats
    springs: tuple[Spring, ...]


def restrain(solid: Solid, supports: tuple[Support, ...]) -> Restraint:
    """Reduce supports to prescribed displacements and springs; refuse a body that can still move.

    Raises
    ------
    PhysicsError : a support that touches nothing or has a negative stiffness; supports that leave
        a rigid motion of the body, or of a loose piece of it, free
    """
    shape = (*solid.exists.shape, 3)
    held, displacement = np.zeros(shape, bool), np.zeros(shape)
    grip = np.zeros(shape, bool)  # components of nodes that springs hold
    springs = []
    for support in supports:
        if isinstance(support, FaceSprings):
            spring, touched = _springs(solid, support)
            springs.append(spring)
            grip[spring.level, touched] |= np.array([support.kt, support.kt, support.kn]) > 0
            continue
        mask = _pinned(solid, support) if isinstance(support, Pins) else _held(solid, support)
        held |= mask
        if isinstance(support, Held) and support.displacement is not None:
            displacement[mask] = np.broadcast_to(support.displacement, shape)[mask]
    if not np.isfinite(displacement).all():
        raise PhysicsError(
            "prescribed displacement must be finite, got nan or inf m; mend the clamp"
        )
    _refuse_mechanism(solid, held | grip)
    return Restraint(held, displacement, tuple(springs))


def _level(solid: Solid, level: int) -> int:
    count = len(solid.levels)
    if not -count <= level < count:
        raise PhysicsError(f"the body has levels 0 to {count - 1}, got {level}; name one of them")
    return level % count


def _pinned(solid: Solid, pins: Pins) -> Bools:
    """Components held by three-two-one pins, shape (nz + 1, n, 3)."""
    level = _level(solid, pins.level)
    nodes = np.flatnonzero(solid.exists[level])
    if len(nodes) < 3:
        raise PhysicsError(
            f"level {level} has {len(nodes)} nodes, pins need 3; pin a level that solid cells touch"
        )
    p = solid.points[:, nodes]
    size = np.ptp(p, axis=1, keepdims=True)
    p = (p - p.min(axis=1, keepdims=True)) / size - 0.5  # the plan's box becomes a unit square
    middle = np.argmin(np.round(np.hypot(*p), 9))
    aside = np.argmax(np.round(np.abs(p[0] - p[0, middle]) - np.abs(p[1] - p[1, middle]), 9))
    held = np.zeros((*solid.exists.shape, 3), bool)
    held[level, nodes[middle], :2] = held[level, nodes[aside], 1] = True
    if pins.along_beam:
        corners = [
            np.argmax(np.round(x * p[0] + y * p[1], 9)) for x, y in ((-1, -1), (1, -1), (-1, 1))
        ]
        held[level, nodes[corners], 2] = True
    return held


def _held(solid: Solid, support: Held) -> Bools:
    """Components held by a clamp, shape (nz + 1, n, 3)."""
    if not support.components or set(support.components) - set(AXES):
        raise PhysicsError(f"held components must be of x, y, z, got '{support.components}'")
    if np.shape(support.nodes) != solid.exists.shape[1:]:
        raise PhysicsError(
            f"held nodes have shape {np.shape(support.nodes)}, needs {solid.exists.shape[1:]};"
            " give one True or False a plan node"
        )
    levels = range(len(solid.levels)) if support.levels is None else support.levels
    on_level = np.zeros(len(solid.levels), bool)
    on_level[[_level(solid, k) for k in levels]] = True
    nodes = solid.exists & on_level[:, None] & np.asarray(support.nodes, bool)
    if not nodes.any():
        raise PhysicsError(
            "a clamp holds 0 nodes of the body, needs at least 1; move it onto solid"
        )
    components: Bools = np.isin(list(AXES), list(support.components))
    held: Bools = nodes[:, :, None] & components
    return held


def _springs(solid: Solid, support: FaceSprings) -> tuple[Spring, Ints]:
    """Spring stiffness and pull of a joined face, and the plan nodes it touches."""
    level = _level(solid, support.level)
    k = np.array([support.kt, support.kt, support.kn])
    if not ((k >= 0) & np.isfinite(k)).all() or not np.isfinite(support.growth):
        raise PhysicsError(
            f"spring stiffness must be >= 0 N/m3 and growth finite, got kt {support.kt:.4g},"
            f" kn {support.kn:.4g} N/m3, "
            f" growth {support.growth:.4g}; leave the joint out if it is loose"
        )
    solid_facet: Bools = np.any(solid.active[max(level - 1, 0) : level + 1], axis=0)
    joined: Bools = solid_facet if support.cells is None else np.asarray(support.cells, bool)
    if joined.shape != solid_facet.shape or not joined.any() or (joined & ~solid_facet).any():
        raise PhysicsError(
            f"joined cells must be solid facets of level {level}, one True or False for each of the"
            f" {len(solid_facet)} plan cells, got {joined.sum()} cells;"
            " join cells the body has there"
        )
    mass, _ = plan_matrices(solid.corners)
    mass *= joined[:, None, None]
    stiffness = np.einsum("mab,kl->makbl", mass, np.diag(k)).reshape(-1, 12, 12)
    base = np.zeros((len(mass), 4, 3))
    base[:, :, :2] = support.growth * solid.corners
    pull = np.einsum("mij,mj->mi", stiffness, base.reshape(-1, 12))
    return Spring(level, stiffness, pull), np.unique(solid.quads[:, joined])


def rigid_motions(solid: Solid, about: Floats) -> Floats:
    """Displacement of the nodes under the six unit rigid motions, shape (nz + 1, n, 3, 6).

    Three translations (m per m) and three rotations (m per rad) about a point, m, shape (3,).
    """
    nz1, n = solid.exists.shape
    x, y = (solid.points - about[:2, None])[:, None, :]
    z = (solid.levels - about[2])[:, None]
    zero = np.zeros((nz1, n))
    x, y, z = x + zero, y + zero, z + zero
    modes = np.zeros((nz1, n, 3, 6))
    modes[..., [0, 1, 2], [0, 1, 2]] = 1.0
    modes[..., 3] = np.stack([zero, -z, y], axis=-1)
    modes[..., 4] = np.stack([z, zero, -x], axis=-1)
    modes[..., 5] = np.stack([-y, x, zero], axis=-1)
    return modes


def _pieces(solid: Solid) -> Ints:
    """Number of the connected piece of each node, shape (nz + 1, n); void nodes are their own."""
    nz1, n = solid.exists.shape
    layers, cells = np.nonzero(solid.active)
    corner = solid.quads[:, cells] + n * layers
    nodes = np.concatenate([corner, corner + n])
    first = np.broadcast_to(nodes[0], nodes.shape)
    links = coo_array((np.ones(nodes.size, bool), (first.ravel(), nodes.ravel())), (nz1 * n,) * 2)
    return np.asarray(connected_components(links, directed=False)[1], np.int64).reshape(nz1, n)


def _refuse_mechanism(solid: Solid, gripped: Bools) -> None:
    """Raise if a piece of the body keeps a rigid motion: rank of the supports' action below six."""
    piece = _pieces(solid)
    for number in np.unique(piece[solid.exists]):
        mine = solid.exists & (piece == number)
        level, node = np.nonzero(mine)
        place = np.column_stack([solid.points[:, node].T, solid.levels[level]])
        middle, reach = place.mean(axis=0), np.ptp(place, axis=0).max()
        modes = rigid_motions(solid, middle)
        modes[..., 3:] /= reach
        action = modes[mine][gripped[mine]]
        values, vectors = np.linalg.eigh(action.T @ action)
        if not values[0] > FREE * values[-1]:
            free = MOTIONS[int(np.argmax(np.abs(vectors[:, 0])))]
            raise PhysicsError(
                f"a piece of {mine.sum()} nodes can still {free}: its supports stop"
                f" {int((values > FREE * values[-1]).sum())} of 6 rigid motions;"
                " add pins, a joined face or a clamp"
            )
