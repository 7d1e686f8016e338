"""Harmonics of the swept stripe: against integration in time, closed forms, logs and steps."""

import time as clock
import tracemalloc
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from beams import BERYLLIUM, GOLD, PMMA, SILICON, piece, ring
from scipy.interpolate import CubicSpline

from thermo.beam import white_beam
from thermo.beam.absorption import column_heat
from thermo.beam.motion import Motion, mean_over_scan
from thermo.beam.stage_log import motion_from_table
from thermo.beam.sweep import harmonics_needed, light_harmonics, swept_profiles

SCAN = Motion(0.08, 0.015, 0.5)
FAST = Motion(0.02, 0.1, 0.6)  # turns round over most of its stroke
SIGMA = 1.4e-3
HEIGHT = np.linspace(-6 * SIGMA, 6 * SIGMA, 121)
STRIPE = np.exp(-(HEIGHT**2) / 2 / SIGMA**2)
STRIPE /= STRIPE.sum()  # 1 W/m
LEANING = STRIPE * (1 + np.tanh(HEIGHT / SIGMA) / 2)
ROWS = np.stack([STRIPE, LEANING])
EDGES = np.linspace(-0.06, 0.06, 61)
COUNT = 40
both = pytest.mark.parametrize("motion", [SCAN, FAST], ids=["slow", "fast"])


def way(motion, t):
    """Place at a time after a lower turn, by plain kinematics."""
    L, v, a, T = motion.stroke, motion.speed, motion.acceleration, motion.pass_time
    t = t % (2 * T)
    t = np.where(t > T, 2 * T - t, t)
    start, end = a * t**2 / 2, L - a * (T - t) ** 2 / 2
    even = motion.turn + v * (t - v / a)
    return np.where(t < v / a, start, np.where(t > T - v / a, end, even)) - L / 2


def breaks(motion):
    """Times of a cycle between which its acceleration is even."""
    T, ramp = motion.pass_time, motion.speed / motion.acceleration
    return np.array([0, ramp, T - ramp, T, T + ramp, 2 * T - ramp, 2 * T])


def by_time(place_at, cuts, rows=ROWS, edges=EDGES, count=COUNT, points=4001):
    """Equation (1) by Simpson's rule between the cuts: (rows, intervals, count + 1), complex."""
    step = HEIGHT[1] - HEIGHT[0]
    below = CubicSpline(HEIGHT, rows.T / step, bc_type="natural").antiderivative()
    rule = np.full(points, 2.0) + 2 * (np.arange(points) % 2)
    rule[[0, -1]] = 1
    found, period = 0, cuts[-1] - cuts[0]
    for low, high in pairwise(cuts):
        t = np.linspace(low, high, points)
        share = rule / rule.sum() * (high - low) / period
        angle = 2 * np.pi * np.outer((t - cuts[0]) / period, np.arange(count + 1))
        u = np.clip(edges[:, None] - place_at(t), HEIGHT[0], HEIGHT[-1])
        waves = share[:, None] * np.exp(-1j * angle)
        found = found + np.einsum("etr,tn->ren", below(u), waves, optimize=True)
    return np.diff(found, axis=1)


def swept(motion, step=SIGMA / 10, rows=ROWS, edges=EDGES, count=COUNT):
    found = swept_profiles(HEIGHT, rows)
    return np.tensordot(found.mix, found.harmonics(motion.moments(step), edges, count), 1)


def off(found, expected):
    """Largest difference over the largest of what is expected."""
    return np.abs(found - expected).max() / np.abs(expected).max()


def log(motion=SCAN, passes=6, every=1e-3, start=0.0, rest=0.0):
    """Times and stage positions whose stripe runs as `motion` does; rows at every turn."""
    T = motion.pass_time + rest
    t = np.linspace(start * T, (start + passes) * T, passes * round(T / every) + 1)
    return t - t[0], -resting(motion, rest)(t)


def resting(motion, rest):
    """Place at a time after the middle of the rest at the lower turn."""
    T = motion.pass_time + rest

    def place(t):
        number, within = np.divmod(t, T)
        up = way(motion, np.clip(within - rest / 2, 0, motion.pass_time))
        return np.where(number % 2 == 0, up, -up)

    return place


@both
def test_the_mean_is_that_over_the_scan(motion):
    """Two ways to evaluate one sum; 1e-8 allows the ends of the rays, where 1e-8 is cut off."""
    expected = mean_over_scan(HEIGHT, ROWS, motion.places(SIGMA / 3), EDGES)
    assert off(swept(motion, SIGMA / 3)[..., 0], expected) < 1e-8


