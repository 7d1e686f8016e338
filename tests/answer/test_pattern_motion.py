"""Displacement of the pattern by harmonics and decays, against expansions of single fields.

Both oracles are direct: the temperatures of one moment are put together on the heat mesh and
expanded at once, or a body is so simple that its displacement is known.
"""

from dataclasses import replace

import numpy as np
import pytest

from thermo.answer.bodies import make_body
from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.heated import at_points, heated_mask, heated_sample, holder_expansion
from thermo.answer.mounts import elastic_constants, sample_supports
from thermo.answer.outcome import Kept, run_once
from thermo.answer.pattern_motion import MASK_FACE, SAMPLE_FACES, Known, pattern_motion
from thermo.answer.placement import linear_fit
from thermo.answer.scene import describe
from thermo.case import read_case, with_value
from thermo.elastic import hold

NEAR = 1e-9  # of the largest: residual of the solves is below
SINGLE = 1e-5  # of the largest: harmonics are kept in single precision
# the free edge is 30 thicknesses away, but cells wider than the resist is thick carry what it does
# inwards as a ripple from cell to cell: 0.7 % in the middle, 1 % on the mesh twice as fine
RIPPLE = 0.015
MOVED = {"mask.measured_at": "24 degC", "sample.measured_at": "18 degC"}


@pytest.fixture(scope="module")
def runs(small_path):
    """A few passes, so that decays matter; both bodies measured at another temperature."""
    few = {"dose.bottom": "10 J/cm3", "limits.placement": "1 um"}
    return CoarseRuns(read_case(small_path, MOVED | few), False)


@pytest.fixture(scope="module")
def course(runs):
    return runs.usual


@pytest.fixture(scope="module")
def bodies(course):
    return make_body(course.state, "mask"), make_body(course.state, "sample")


def moved(course, bodies, left_out=0.0):
    half = course.state.scene.stack.pattern.field.width / 2
    points = np.stack(np.meshgrid(*2 * [np.linspace(-half, half, 5)])).reshape(2, -1)
    return pattern_motion(course.state, course, bodies, points, left_out)


@pytest.fixture(scope="module")
def motion(course, bodies):
    return moved(course, bodies)


def expanded(course, bodies, points, field):
    """e (3, n, 2) and change of the gap (n,) m under one field of absolute temperatures, K."""
    state, distance = course.state, course.state.scene.case.beam.distance.value
    mask, sample = bodies
    found = []
    for body, heated, levels in (
        (mask, heated_mask, MASK_FACE),
        (sample, heated_sample, SAMPLE_FACES),
    ):
        u, _ = heated(body, state, state.meshed).moved(field[None], measured=True)
        found.append(at_points(body.at_points(state.meshed, points), u, levels)[0])
    gap = found[1][..., 2] - found[0][..., 2]  # at each depth
    beam = np.stack([points[0] * gap / distance, np.zeros_like(gap)], axis=-1)
    return found[0][:, :, :2] - found[1][..., :2] + beam, gap[0]


def close(found, wanted, share):
    assert np.abs(found - wanted).max() < share * np.abs(wanted).max()


def test_without_and_with_the_beam_it_is_what_a_single_expansion_says(course, bodies, motion):
    for terms, field in ((motion.dark, course.dark), (motion.mean, course.state.steady.T.T)):
        e, gap = expanded(course, bodies, motion.points, field)
        close(terms.e[0], e, NEAR)
        close(terms.gap[0], gap, NEAR)


@pytest.mark.parametrize("share", [0.0, 0.31, 2.77])
def test_at_any_moment_it_is_the_expansion_of_the_temperatures_then(course, bodies, motion, share):
    """Ripple, decay and a fading ring current: T(t) of the warm-up itself, one expansion."""
    fading = replace(course, warm_up=replace(course.warm_up, lifetime=20.0))
    warm_up = fading.warm_up
    t = np.array([share * warm_up.cycle.period])
    n = np.arange(1, len(warm_up.cycle.X) + 1)
    ripple = 2 * np.tensordot(np.exp(2j * np.pi * n * share), warm_up.cycle.X, 1).real
    own = warm_up.decay.combined_shapes(warm_up.missing(t)[0])
    field = course.dark + warm_up.fade(t) * (warm_up.cycle.mean + ripple) + own
    e, _ = expanded(course, bodies, motion.points, field)
    for depth in range(3):
        found = motion.at(fading, t[None], t / warm_up.cycle.period % 1, slice(None), depth)
        close(found[0, 0], e[depth], SINGLE)


