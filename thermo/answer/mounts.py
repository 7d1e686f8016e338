"""How mask and sample are held: the case's words as supports of elastic bodies.

What a body is tied to grows as a whole: `growth`, its strain in the plane against the body as it
was measured.  A support's stiffness never depends on it.
"""

import numpy as np
from numpy.typing import NDArray

from thermo.answer.state import State
from thermo.case import Case
from thermo.case.patches import Patch, frame_patches, sample_patches
from thermo.case.stack import Layer, Stack
from thermo.elastic import FaceSprings, Held, Pins, Solid, Support
from thermo.errors import MaterialError
from thermo.materials import Material
from thermo.mesh import Plan, rim

__all__ = [
    "HARD",
    "Supports",
    "elastic_constants",
    "joint_stiffness",
    "mask_supports",
    "mount_growth",
    "sample_supports",
]

HARD = 1e13  # N/m3: what rests on its base, or is screwed to it, through a bare contact
Supports = tuple[Support, ...]
Floats = NDArray[np.float64]


def mask_supports(state: State, solid: Solid, growth: float) -> Supports:
    """The ways to hold a frame, by its lit face.

    free : three-two-one pins;  clamped : pressed flat on its mount, the face follows it in the
    plane and does not move along the beam, so that the frame cannot roll;  glued : the whole face
    on its joint;  taped : its corners on it;  screwed : three places on a hard contact
    springs : three places on a stiffness each

    Parameters
    ----------
    growth : strain of the mount, as `mount_growth` has it
    """
    case, stack = state.scene.case, state.scene.stack
    frame, face = case.mask.frame, 0
    if frame.held == "free":
        return (Pins(face),)
    if frame.held == "clamped":
        nodes = np.zeros(solid.points.shape[1], bool)
        nodes[solid.quads[:, solid.active[face]]] = True
        return (Held(nodes, "xyz", (face,), _drawn(solid, growth)),)
    patches = frame_patches(case, stack)
    if frame.joint is not None:
        number = stack.index("frame")
        stuff, t = case.materials[frame.joint.material], frame.joint.thickness.value
        kt, kn = _layer_stiffness(stuff, t, state.layer_T[number])
        return _joined(solid, face, kt, kn, growth, patches)
    if frame.stiffness is not None:
        return _sprung(solid, face, frame.stiffness.value, growth, patches)
    return _joined(solid, face, HARD, HARD, growth, patches)


def sample_supports(state: State, solid: Solid, growth: float) -> Supports:
    """The ways to hold a sample, by its back; a clamp also by its edge.

    Linear springs pull as well as push: a back that would lift off its holder is held down.

    free : the back slides on its joint;  glued : it sticks to it all over;  taped : at the corners
    alone;  clamped : the edge follows the holder through its whole thickness, the back slides on
    its joint;  screwed, springs : so does it, and three places at its edge are held by a hard
    contact or by a stiffness each

    Parameters
    ----------
    growth : strain of the holder against the temperature of measurement
    """
    case, stack = state.scene.case, state.scene.stack
    sample, back = case.sample, len(solid.levels) - 1
    kt, kn = joint_stiffness(state)
    lies = FaceSprings(back, 0.0, kn)
    patches = sample_patches(case, stack)
    match sample.held:
        case "free":
            return (Pins(back, along_beam=False), lies)
        case "glued" | "taped":
            return _joined(solid, back, kt, kn, growth, patches)
        case "clamped":
            edge = np.zeros(solid.points.shape[1], bool)
            edge[rim(solid.quads)] = True
            return (Held(edge, "xy", None, _drawn(solid, growth)), lies)
        case "screwed":
            return (lies, *_joined(solid, back, HARD, HARD, growth, patches))
        case "springs":
            assert sample.stiffness is not None  # the case room asks for it
            return (lies, *_sprung(solid, back, sample.stiffness.value, growth, patches))


def _drawn(solid: Solid, growth: float) -> Floats:
    """Displacement in the plane of all nodes by the strain of what the body is tied to, m."""
    drawn = np.zeros((len(solid.levels), solid.points.shape[1], 3))
    drawn[..., :2] = growth * solid.points.T
    return drawn


def _joined(
    solid: Solid, level: int, kt: float, kn: float, growth: float, patches: tuple[Patch, ...]
) -> Supports:
    """A face on springs per area (N/m3), in its patches or, without any, all over."""
    if not patches:
        return (FaceSprings(level, kt, kn, growth=growth),)
    found = []
    for patch in patches:
        cells, area = _cells(solid, level, patch)
        share = patch.area / area
        found.append(FaceSprings(level, share * kt, share * kn, cells=cells, growth=growth))
    return tuple(found)


def _sprung(
    solid: Solid, level: int, stiffness: float, growth: float, patches: tuple[Patch, ...]
) -> Supports:
    """A spring (N/m) of equal stiffness in all directions for each patch, spread over its cells."""
    own = [_cells(solid, level, patch) for patch in patches]
    return tuple(
        FaceSprings(level, stiffness / area, stiffness / area, cells=cells, growth=growth)
        for cells, area in own
    )


def _cells(solid: Solid, level: int, patch: Patch) -> tuple[NDArray[np.bool_], float]:
    """Plan cells of a face whose middle lies in a patch, or the nearest one; and their area, m2."""
    plan = Plan(solid.points, solid.quads)
    facet = solid.active[0 if level == 0 else -1]
    cells = facet & patch.covers(*plan.centres)
    if not cells.any():
        x, y = patch.middle
        far = np.hypot(plan.centres[0] - x, plan.centres[1] - y)
        cells = np.arange(len(facet)) == np.where(facet, far, np.inf).argmin()
    return np.asarray(cells), float(plan.areas[cells].sum())


def joint_stiffness(state: State) -> tuple[float, float]:
    """Shear and normal stiffness of the sample's joint per area, N/m3; HARD for a bare contact."""
    number = state.scene.stack.index("joint")
    joint = state.scene.stack.layers[number]
    if joint.is_contact:
        return HARD, HARD
    return _layer_stiffness(joint.material, joint.thickness, state.layer_T[number])


def _layer_stiffness(stuff: Material, thickness: float, T: float) -> tuple[float, float]:
    """Of a thin layer per area, kt = G/t and kn = E_oed/t, N/m3."""
    E, nu, _ = _constants(stuff, T)
    shear = E / (2 * (1 + nu))
    hindered = E * (1 - nu) / ((1 + nu) * (1 - 2 * nu))
    return shear / thickness, hindered / thickness


def mount_growth(case: Case, stack: Stack) -> float:
    """Strain of the frame's mount, at its water, against the mask's temperature of measurement.

    A free frame counts as its own mount.  Without water the chamber's temperature is the mount's.
    """
    frame = case.mask.frame
    T = (frame.water or case.chamber.temperature).value
    stuff = stack.layer("frame").material
    if frame.held != "free":
        assert frame.mount is not None  # the case room asks for it
        stuff = case.materials[frame.mount]
    return _constants(stuff, T)[2] * (T - case.mask.measured_at.value)


def elastic_constants(layer: Layer, T: float) -> tuple[float, float, float]:
    """Young's modulus (Pa), Poisson ratio and expansion (1/K) of a layer at T (K)."""
    return _constants(layer.material, T)


def _constants(stuff: Material, T: float) -> tuple[float, float, float]:
    E, nu, alpha = stuff.youngs_modulus, stuff.poisson_ratio, stuff.expansion
    if E is None or nu is None or alpha is None:
        raise MaterialError(f"{stuff.name} has no elastic properties; only solids can be layers")
    return E(T), nu(T), alpha(T)