@both
def test_harmonics_are_those_of_an_integration_in_time(motion):
    """1e-8: the stripe is cut off at 6 sigma, exp(-18) of its peak."""
    expected = by_time(lambda t: way(motion, t), breaks(motion))
    found = swept(motion)
    assert found.dtype == float
    assert off(found, expected) < 1e-8


def test_place_of_the_stripe_at_any_time():
    """Plain kinematics; 1e-14 m is rounding.  Periodic, before zero too."""
    t = np.linspace(-30, 30, 1001)
    for motion in (SCAN, FAST):
        assert motion.period == 2 * motion.pass_time
        assert motion.place_at(t).shape == (1, 1001)
        assert motion.place_at(t)[0] == pytest.approx(way(motion, t), abs=1e-14)
        assert motion.place_at(np.array([0.0]))[0, 0] == -motion.stroke / 2


@both
def test_moments_lie_where_the_stripe_is_at_their_phase(motion):
    found = motion.moments(1e-3)
    assert found.mirrored
    assert found.place[0] == pytest.approx(way(motion, found.phase * motion.period), abs=1e-14)
    assert found.share.sum() == pytest.approx(1, rel=1e-12)
    assert 0 < found.phase.min() < found.phase.max() < 0.5


def test_a_stripe_at_full_speed_has_the_closed_form():
    """(3) by hand: the transform of the Gaussian, at t_b = (y + L/2)/v and t_b before the end.

    Turns of no length, far away.  3e-6: splines through 121 rays, as in the checks of the mean.
    """
    motion = Motion(0.08, 0.015, 1e6)
    y = np.linspace(-0.02, 0.025, 7)
    found = light_harmonics(HEIGHT, 7 * STRIPE, motion.moments(SIGMA / 5), y, 60)
    n, w = np.arange(61), 2 * np.pi / motion.period
    crossing = (y + 0.04) / 0.015
    expected = 7 * 2 / (0.015 * motion.period) * np.cos(np.outer(crossing, n * w))
    expected *= np.exp(-((n * w * SIGMA / 0.015) ** 2) / 2)
    assert off(found, expected) < 3e-6


@both
def test_a_centred_motion_mirrors_every_other_harmonic(motion):
    """P_n(-y) = (-1)^n P_n(y): half a period later the stripe is at -y.  1e-12: rounding."""
    found = swept(motion, rows=STRIPE[None])[0]
    signs = (-1.0) ** np.arange(COUNT + 1)
    assert off(found[::-1], signs * found) < 1e-12
    y = np.linspace(-0.05, 0.05, 21)
    light = light_harmonics(HEIGHT, STRIPE, motion.moments(SIGMA / 3), y, COUNT)
    assert off(light[::-1], signs * light) < 1e-12


def test_light_at_a_place_is_that_of_a_narrow_interval():
    """Second order in the interval of 20 um: (20 um/sigma)^2/24 = 9e-6, harmonics a little more."""
    y, half = np.linspace(-0.045, 0.045, 19), 1e-5
    light = light_harmonics(HEIGHT, 3 * LEANING, SCAN.moments(SIGMA / 5), y, COUNT)
    edges = np.stack([y - half, y + half], axis=1).ravel()
    found = 3 * swept(SCAN, SIGMA / 5, LEANING[None], edges)[0, ::2] / (2 * half)
    assert off(found, light) < 3e-5


def test_light_at_a_place_keeps_the_total_of_a_flat_stripe():
    """P'/L_eff by hand in the middle; 2e-3: edges of 12 mm against places 30 um apart.

    A spline through 121 equal rays spans 120 of their spacings: 8e-3 would be lost.
    """
    light = light_harmonics(HEIGHT, np.ones(121), SCAN.moments(SIGMA / 50), np.zeros(1), 0)
    assert light[0, 0] == pytest.approx(121 / SCAN.effective_stroke, rel=2e-3)


def test_the_sum_of_the_harmonics_is_the_source_at_each_moment():
    """Beyond 120 of them exp(-21) is left in the middle.  Near the turns the source has a kink:
    0.4/(q N) of it, 0.06, as `harmonics_needed` says.
    """
    sources = swept_profiles(HEIGHT, STRIPE[None])
    t = np.linspace(0, SCAN.period, 53)
    P = sources.harmonics(SCAN.moments(SIGMA / 6), EDGES, 120)
    waves = np.cos(2 * np.pi / SCAN.period * np.outer(np.arange(121), t))
    waves[1:] *= 2
    found, expected = (sources.mix[0, 0] * s for s in (P @ waves, sources.at(SCAN, t, EDGES)))
    assert expected.shape == (1, 60, 53)
    assert off(found[:, 20:40], expected[:, 20:40]) < 1e-8
    assert off(found, expected) < 0.06