def test_at_the_start_it_is_that_without_the_beam(course, motion):
    """The decay takes the limit cycle away: to 1e-6 of it, as the decay's own start is kept."""
    found = motion.at(course, np.zeros((1, 1)), np.zeros(1), slice(None), 0)[0, 0]
    assert np.abs(found - motion.dark.e[0, 0]).max() < 1e-5 * np.abs(motion.mean.e).max()


def test_twice_the_rises_move_it_twice_as_far(course, bodies, motion):
    """Of fields that are rises; the strain of measurement is counted once, in dark and mean."""
    warm_up = course.warm_up
    cycle = replace(warm_up.cycle, X=2 * warm_up.cycle.X)
    decay = replace(warm_up.decay, shapes=2 * warm_up.decay.shapes)
    state = replace(course.state, scan=replace(course.state.scan, cycle=cycle))
    twice = moved(replace(course, state=state, warm_up=replace(warm_up, decay=decay)), bodies)
    for name in ("real", "imaginary", "decays"):
        close(getattr(twice, name).e, 2 * getattr(motion, name).e, NEAR)
        close(getattr(twice, name).gap, 2 * getattr(motion, name).gap, NEAR)
    close(twice.dark.e, motion.dark.e, NEAR)
    close(twice.mean.e, motion.mean.e, NEAR)


def test_gap_of_the_cycle_is_that_of_its_moments(course, motion):
    phases = np.array([0.1, 0.6])
    found = motion.gap_settled(phases)
    n = np.arange(1, len(motion.real.gap) + 1)
    for phase, gap in zip(phases, found, strict=True):
        turn = np.exp(2j * np.pi * n * phase)
        harmonic = motion.real.gap + 1j * motion.imaginary.gap
        close(gap, motion.mean.gap[0] + 2 * (turn @ harmonic).real, NEAR)


def test_the_series_ends_where_little_is_left(course, bodies, motion):
    """One block of harmonics when anything may be left out, all of them when nothing may."""
    assert len(motion.real.e) == len(course.state.scan.cycle.X)
    assert motion.rest >= 0
    assert len(moved(course, bodies, 1.0).real.e) <= len(motion.real.e)


# -- signs, on bodies at one temperature


@pytest.fixture(scope="module")
def thickened(course, bodies):
    """Function: thickening of resist and base (m) in the middle under a rise or a free strain.

    The resist is made so soft that it does not bow its base, which is free to grow on its joint.
    """
    state, body = course.state, bodies[1]
    stack = state.scene.stack
    resist = np.array([s.layer == stack.index(stack.resist.name) for s in body.slabs])[:, None]
    solid = replace(body.held.solid, E=np.where(resist, 1e-5, 1.0) * body.held.solid.E)
    soft = replace(body, held=hold(solid, sample_supports(state, solid, 0.0)))
    weights = body.at_points(state.meshed, np.zeros((2, 1)))
    reference = state.scene.case.sample.measured_at.value

    def found(rise, strain):
        shrunk = np.where(solid.active & resist, strain, 0.0)
        heated = replace(heated_sample(soft, state, state.meshed), shrunk=shrunk)
        fields = np.full((1, *course.dark.shape), reference + rise)
        u, _ = heated.moved(fields, measured=True)
        top, base, back = at_points(weights, u, [0, 2, 3])[0, :, 0, 2]
        return base - top, back - base  # z runs along the beam: towards the mask is down

    return found


def constants(course, name):
    stack = course.state.scene.stack
    layer = stack.layer(name)
    return layer.thickness, *elastic_constants(layer, course.state.layer_T[stack.index(name)])[1:]


@pytest.mark.parametrize("strain", [2e-3, -5e-3])
def test_a_resist_that_swells_on_a_stiff_base_lifts_its_face(course, thickened, strain):
    """(1 + nu)/(1 - nu) eps h: no stress along z, no strain in the plane (textbook, Derived)."""
    h, nu, _ = constants(course, course.state.scene.stack.resist.name)
    lift, base = thickened(0.0, strain)
    assert lift == pytest.approx((1 + nu) / (1 - nu) * strain * h, rel=RIPPLE)
    assert abs(base) < 1e-5 * abs(lift)


