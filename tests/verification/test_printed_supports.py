"""What the ways to hold mask and sample do to the printed pattern, on a small invented plate.

Free bodies of one material at one temperature are the closed form: each grows by alpha dT, and the
pattern is off by the difference and nothing else.  For the other ways, physics gives the order.

Table: holder and frame in water of 30 degC, both bodies measured at 20 degC, their own substrate
silicon (sample) and aluminium (frame), tied to aluminium (holder, 230 ppm) and to silicon (mount,
26 ppm).  Scales of the printed pattern in ppm, measured:

    sample, frame clamped        frame, sample free
                x       y                    x       y
    free     -49.6   -51.4       free      198.6   196.7
    springs  -54.3   -51.2       springs   202.5   200.1
    screwed -101.9   -96.0       taped     217.6   214.7
    taped   -144.4  -151.1       screwed   220.7   243.0
    glued   -237.0  -237.9       glued      -6.9    -4.5
    clamped -244.5  -249.7       clamped   -49.6   -51.4

What is held at three places, one of them on top, is held unlike along x and y.  A frame taped or
screwed by its lit face bows: a force F there shrinks that face by 4 F/(E A) and widens the other,
which carries the membrane, by 2 F/(E A) (a beam, Derived).  A clamped sample follows its holder by
its whole edge.  A plan twice as fine moves the other scales by less than 6 ppm.  The lines "free,
frame clamped" and "clamped, sample free" are the same plate.
"""

from dataclasses import replace

import numpy as np
import pytest

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.mounts import elastic_constants, mount_growth
from thermo.answer.outcome import run_once
from thermo.answer.placement import linear_fit
from thermo.answer.scene import describe, mesh
from thermo.case import read_case

WATERS = ("chamber.temperature", "mask.frame.water", "sample.holder.water")
DARK = {
    "ring.current": "0.01 mA",
    "ring.lifetime": "200 h",
    "dose.bottom": "1 J/cm3",
} | dict.fromkeys(WATERS, "30 degC")
ONE = DARK | {
    "mask.membrane.material": "even",
    "mask.absorber.material": "even",
    "mask.frame.material": "even",
    "mask.membrane.tension": "0 MPa",
    "materials.even.like": "silicon",  # but grows the same at every temperature, as PMMA does
    "materials.even.expansion": "2.6e-6 1/K",
    "mask.frame.held": "free",
    "mask.measured_at": "22 degC",
    "sensors.edge.part": "resist",
    "sample.layers": '[{ material = "PMMA", thickness = "300 um" },'
    ' { material = "PMMA", thickness = "0.7 mm" }]',
}
RESIDUAL = 1e-8  # relative: of solves that are good to 1e-9 in strain energy


@pytest.fixture(scope="module")
def uniform(small_path):
    """Two bodies of one material each, free, all over at 30 degC."""
    return CoarseRuns(read_case(small_path, ONE), False)


def growth(runs, name, reference):
    """alpha dT of a layer at the temperature of all sinks."""
    state = runs.usual.state
    stack = state.scene.stack
    _, _, alpha = elastic_constants(stack.layer(name), state.layer_T[stack.index(name)])
    return alpha * (303.15 - reference)


def test_free_bodies_at_one_temperature_grow_by_alpha_dt_and_no_more(uniform):
    """u = alpha dT (x - x_0) on every face, flat; where a free body is put is tested below."""
    expansion = uniform.typical.expansion
    dark, points = expansion.motion.dark, expansion.points
    for u, name, reference in ((dark.mask, "membrane", 295.15), (dark.sample, "resist", 293.15)):
        eps = growth(uniform, name, reference)
        size = eps * np.abs(points).max()
        assert eps > 1e-5
        for face in u[0]:
            fit = linear_fit(points, face[:, :2])
            assert fit.scale == pytest.approx((eps, eps), rel=RESIDUAL)
            assert abs(fit.skew) < RESIDUAL * eps
            assert np.hypot(*fit.residual.T).max() < RESIDUAL * size
            assert np.ptp(face[:, 2]) < RESIDUAL * size


