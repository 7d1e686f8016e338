"""What a whole exposure prints, against a sum over every pass in even steps of time.

The oracle knows the harmonics and decays of the pattern's motion, the place of the stripe at a time
and its profile.  It writes out the warm-up by itself, takes 2048 times of each cycle one after the
other, each with the light that falls then, and adds.  The product takes Gauss points of a pulse and
few cycles for all.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from thermo.answer.bodies import make_body
from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.expansion import printed_pattern
from thermo.answer.exposure import lit_stripes
from thermo.answer.pattern_motion import pattern_motion
from thermo.case import read_case

PHASES = 2048  # of a cycle
CLOSE = 0.1e-9  # m
COUNT = 5  # points along each side of the field
SHORT = 25.0  # s: lifetime of a ring current that falls to an eighth in 40 passes


@pytest.fixture(scope="module")
def usual(small_path):
    """Measured away from the water, so that the pattern is off without the beam too."""
    given = {"mask.measured_at": "22 degC", "sample.measured_at": "19 degC"}
    return CoarseRuns(read_case(small_path, given), False).usual


@pytest.fixture(scope="module")
def motion(usual):
    field = usual.state.scene.stack.pattern.field
    side = np.linspace(-0.5, 0.5, COUNT)
    points = np.stack(np.meshgrid(side * field.width, side * field.height)).reshape(2, -1)
    bodies = make_body(usual.state, "mask"), make_body(usual.state, "sample")
    return pattern_motion(usual.state, usual, bodies, points, 0.0)


def exposure(usual, passes, lifetime=np.inf):
    dose = replace(usual.dose, passes=passes, time=passes * usual.warm_up.cycle.period / 2)
    return replace(usual, dose=dose, warm_up=replace(usual.warm_up, lifetime=lifetime))


def errors(motion, course, t, settled=False):
    """e (times, 3, n, 2) m at times t, s, written out by equation (2); settled: its cycle alone."""
    rates = course.warm_up.decay.rates
    start = course.warm_up.decay.amplitudes[0]
    angle = 2 * np.pi * np.outer(t / course.warm_up.cycle.period, 1 + np.arange(len(motion.real.e)))
    ripple = 2 * np.tensordot(np.cos(angle), motion.real.e, 1)
    ripple -= 2 * np.tensordot(np.sin(angle), motion.imaginary.e, 1)
    dark, mean = motion.dark.e, motion.mean.e
    if settled:
        return mean + ripple
    q = 1 / course.warm_up.lifetime
    a, left = np.exp(-q * t)[:, None], np.exp(-np.outer(t, rates))
    missing = start * (q * (a - left) / (rates - q) - left)
    decays = np.tensordot(missing, motion.decays.e, 1)
    return dark + a[..., None, None] * (mean - dark + ripple) + decays


def light(course, y, t):
    """Dose rate at heights y (m) and times t (s) at three depths, (3, heights, times)."""
    height, power = lit_stripes(course.state.scene)
    stripe = CubicSpline(height, power, axis=1, bc_type="natural")
    off = y[:, None] - course.state.scene.motion.place_at(t)[0]
    inside = (off >= height[0]) & (off <= height[-1])
    return stripe(np.clip(off, height[0], height[-1])) * inside


def summed(motion, course, passes, settled=False):
    """Mean (3, n, 2), covariance (3, n, 2, 2), means of the passes up and down, by brute force."""
    period, y = course.warm_up.cycle.period, motion.points[1]
    sums = np.zeros((2, 3, len(y)))
    first, second = np.zeros((2, 3, len(y), 2)), np.zeros((3, len(y), 2, 2))
    for number in range(passes):
        t = (number * PHASES / 2 + np.arange(PHASES // 2) + 0.5) * period / PHASES
        e = errors(motion, course, t, settled)
        w = light(course, y, t) * np.exp(-t / course.warm_up.lifetime)
        sums[number % 2] += w.sum(2)
        first[number % 2] += np.einsum("dnt,tdni->dni", w, e)
        second += np.einsum("dnt,tdni,tdnj->dnij", w, e, e)
    total = sums.sum(0)[..., None]
    mean = first.sum(0) / total
    spread = second / total[..., None] - mean[..., None] * mean[..., None, :]
    with np.errstate(invalid="ignore"):
        ways = first / sums[..., None]
    return mean, spread, *ways


def agree(printed, mean, spread, up, down):
    assert np.abs(printed.mean - mean).max() < CLOSE
    for found, wanted in ((printed.up, up), (printed.down, down)):
        assert (np.isnan(found) == np.isnan(wanted)).all()
        assert np.abs(np.nan_to_num(found - wanted)).max() < CLOSE
    blur = np.sqrt(np.maximum(np.linalg.eigvalsh(spread)[..., -1], 0))
    assert np.abs(printed.blur - blur).max() < CLOSE
    # variances themselves, in every direction: CLOSE of the largest standard deviation, twice
    assert np.abs(printed.spread - spread).max() < 2 * CLOSE * blur.max()


def test_what_is_compared_is_far_larger_than_how_near_it_must_be(motion, usual):
    printed = printed_pattern(motion, exposure(usual, 5))
    assert np.abs(printed.mean).max() > 300 * CLOSE
    assert printed.blur.max() > 100 * CLOSE
    assert printed.split.max() > 100 * CLOSE
    assert np.abs(motion.dark.e).max() > 300 * CLOSE


def test_a_very_long_exposure_prints_its_limit_cycle(motion, usual):
    """One settled cycle by brute force; warming up is 30 s of some 150 days."""
    course = exposure(usual, 10_000_000)
    agree(printed_pattern(motion, course), *summed(motion, course, 2, settled=True))


@pytest.mark.parametrize("passes", [1, 2, 5, 6, 31, 38])
def test_a_few_passes_print_what_every_moment_of_them_adds_up_to(motion, usual, passes):
    """Odd and even, within and beyond the cycles that are taken one by one."""
    course = exposure(usual, passes)
    agree(printed_pattern(motion, course), *summed(motion, course, passes))


@pytest.mark.parametrize("passes", [40, 41])
def test_a_fading_ring_current_prints_its_early_passes_more(motion, usual, passes):
    course = exposure(usual, passes, SHORT)
    printed = printed_pattern(motion, course)
    agree(printed, *summed(motion, course, passes))
    steady = printed_pattern(motion, exposure(usual, passes))
    assert np.abs(printed.mean - steady.mean).max() > 50 * CLOSE


def test_one_pass_prints_no_way_back(motion, usual):
    printed = printed_pattern(motion, exposure(usual, 1))
    assert np.isnan(printed.down).all()
    assert (printed.split == 0).all()
    assert np.abs(printed.up - printed.mean).max() < 1e-15  # m


def test_way_up_and_way_down_are_mirror_images_once_it_has_settled(motion, usual):
    """A plate and a scan that mirror themselves: below and above, and left and right, change over.

    To 0.02 nm: harmonics are solved to 1e-4 K, and to mirrored ones below and above.
    """
    near = 0.02e-9
    printed = printed_pattern(motion, exposure(usual, 10_000_000))
    up, down, split = (
        f.reshape(3, COUNT, COUNT, *f.shape[2:]) for f in (printed.up, printed.down, printed.split)
    )
    sign = np.array([1.0, -1.0])
    assert np.abs(up - sign * down[:, ::-1]).max() < near
    assert np.abs(split - split[:, ::-1]).max() < near
    middle = printed.mean.mean(1)
    assert np.abs(middle).max() < near


def test_what_mirrors_itself_left_and_right_is_printed_so(motion, usual):
    """Stack, light and scan do at every moment, so no body may turn under the stripe."""
    printed = printed_pattern(motion, exposure(usual, 10_000_000))
    for e in (printed.mean, printed.up, printed.down):
        own = e.reshape(3, COUNT, COUNT, 2)
        # harmonics are solved to 1e-4 K, alike in mirrored places or not
        assert np.abs(own - np.array([-1.0, 1.0]) * own[:, :, ::-1]).max() < 0.05e-9