def test_a_sample_that_gets_thicker_narrows_the_gap(course, thickened):
    """The base by alpha dT; the resist by what is hindered in the plane besides, Derived:

    eps_z = alpha dT + 2 nu/(1 - nu) (alpha - alpha_base) dT.
    """
    h, nu, alpha = constants(course, course.state.scene.stack.resist.name)
    thick, _, own = constants(course, "silicon")
    resist, base = thickened(30.0, 0.0)
    assert base == pytest.approx(30 * own * thick, rel=1e-5)
    hindered = 2 * nu / (1 - nu) * (alpha - own)
    assert resist == pytest.approx(30 * (alpha + hindered) * h, rel=RIPPLE)


def test_the_gap_widens_by_what_the_face_of_the_sample_moves_more_than_that_of_the_mask(
    course, bodies, motion
):
    """Both clear membrane and resist come towards the source where frame and base get warm."""
    state = course.state
    warm = np.full((1, *course.dark.shape), 293.15 + 20)
    gap = expanded(course, bodies, motion.points, warm[0])[1]
    faces = []
    for body, heated, level in ((bodies[0], heated_mask, 2), (bodies[1], heated_sample, 0)):
        u, _ = heated(body, state, state.meshed).moved(warm, measured=True)
        faces.append(at_points(body.at_points(state.meshed, motion.points), u, [level])[0, 0, :, 2])
    # the resist's face rises (z falls) towards a mask that is clamped at its lit face and grows
    # towards the sample: the gap closes from both sides
    assert (faces[1] < 0).all()
    assert (faces[0] > 0).all()
    assert (gap < 0).all()


def test_a_wider_gap_spreads_the_pattern_in_the_fan_of_the_beam_alone(course, bodies, motion):
    """x gap/distance: taken off, a beam from infinitely far away is left; y is not touched."""
    beam = course.state.scene.case.beam
    far = replace(beam.distance, value=1e9)
    case = course.state.scene.case.model_copy(
        update={"beam": beam.model_copy(update={"distance": far})}
    )
    state = replace(course.state, scene=replace(course.state.scene, case=case))
    parallel = moved(replace(course, state=state), bodies)
    for name in ("mean", "real", "decays"):
        own, there = getattr(motion, name), getattr(parallel, name)
        off = own.e - there.e
        assert np.abs(off[..., 1]).max() == 0
        gap = own.sample[..., 2] - own.mask[..., 2]
        wanted = motion.points[0] * gap / beam.distance.value
        assert np.abs(off[..., 0] - wanted).max() < 1e-8 * np.abs(own.e).max()
        assert np.abs(off[..., 0]).max() > 0


def test_what_each_body_is_measured_at_moves_it_as_a_whole(course, motion):
    """Measured 4 K above its water, the mask is that much smaller when exposed without light."""
    fit = linear_fit(motion.points, motion.dark.e[0, 0])
    assert fit.magnification < 0
    assert abs(fit.rotation) < 1e-9  # rad: a symmetric plate does not turn
    assert np.abs(fit.shift).max() < 1e-12  # m: nor does it walk away


@pytest.mark.parametrize("key", ["materials.aluminium.expansion", "mask.measured_at"])
def test_a_case_that_is_nearly_the_same_takes_over_nothing_that_has_changed(small_path, runs, key):
    """A changed run by its own means against the same run from nothing, a few passes from cold.

    What grows more does so in the decays too: at the start it must still be that without the beam.
    """
    values = {"materials.aluminium.expansion": 2.6e-5, "mask.measured_at": 299.15}
    few = {"dose.bottom": "10 J/cm3", "limits.placement": "1 um"}
    case = with_value(read_case(small_path, MOVED | few), key, values[key])
    quick = runs.changed(case, key).expansion
    scene = replace(describe(case), gap_change=runs.gap_change)
    state = replace(runs.typical.state, scene=scene)
    whole = run_once(state, replace(runs.usual, state=state)).expansion
    before = runs.typical.expansion
    change = np.abs(whole.printed.mean - before.printed.mean).max()
    assert change > 1e-9  # m
    assert np.abs(quick.printed.mean - whole.printed.mean).max() < 1e-3 * change
    start = quick.motion.at(runs.usual, np.zeros((1, 1)), np.zeros(1), slice(None), 0)[0, 0]
    assert np.abs(start - quick.motion.dark.e[0, 0]).max() < 1e-5 * np.abs(start).max()


def turned(course, share, beside=0.0):
    """The course with its harmonics times shares of their own, and something of another shape."""
    cycle, rng = course.state.scan.cycle, np.random.default_rng(3)
    other = rng.standard_normal(cycle.X.shape) * np.where(np.isnan(cycle.X), 0, beside)
    X = (share[:, None, None] * cycle.X + other).astype(np.complex64)
    scan = replace(course.state.scan, cycle=replace(cycle, X=X))
    return replace(course, state=replace(course.state, scan=scan))