def test_the_source_of_a_log_is_the_weighted_mean_of_its_cycles():
    """Both at one moment by hand: cubic splines below the interval's ends.  1e-12: rounding."""
    t, y = uneven()
    motion, sources = motion_from_table(t, -y), swept_profiles(HEIGHT, STRIPE[None])
    step, now = HEIGHT[1] - HEIGHT[0], 0.21
    below = CubicSpline(HEIGHT, STRIPE / step, bc_type="natural").antiderivative()
    expected = 0.0
    for start, end in pairwise(motion.cycles):
        at = np.interp(start + now * (end - start), motion.time, motion.place)
        one = np.diff(below(np.clip(EDGES - at, HEIGHT[0], HEIGHT[-1])))
        expected = expected + one * (end - start) / (motion.time[-1] - motion.time[0])
    found = sources.mix[0] @ sources.at(motion, np.array([now * motion.period]), EDGES)[..., 0]
    assert off(found, expected) < 1e-8


def test_power_in_all_intervals_is_the_rows_total_and_does_not_swing():
    """1e-12: rounding.  All of the stripe lies within the edges at every moment."""
    rows = np.stack([3 * STRIPE, LEANING, np.zeros(121), 1e-9 * STRIPE])
    found = swept(SCAN, rows=rows).sum(1)
    assert found[:, 0] == pytest.approx(rows.sum(1), rel=1e-12, abs=1e-30)
    assert np.abs(found[:, 1:]).max() < 1e-12 * 3
    sources = swept_profiles(HEIGHT, rows)
    always = sources.mix @ sources.at(SCAN, np.linspace(0, 9, 7), EDGES).sum(1)
    assert always == pytest.approx(np.repeat(rows.sum(1)[:, None], 7, axis=1), rel=1e-12, abs=1e-30)


@pytest.mark.parametrize("start", [0, 1], ids=["starts low", "starts high"])
def test_a_log_of_the_trapezoid_has_its_harmonics(start):
    """A log's zero is the turn it starts at: the first within it, here of the other kind.

    From a lower turn P_n is that of the trapezoid, from an upper one (-1)^n of it.  The turn is
    found to a row of 1 ms, a shift of the time.  1e-4: so is the period, 5e-5 of it by two cycles.
    """
    motion = motion_from_table(*log(start=start))
    assert motion.place_at(np.zeros(1))[0, 0] == pytest.approx(
        0.04 if start == 0 else -0.04, abs=1e-6
    )
    late = motion.time[0] - SCAN.pass_time
    assert abs(late) < 1.1e-3
    n = np.arange(COUNT + 1)
    expected = swept(SCAN) * np.exp(2j * np.pi / SCAN.period * n * late)
    expected *= 1.0 if start == 1 else (-1.0) ** n
    found = swept(motion)
    assert found.dtype == complex
    assert len(motion.cycles) == 3
    assert off(found, expected) < 1e-4


@pytest.mark.parametrize("start", [0, 1], ids=["up", "down"])
def test_a_single_pass_stands_for_the_way_back(start):
    """The log starts at its own first row, and P_n is real.

    1e-5: chords of 1 ms lie 0.06 um off, 4e-5 of sigma, in the turn-arounds alone.
    """
    motion = motion_from_table(*log(passes=1, start=start))
    assert motion.passes == 1
    assert motion.period == pytest.approx(SCAN.period, rel=1e-12)
    found = swept(motion)
    assert motion.moments(1e-3).mirrored
    assert motion.moments(1e-3).phase.max() < 0.5
    assert found.dtype == float
    assert off(found, swept(SCAN) * (1.0 if start == 0 else (-1.0) ** np.arange(COUNT + 1))) < 1e-5
    t = np.linspace(0, 2 * motion.period, 50)
    expected = way(SCAN, t + start * SCAN.pass_time)
    assert motion.place_at(t)[0] == pytest.approx(expected, abs=1e-7)