def test_the_pattern_is_off_by_the_difference_of_both_and_the_fan_of_the_beam(uniform):
    """e = (alpha_mask - alpha_sample) dT x + (x, 0) gap/distance; the gap from thicknesses alone.

    The mask lies on its lit face and grows towards the sample, which lies on its back: Derived.
    """
    expansion, state = uniform.typical.expansion, uniform.usual.state
    thickness = {la.name: la.thickness for la in state.scene.stack.layers}
    mask, sample = growth(uniform, "membrane", 295.15), growth(uniform, "resist", 293.15)
    gap = -mask * (thickness["frame"] + thickness["membrane"])
    for depth, e in enumerate(expansion.motion.dark.e[0]):
        below = (1 - depth / 2) * thickness["resist"] + thickness["PMMA"]
        fan = (gap - sample * below) / state.scene.case.beam.distance.value
        fit = linear_fit(expansion.points, e)
        own = fit.aligned - fit.scale * expansion.points.T
        assert fit.scale[0] == pytest.approx(mask - sample + fan, rel=RESIDUAL), depth
        assert fit.scale[1] == pytest.approx(mask - sample, rel=RESIDUAL)
        assert np.hypot(*own.T).max() < RESIDUAL * np.abs(e).max()


def test_with_hardly_any_beam_the_exposure_prints_just_that(uniform):
    """10 uA warm the resist by less than 1 mK."""
    expansion = uniform.typical.expansion
    off = expansion.printed.mean - expansion.motion.dark.e[0]
    assert 0 < np.abs(off).max() < 1e-4 * np.abs(expansion.printed.mean).max()
    assert expansion.printed.blur.max() < 1e-4 * np.abs(expansion.printed.mean).max()


def test_a_free_frame_that_grows_neither_walks_away_nor_turns(uniform):
    """Its opening is empty in the middle: it must be put by nodes that keep the symmetry."""
    expansion = uniform.typical.expansion
    fit = linear_fit(expansion.points, expansion.motion.dark.mask[0, 0, :, :2])
    size = growth(uniform, "membrane", 295.15) * np.abs(expansion.points).max()
    assert np.abs(fit.shift).max() < 1e-6 * size
    assert abs(fit.rotation) < 1e-6 * fit.scale[0]


# -- every way to hold them

BASE = dict.fromkeys(WATERS[1:], "30 degC") | {
    "mask.frame.mount": "silicon",
    "sample.joint": '{ material = "epoxy", thickness = "50 um" }',
}
PATCH = {"sample.patch": "4 mm"}
SAMPLE = {
    "free": {},
    "springs": PATCH | {"sample.stiffness": "2e6 N/m"},
    "screwed": PATCH,
    "taped": PATCH,
    "glued": {},
    "clamped": {},
}
FRAME_JOINT = {"mask.frame.joint": '{ material = "epoxy", thickness = "50 um" }'}
FRAME_PATCH = {"mask.frame.patch": "4 mm"}
FRAME = {
    "free": {},
    "springs": FRAME_PATCH | {"mask.frame.stiffness": "2e6 N/m"},
    "taped": FRAME_PATCH | FRAME_JOINT,
    "screwed": FRAME_PATCH,
    "glued": FRAME_JOINT,
    "clamped": {},
}


@pytest.fixture(scope="module")
def held(small_path):
    """Function: expansion of the plate held in one way, under the temperatures of all."""
    first = CoarseRuns(read_case(small_path, BASE), False)

    def expansion(given):
        state = first.usual.state
        scene = describe(read_case(small_path, BASE | given))
        scene = replace(scene, gap_change=state.scene.gap_change)
        meshed = replace(state.meshed, bodies=mesh(scene, coarse=True).bodies)
        state = replace(state, scene=scene, meshed=meshed)
        return run_once(state, replace(first.usual, state=state)).expansion

    return expansion, first.usual.state