def test_multiples_of_known_harmonics_move_the_pattern_by_as_much(course, bodies, motion):
    """Turned and stretched one by one; against the solve that does not know them."""
    ripple = course.state.scan.cycle.X
    share = np.linspace(0.5, 2, len(ripple)) * np.exp(1j * np.linspace(0, 3, len(ripple)))
    other = turned(course, share)
    known = Known(motion, ripple=ripple, hair=1e-4)
    told = pattern_motion(other.state, other, bodies, motion.points, 0.0, known)
    solved = moved(other, bodies)
    assert np.abs(told.real.e - motion.real.e).max() > 0.1 * np.abs(motion.real.e).max()
    assert (told.told, solved.told) == (True, False)
    for name in ("real", "imaginary"):
        for part in ("e", "gap", "mask", "sample"):
            close(getattr(getattr(told, name), part), getattr(getattr(solved, name), part), SINGLE)


@pytest.mark.parametrize("beside", [0.0, 1e-5, 1e-2])
def test_what_is_no_multiple_is_solved_for(course, motion, beside):
    """A hair of 1 mK; of few nodes the largest of random amplitudes of 0.01 K is above it."""
    X = course.state.scan.cycle.X
    other = turned(course, np.ones(len(X)), beside).state.scan.cycle.X
    known = Known(motion, ripple=X, hair=1e-3)
    assert (known.shares(other, 0) is None) == (beside == 1e-2)
    assert Known(motion).shares(other, 0) is None
    assert known.shares(other[:, 1:], 0) is None  # another mesh
    assert known.shares(other, 1) is None  # more of them than are known


def test_a_body_that_grows_otherwise_takes_no_ripple_over(runs):
    """A share of 2e-3 of its expansion is a hair; the factor has to be the same one."""
    mask, sample = (
        part.body for part in (runs.typical.expansion.mask, runs.typical.expansion.sample)
    )

    def grown(body, share):
        solid = replace(body.held.solid, alpha=share * body.held.solid.alpha)
        return replace(body, held=replace(body.held, solid=solid))

    assert mask.is_like(mask)
    assert grown(mask, 1.001).is_like(mask)
    assert not grown(mask, 1.003).is_like(mask)
    assert not mask.is_like(sample)


@pytest.mark.parametrize(
    ("key", "value"), [("sample.holder.water", 295.15), ("ring.current", 0.0505)]
)
def test_a_changed_case_is_placed_as_without_what_it_takes_over(
    small_path, monkeypatch, key, value
):
    """Within 0.3 nm; the settled case, where the ripple is reused."""
    case = read_case(small_path, {"limits.placement": "1 um", "limits.blur": "1 um"})
    runs = CoarseRuns(case, False)
    changed = with_value(case, key, value)
    quick = runs.changed(changed, key).expansion.printed
    used = []
    monkeypatch.setattr(Known, "shares", lambda *_: used.append(1))
    whole = runs.changed(changed, key).expansion.printed
    assert used
    assert 0 < np.abs(quick.mean - whole.mean).max() < 3e-10  # 0: nothing was taken over
    assert np.abs(quick.blur - whole.blur).max() < 3e-10


def test_what_a_holder_grows_by_and_what_was_told_itself_is_not_taken_over(small_path):
    """The ripple of a holder moves a glued sample; the same temperatures then tell nothing."""
    case = read_case(small_path, {"limits.placement": "1 um", "limits.blur": "1 um"})
    runs = CoarseRuns(case, False)
    kept = Kept(runs.typical, ("mask", "sample"), motion=True)
    state = runs.usual.state
    bodies = (kept.body("mask", state), kept.body("sample", state))
    assert kept.known(state, *bodies).ripple is not None
    holder = case.sample.holder.material
    key = f"materials.{holder}.expansion"
    more = 1.3 * holder_expansion(state)
    scene = replace(describe(with_value(case, key, more)), gap_change=runs.gap_change)
    grown = replace(state, scene=scene)
    assert holder_expansion(grown) == pytest.approx(more, rel=1e-6)
    assert kept.known(grown, *bodies).ripple is None
    motion = replace(runs.typical.expansion.motion, told=True)
    told = replace(runs.typical, expansion=replace(runs.typical.expansion, motion=motion))
    assert Kept(told, ("mask", "sample"), motion=True).known(state, *bodies).ripple is None