def test_rests_at_the_ends_are_time_of_the_cycle():
    """Zero is the middle of the rest, here at a lower turn.  1e-5: chords of 2 ms, as above."""
    motion = motion_from_table(*log(rest=1.5, every=2e-3, start=1))
    T = SCAN.pass_time + 1.5
    assert motion.period == pytest.approx(2 * T, rel=1e-12)
    ramp = SCAN.speed / SCAN.acceleration
    within = np.array([0, 0.75, 0.75 + ramp, T - 0.75 - ramp, T - 0.75])
    expected = by_time(resting(SCAN, 1.5), np.concatenate([within, T + within, [2 * T]]))
    assert off(swept(motion), expected) < 1e-5


def test_a_slower_way_down_gives_complex_harmonics():
    """Straight rows, up at 20 and down at 10 mm/s, one cycle: exact in time but at sharp turns.

    There an even rule is (step/sigma)^2/12 of the kink off: 4e-5 at sigma/60.
    """
    t, y = np.array([0.0, 4.0, 12.0]), np.array([-0.04, 0.04, -0.04])
    motion = motion_from_table(t, -y)
    expected = by_time(lambda s: np.interp(s, t, y), t)
    found = swept(motion, SIGMA / 60)
    assert np.abs(expected.imag).max() > 0.3 * np.abs(expected.real[..., 1:]).max()
    assert off(found, expected) < 1e-4
    assert np.abs(np.diff(motion.moments(1e-3).place)).max() < 1.01e-3  # on the fast way too
    inside = slice(15, 45)
    assert off(swept(motion, SIGMA / 4)[:, inside], expected[:, inside]) < 1e-8


def uneven():
    """Times and places of 21 cycles with rests between 0.7 and 0.9 s."""
    rests, now, rows = np.random.default_rng(5).uniform(0.7, 0.9, 44), 0.0, []
    for number, rest in enumerate(rests):
        s = np.arange(0, SCAN.pass_time + rest, 2e-3)
        rows.append([now + s, (-1) ** number * way(SCAN, np.clip(s, 0, SCAN.pass_time))])
        now += SCAN.pass_time + rest
    return np.concatenate(rows, axis=1)


def test_cycles_of_unequal_time_are_laid_over_each_other():
    """Each cycle is weighted by its time, so the mean is that over the log.  1e-5: even spacing
    in time against places that are exact to the second moment.

    Rests vary by 0.06 s, so the size of the harmonics is that of a cycle with the mean rest but for
    exp(-(15 w 0.06 s)^2/2) = 0.9 at most.  In equal parts of the log the cycles would drift apart.
    """
    t, y = uneven()
    motion = motion_from_table(t, -y)
    assert len(motion.weights) == motion.passes / 2 == 21
    assert np.ptp(motion.weights) > 1e-3
    expected = mean_over_scan(HEIGHT, ROWS, motion.places(SIGMA / 20), EDGES)
    assert off(swept(motion)[..., 0], expected) < 1e-5
    rest = motion.pass_time - SCAN.pass_time
    alike = by_time(resting(SCAN, rest), np.array([0, 1, 2]) * motion.pass_time)
    size = np.abs(swept(motion)[0, 20:40, 1:16]).max(0) / np.abs(alike[0, 20:40, 1:16]).max(0)
    assert size.min() > 0.9
    assert size.max() < 1.05


def test_cycles_start_as_far_apart_as_the_stripe_sets_out():
    """Rows at the turns alone; 5/8 of the way up is done after 5/8 of 2 s, and of 3 s (by hand)."""
    t = np.array([-2.0, 0, 2, 4, 7, 9, 11])  # whole cycles from the first turn within: 0 to 9
    y = 0.04 * (-1.0) ** np.arange(7)
    for sign in (1, -1):
        motion = motion_from_table(t, sign * y, 0.01)
        assert motion.cycles == pytest.approx([0, 4 + 0.625, 9], abs=1e-12)
        assert motion.weights == pytest.approx([4.625 / 9, 4.375 / 9], abs=1e-12)


def test_jitter_does_not_move_the_cycles():
    """30 um of noise, as much as a row: the stripe goes back and forth as it sets out.

    That moves the moment by 30 um/15 mm/s = 2 ms and a few rows.
    """
    t, y = log(passes=8, every=2e-3, rest=0.5)
    noisy = y + 3e-5 * np.random.default_rng(6).standard_normal(len(y))
    clean, motion = motion_from_table(t, y), motion_from_table(t, noisy)
    assert len(motion.weights) == motion.passes / 2 == 3
    assert np.diff(motion.cycles)[:-1] == pytest.approx(np.diff(clean.cycles)[:-1], abs=0.01)


