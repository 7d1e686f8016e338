"""Ways to hold mask and sample as supports of elastic bodies, on a small invented plate."""

from types import SimpleNamespace

import numpy as np
import pytest

from thermo.answer.mounts import (
    HARD,
    elastic_constants,
    joint_stiffness,
    mask_supports,
    mount_growth,
    sample_supports,
)
from thermo.case import read_case
from thermo.case.patches import frame_patches, patch_edges, sample_patches
from thermo.case.stack import build_stack
from thermo.elastic import FaceSprings, Solid, hold
from thermo.materials import material
from thermo.mesh import Plan, layer_presence, lines_between, rectangle_plan

T = 293.15  # K
FRAME_JOINT = {"mask.frame.joint": '{ material = "epoxy", thickness = "50 um" }'}
FRAME_TAPE = {"mask.frame.joint": '{ material = "tape", thickness = "100 um" }'}
FRAME_PATCH = {"mask.frame.patch": "5 mm"}
GLUE = {"sample.joint.material": "epoxy", "sample.joint.thickness": "50 um"}
TAPE = {"sample.joint.material": "tape", "sample.joint.thickness": "100 um"}
PATCH = {"sample.patch": "5 mm"}
MASK = {
    "free": {},
    "clamped": {},
    "screwed": FRAME_PATCH,
    "taped": FRAME_PATCH | FRAME_TAPE,
    "glued": FRAME_JOINT,
    "springs": FRAME_PATCH | {"mask.frame.stiffness": "2e6 N/m"},
}
SAMPLE = {
    "free": {},
    "clamped": {},
    "screwed": PATCH,
    "taped": PATCH | TAPE,
    "glued": GLUE,
    "springs": PATCH | {"sample.stiffness": "2e6 N/m"},
}
WAYS = {"mask": ("mask.frame.held", MASK, mask_supports)}
WAYS["sample"] = ("sample.held", SAMPLE, sample_supports)
EVERY = [(body, held) for body, (_, ways, _) in WAYS.items() for held in ways]


def state_of(path, given):
    """What supports ask of a state: the case, its stack, and temperatures of the layers."""
    case = read_case(path, given)
    stack = build_stack(case)
    scene = SimpleNamespace(case=case, stack=stack)
    return SimpleNamespace(scene=scene, layer_T=(T,) * len(stack.layers))


def solid_of(state, body, alpha=None, lines=True):
    """Mask without its metal, or sample, on lines along its outlines and patches."""
    case, stack = state.scene.case, state.scene.stack
    names = [la.name for la in stack.layers if la.body == body and la.name != "absorber"]
    numbers = [stack.index(name) for name in names]
    layers = [stack.layers[i] for i in numbers]
    half = layers[0].outline.width / 2
    edges = patch_edges(case, stack) if lines else ((), ())
    parts = [s * o.width / 2 for o in stack.outlines.values() for s in (-1, 1)]
    x, y = (
        lines_between([e for e in (*more, *parts) if abs(e) <= half], 1.5e-3, 4e-3)
        for more in edges
    )
    plan = rectangle_plan(x, y)
    active = layer_presence(stack, plan)[numbers]
    cells = np.flatnonzero(active.any(0))
    nodes, quads = np.unique(plan.quads[:, cells], return_inverse=True)
    points, quads, active = plan.points[:, nodes], quads.reshape(4, -1), active[:, cells]
    constants = [elastic_constants(la, T) for la in layers]
    E, nu, own = (
        np.array(c)[:, None] * np.ones(active.shape) for c in zip(*constants, strict=True)
    )
    own = own if alpha is None else np.full(active.shape, alpha)
    levels = np.cumsum([0.0] + [la.thickness for la in layers])
    return Solid(points, quads, levels, active, E, nu, own, np.zeros(active.shape))


def held_in(path, body, held, more=None, growth=0.0, alpha=None):
    """Solid and its displacement (levels, nodes, 3) m after a rise of 1 K on a base that grows."""
    key, ways, supports = WAYS[body]
    state = state_of(path, {key: held} | ways[held] | (more or {}))
    solid = solid_of(state, body, alpha)
    found = hold(solid, supports(state, solid, growth)).expand(np.ones((*solid.active.shape, 2, 4)))
    assert found.residual < 1e-9  # what the elastic solve asks of itself
    return solid, found.u


def growth_of(solid, u):
    """Strain in the plane of the thickest layer, straight lines through all its nodes.

    Through the thickness: what is held by one face bows, and its other face may even grow more.
    """
    thickest = int(np.argmax(np.diff(solid.levels)))
    nodes = np.unique(solid.quads[:, solid.active[thickest]])
    mean = u[thickest : thickest + 2, nodes].mean(0)
    return float(np.mean([np.polyfit(solid.points[i, nodes], mean[:, i], 1)[0] for i in (0, 1)]))