def scales(expansion):
    """Scale of the printed pattern along x and y, ppm, at the resist's middle."""
    return 1e6 * np.array(linear_fit(expansion.points, expansion.printed.mean[1]).scale)


@pytest.fixture(scope="module")
def few(held):
    """The sample in two ways, the frame in one of them clamped."""
    return {way: held[0]({"sample.held": way}) for way in ("free", "glued")}


def own_growth(state, name, reference=293.15):
    _, _, alpha = elastic_constants(
        state.scene.stack.layer(name), T := state.layer_T[state.scene.stack.index(name)]
    )
    return 1e6 * alpha * (T - reference)  # ppm


def test_a_free_sample_follows_its_substrate_and_a_glued_one_its_holder(held, few):
    """Base of the resist, away from joint and bow: to a tenth of what lies between both."""
    state = held[1]
    silicon, holder = own_growth(state, "silicon"), own_growth(state, "holder")
    assert holder > 6 * silicon
    for way, wanted in (("free", silicon), ("glued", holder)):
        base = few[way].motion.mean.sample[0, 2, :, :2]
        found = 1e6 * np.array(linear_fit(few[way].points, base).scale)
        assert found == pytest.approx(wanted, abs=0.1 * (holder - silicon)), way
    apart = scales(few["free"]) - scales(few["glued"])
    assert apart == pytest.approx(holder - silicon, rel=0.1)  # what grows is taken off the pattern


@pytest.mark.slow
def test_a_sample_follows_its_holder_the_more_the_better_it_is_held(held):
    """The joint over its whole back, four patches of it, three screws, three springs, nothing."""
    found = {way: scales(held[0]({"sample.held": way} | given)) for way, given in SAMPLE.items()}
    grown = [-found[way].mean() for way in ("free", "springs", "screwed", "taped", "glued")]
    assert (np.diff(grown) > 0).all()
    # held by its whole edge it grows with the holder, as under glue all over
    assert -found["clamped"].mean() == pytest.approx(grown[-1], rel=0.1)
    for way in ("free", "taped", "glued", "clamped"):  # as square as the plate; the stripe is not
        assert np.ptp(found[way]) < 10


@pytest.mark.slow
def test_a_mask_follows_its_mount_where_its_whole_face_is_held(held):
    """Free and on soft springs it grows as aluminium does, glued and clamped it stays with silicon.

    Held at few places of one face it bows, and the face with the membrane grows more than free.
    """
    expand, state = held
    found = {way: expand({"mask.frame.held": way} | given) for way, given in FRAME.items()}
    scale = {way: scales(expansion).mean() for way, expansion in found.items()}
    mount = 1e6 * mount_growth(state.scene.case, state.scene.stack)
    frame = own_growth(state, "frame")
    apart = frame - mount
    assert scale["clamped"] < scale["glued"] < scale["free"] < scale["taped"] < scale["screwed"]
    assert scale["springs"] == pytest.approx(scale["free"], abs=0.03 * apart)
    for way, own in (("free", frame), ("glued", mount), ("clamped", mount)):
        face = found[way].motion.mean.mask[0, 0, :, :2]
        # the membrane, warmer and held all round, and the border's own width: a fifth
        ppm = 1e6 * linear_fit(found[way].points, face).magnification
        assert ppm == pytest.approx(own, abs=0.2 * apart), way


@pytest.mark.slow
def test_a_symmetric_hold_neither_shifts_nor_turns_a_symmetric_body(held):
    for given in ({"sample.held": "taped"} | PATCH, {"sample.held": "clamped"}):
        expansion = held[0](given)
        fit = linear_fit(expansion.points, expansion.motion.mean.e[0, 1])
        size = np.abs(expansion.motion.mean.e).max()
        assert np.abs(fit.shift).max() < 1e-5 * size  # 1e-4 K of the solves
        assert abs(fit.rotation) < 1e-5 * abs(fit.magnification)