def hard_rows():
    """Heat by ray in the slabs of two columns behind a hard beam (invented), W/m."""
    windows = [("window", BERYLLIUM, 300e-6)]
    found = white_beam(ring(2.9, 3.0), 20.0, windows, (PMMA, GOLD, SILICON))
    mask, gold = piece("mask", BERYLLIUM, 5e-4, 4), piece("absorber", GOLD, 2e-5, 6)
    resist, wafer = piece("resist", PMMA, 2e-3, 12), piece("substrate", SILICON, 7e-4, 6)
    columns = [column_heat(found, c) for c in ([mask, gold, resist, wafer], [mask, resist, wafer])]
    rows = np.vstack([[*h, c.transmitted] for c in columns for h in [np.vstack(c.heat)]])
    return found.height, rows


@pytest.fixture(scope="module")
def hard():
    return hard_rows()


def test_a_hard_beam_is_made_of_few_shapes(hard):
    """Rows of 0.8 to 840 W/m, each to 1e-9 of its own: what is dropped is 1e-11 of the first."""
    height, rows = hard
    found = swept_profiles(height, rows)
    assert found.shapes.shape[0] <= 24 < len(rows)
    wrong = np.abs(found.mix @ found.shapes - rows).sum(1) / rows.sum(1)
    assert wrong.max() < 1e-9
    edges = np.linspace(-0.08, 0.08, 41)
    mean = found.mix @ found.harmonics(SCAN.moments(3e-4), edges, 0)[..., 0]
    expected = mean_over_scan(height, rows, SCAN.places(3e-4), edges)
    assert (np.abs(mean - expected).max(1) / expected.max(1)).max() < 1e-8
    deviation = np.sqrt(rows @ height**2 / rows.sum(1))
    assert found.sharpest == pytest.approx(deviation.min(), rel=1e-9)


def test_dark_rows_stay_dark():
    assert not swept(SCAN, rows=np.zeros((2, 121))).any()


@pytest.mark.parametrize(("step", "allowed"), [(1 / 3, 3e-8), (1 / 10, 1e-8)])
def test_a_third_of_sigma_is_a_fine_step_for_a_hundred_harmonics(step, allowed):
    """Each rule aliases beyond 2 pi/step: exp(-18) there.  What is left is the cut at 6 sigma."""
    edges, rows = np.linspace(-0.06, 0.06, 301), STRIPE[None]
    fine = swept(SCAN, SIGMA / 40, rows, edges, 100)
    start = clock.perf_counter()
    found = swept(SCAN, step * SIGMA, rows, edges, 100)
    assert clock.perf_counter() - start < 1  # 5 ms; a loop over edges would take seconds
    assert off(found, fine) < allowed


@pytest.mark.parametrize("tolerance", [2.0, 0.5, 1e-1, 1e-2, 1e-4])
def test_harmonics_needed_leave_less_than_the_tolerance(tolerance):
    """Both sums of the docstring, term by term to 5 N; ripple 1."""
    N = harmonics_needed(SCAN, SIGMA, 1.0, tolerance)
    n, q = np.arange(N + 1, 5 * N), 2 * np.pi / SCAN.period * SIGMA / SCAN.speed
    one = np.exp(-((n * q) ** 2) / 2)
    assert (2 / np.pi * one / n).sum() < tolerance
    assert (2 * q * np.sqrt(2 / np.pi) * one).sum() < tolerance
    assert harmonics_needed(SCAN, SIGMA, 0.0, tolerance) <= N  # nothing swings
    slower = replace(SCAN, acceleration=0.05)  # the time of the turn-around counts
    ratio = harmonics_needed(slower, SIGMA, 1.0, tolerance) / N
    assert ratio == pytest.approx(slower.pass_time / SCAN.pass_time, abs=1 / N)


def test_the_largest_log_is_quick_and_memory_stays_small():
    """200 000 rows in 100 cycles, and 3000 edges of ten shapes below 100 MB beside the result."""
    t, y = log(passes=200, every=200 * SCAN.pass_time / 199_990)
    motion = motion_from_table(t, y)
    start = clock.perf_counter()
    swept(motion, SIGMA / 3)
    assert clock.perf_counter() - start < 3
    rows = STRIPE * np.stack([(HEIGHT / SIGMA) ** k for k in range(10)])
    sources = swept_profiles(HEIGHT, np.abs(rows))
    edges = np.linspace(-0.06, 0.06, 3001)
    tracemalloc.start()
    found = sources.harmonics(SCAN.moments(SIGMA / 10), edges, 40)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 1e8 + 3 * found.nbytes