@pytest.mark.parametrize(("body", "held"), EVERY)
def test_a_body_that_grows_with_its_base_is_not_strained(small_path, body, held):
    """One expansion for all, base and body at the same strain: u = strain x, exactly.

    1e-6 of the strain: rounding and the solve's residual, on a joint of 1e13 N/m3.
    """
    solid, u = held_in(small_path, body, held, growth=2e-5, alpha=2e-5)
    assert np.isfinite(u[solid.exists]).all()
    left = (u[..., :2] - 2e-5 * solid.points.T)[solid.exists]
    assert np.abs(left - left.mean(0)).max() < 1e-6 * 2e-5 * 14e-3
    if held != "free":
        assert np.abs(left.mean(0)).max() < 1e-6 * 2e-5 * 14e-3  # nor moved


@pytest.mark.parametrize("body", ["mask", "sample"])
def test_the_better_a_body_is_held_to_a_base_at_rest_the_less_it_grows(small_path, body):
    """20 ppm of its own: free all of it, the less the stiffer what holds and the more of it.

    A clamp ring holds the whole face of a frame, but of a sample the edge alone.
    """
    found = {h: growth_of(*held_in(small_path, body, h, alpha=2e-5)) for h in MASK}
    assert found["free"] == pytest.approx(2e-5, rel=1e-9)
    ringed = abs(found["clamped"])  # of a sample zero: no point of its edge moves
    assert ringed < found["glued"] < found["taped"] < found["free"]
    assert found["glued"] < found["screwed"] < found["springs"] < found["free"]
    assert found["glued"] < 0.3 * found["free"]  # epoxy is stiff


def test_the_membrane_of_a_clamped_frame_keeps_nearly_the_size_of_a_mount_at_rest(small_path):
    """A frame of 20 ppm lets its membrane grow by 20 if free and by 20.5 if it may roll about its
    outer edge; pressed flat it only bulges into the opening, by a share of its own border: the
    membrane shrinks by 4.4 ppm (5.3 on a mesh four times finer), and is drawn by 24.4 from a mount
    of 20.  25 %: the mesh.
    """
    solid, u = held_in(small_path, "mask", "clamped", alpha=2e-5)
    face = np.unique(solid.quads[:, solid.active[0]])
    assert (u[0, face] == 0).all()  # on its mount, everywhere
    field = np.abs(solid.points).max(0) < 7e-3
    _, drawn = held_in(small_path, "mask", "clamped", growth=2e-5, alpha=0.0)
    for i in (0, 1):
        own, base = (np.polyfit(solid.points[i, field], v[-1, field, i], 1)[0] for v in (u, drawn))
        assert own == pytest.approx(-5.3e-6, rel=0.25)
        assert base == pytest.approx(25.3e-6, rel=0.25 * 5.3 / 25.3)


def test_the_membrane_of_a_glued_frame_keeps_the_size_of_its_mount(small_path):
    """The frame cannot turn on its glue: the pattern grows by the mount's strain, 10 %."""
    solid, u = held_in(small_path, "mask", "glued", growth=1e-4, alpha=0.0)
    field = np.abs(solid.points).max(0) < 7e-3
    for i in (0, 1):
        strain = np.polyfit(solid.points[i, field], u[-1, field, i], 1)[0]
        assert strain == pytest.approx(1e-4, rel=0.1)


@pytest.mark.parametrize("body", ["mask", "sample"])
def test_a_base_draws_a_body_that_does_not_grow_by_as_much_as_it_would_hold_it_back(
    small_path, body
):
    """Linear: what is at rest on a base of 20 ppm, and grows by 20 ppm on a base at rest, add up
    to a body that grows with its base; 1e-6: residual of the two solves."""
    for held in set(MASK) - {"free"}:
        drawn = growth_of(*held_in(small_path, body, held, growth=2e-5, alpha=0.0))
        own = growth_of(*held_in(small_path, body, held, alpha=2e-5))
        assert drawn + own == pytest.approx(2e-5, rel=1e-6)


@pytest.mark.parametrize("body", ["mask", "sample"])
def test_soft_springs_leave_a_body_free_and_those_as_stiff_as_a_hard_contact_screw_it(
    small_path, body
):
    """Springs of HARD times the patch are that contact; 1e3 N/m are a hundred thousandth of the
    stiffness E t of a plate, 1e8 N/m: 1e-5."""
    key = "mask.frame.stiffness" if body == "mask" else "sample.stiffness"
    screwed = growth_of(*held_in(small_path, body, "screwed", alpha=2e-5))
    stiffness = [1e3, 1e5, 1e6, 1e7, 1e8, HARD * 25e-6]
    sprung = [
        growth_of(*held_in(small_path, body, "springs", {key: f"{k:.12g} N/m"}, alpha=2e-5))
        for k in stiffness
    ]
    assert sprung[0] == pytest.approx(2e-5, rel=1e-5)
    assert sprung[-1] == pytest.approx(screwed, rel=1e-9)
    assert sprung == sorted(sprung, reverse=True)


@pytest.mark.parametrize("held", ["screwed", "taped", "springs"])
@pytest.mark.parametrize("body", ["mask", "sample"])
def test_patches_have_their_own_cells_and_their_own_stiffness(small_path, body, held):
    """Area of each set of cells is that of the patches; 1e-9: lines stand on their edges."""
    key, ways, supports = WAYS[body]
    state = state_of(small_path, TAPE | {key: held} | ways[held])
    solid = solid_of(state, body)
    patches = (frame_patches if body == "mask" else sample_patches)(
        state.scene.case, state.scene.stack
    )
    found = [s for s in supports(state, solid, 0.0) if s.cells is not None]
    assert len(found) == len(patches) == (4 if held == "taped" else 3)
    areas = Plan(solid.points, solid.quads).areas
    for s in found:
        assert areas[s.cells].sum() == pytest.approx(25e-6, rel=1e-9)
        if held == "springs":
            assert s.kt * areas[s.cells].sum() == pytest.approx(2e6, rel=1e-12)
            assert s.kn == s.kt
        if held == "screwed":
            assert (s.kt, s.kn) == pytest.approx((HARD, HARD), rel=1e-9)


def test_a_glued_face_has_the_stiffness_of_its_layer(small_path):
    """G/t and E (1 - nu)/((1 + nu)(1 - 2 nu))/t of 50 um of epoxy, by hand."""
    epoxy = material("epoxy")
    E, nu = epoxy.youngs_modulus(T), epoxy.poisson_ratio(T)
    kt, kn = E / 2 / (1 + nu) / 50e-6, E * (1 - nu) / (1 + nu) / (1 - 2 * nu) / 50e-6
    state = state_of(small_path, {"sample.held": "glued"} | GLUE)
    assert joint_stiffness(state) == pytest.approx((kt, kn), rel=1e-12)
    for body, given in (("mask", FRAME_JOINT), ("sample", GLUE)):
        key, _, supports = WAYS[body]
        state = state_of(small_path, {key: "glued"} | given)
        (found,) = supports(state, solid_of(state, body), 1e-5)
        assert isinstance(found, FaceSprings)
        assert (found.kt, found.kn, found.growth) == pytest.approx((kt, kn, 1e-5), rel=1e-12)
        assert found.cells is None


def test_a_mount_grows_by_its_own_material_at_the_water(small_path):
    """alpha dT; a free frame is its own mount."""
    brass = material("brass").expansion
    given = {"mask.frame.water": "25 degC", "mask.frame.mount": "brass"}
    scene = state_of(small_path, given).scene
    assert mount_growth(scene.case, scene.stack) == pytest.approx(5 * brass(298.15), rel=1e-9)
    scene = state_of(small_path, given | {"mask.frame.held": "free"}).scene
    own = material("aluminium").expansion
    assert mount_growth(scene.case, scene.stack) == pytest.approx(5 * own(298.15), rel=1e-9)


def test_a_patch_between_the_middles_of_cells_holds_the_nearest_as_if_it_were_there(small_path):
    """On a plan that does not follow it; the stiffness stays that of the patch's own area."""
    given = {"mask.frame.held": "screwed", "mask.frame.patch": "0.1 mm"}
    state = state_of(small_path, given)
    solid = solid_of(state, "mask", lines=False)
    areas = Plan(solid.points, solid.quads).areas
    for s in mask_supports(state, solid, 0.0):
        assert s.cells.sum() == 1
        assert s.kt * areas[s.cells].sum() == pytest.approx(HARD * 1e-8, rel=1e-9)


@pytest.mark.parametrize("held", ["screwed", "taped", "springs"])
def test_patches_that_reach_beyond_a_round_frame_hold_what_there_is_of_it(
    small_path, tmp_path, held
):
    """Squares as wide as the border stick out of the ring: the better half of each holds."""
    text = small_path.read_text(encoding="utf-8")
    for side, diameter in (("16 mm", "19 mm"), ("20 mm", "24 mm"), ("24 mm", "34 mm")):
        pair = f'width = "{side}"\nheight = "{side}"'
        assert pair in text
        text = text.replace(pair, f'diameter = "{diameter}"')
    path = tmp_path / "round.toml"
    path.write_text(text, encoding="utf-8")
    state = state_of(path, {"mask.frame.held": held} | MASK[held] | {"mask.frame.patch": "6 mm"})
    solid = solid_of(state, "mask")
    found = mask_supports(state, solid, 0.0)
    hold(solid, found)
    joined = np.any([s.cells for s in found], axis=0)
    assert not (joined & ~solid.active[0]).any()
    whole = (4 if held == "taped" else 3) * 36e-6
    assert 0.5 < Plan(solid.points, solid.quads).areas[joined].sum() / whole < 1
