"""A stage's log as the motion: against the trapezoid it was sampled from, and what it may hold."""

import math
import time as clock

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ndtr

from thermo.beam import Motion, mean_over_scan, motion_from_table
from thermo.beam.plan import exposure, needed_stroke, unevenness
from thermo.errors import PhysicsError

SCAN = Motion(0.08, 0.05, 1.0)
SIGMA = 2e-3
HEIGHT = np.linspace(-7 * SIGMA, 7 * SIGMA, 121)
STRIPE = np.exp(-(HEIGHT**2) / 2 / SIGMA**2)
EDGES = np.linspace(-0.06, 0.06, 49)


def pass_up(motion, t):
    """Place during one pass from -L/2 at rest, by plain kinematics."""
    L, v, a, T = motion.stroke, motion.speed, motion.acceleration, motion.pass_time
    start, end = a * t**2 / 2, L - a * (T - t) ** 2 / 2
    even = motion.turn + v * (t - v / a)
    return np.where(t < v / a, start, np.where(t > T - v / a, end, even)) - L / 2


def log(motion=SCAN, passes=2.0, every=0.01, rest=0.0, start=0.0):
    """Time and position of passes to and fro with rests at the ends, from `start` passes on."""
    T = motion.pass_time + rest
    t = np.arange(start * T, (start + passes) * T + every / 2, every)
    number, within = np.divmod(t, T)
    up = pass_up(motion, np.clip(within - rest / 2, 0, motion.pass_time))
    return t - t[0], np.where(number % 2 == 0, up, -up)


def mean(motion, step=SIGMA / 3):
    profile = STRIPE / STRIPE.sum()
    return mean_over_scan(HEIGHT, profile[None], motion.places(step), EDGES)[0]


@pytest.mark.parametrize("passes", [1, 2, 2.6, 7], ids=["one way", "cycle", "cut", "many"])
@pytest.mark.parametrize("start", [0, 1], ids=["up", "down"])
def test_a_log_of_a_trapezoid_is_that_trapezoid(passes, start):
    """2e-3: rows every 10 ms, chords of the 50 ms turn-around; whole passes to half a row."""
    found = motion_from_table(*log(passes=passes, start=start))
    assert found.stroke == pytest.approx(SCAN.stroke, rel=2e-3)
    assert found.speed == pytest.approx(SCAN.speed, rel=2e-3)
    assert found.pass_time == pytest.approx(SCAN.pass_time, rel=5e-3)
    assert found.effective_stroke == pytest.approx(SCAN.effective_stroke, rel=5e-3)
    assert mean(found) == pytest.approx(mean(SCAN), abs=6e-3 * mean(SCAN).max())
    assert found.places(1e-3)[1].sum() == pytest.approx(1, rel=1e-12)


def test_a_fine_log_converges_to_the_trapezoid():
    """Chords of a parabola at 1 ms lie 0.1 um off; 1e-4: places are exact to the second moment."""
    found = motion_from_table(*log(every=1e-3))
    assert found.pass_time == pytest.approx(SCAN.pass_time, rel=1e-9)
    assert found.acceleration == pytest.approx(SCAN.acceleration, rel=1e-4)
    assert mean(found) == pytest.approx(mean(SCAN), abs=1e-4 * mean(SCAN).max())


@pytest.mark.parametrize(
    "motion", [SCAN, Motion(0.1, 0.1, 0.5), Motion(0.06, 0.02, 0.1)], ids=["a", "slow", "short"]
)
def test_the_turn_around_is_read_from_the_log_whatever_the_rest(motion):
    """One interval of 400, widened by 1/0.81."""
    for rest in (0.0, 2.0):
        found = motion_from_table(*log(motion, passes=6, every=2e-3, rest=rest))
        assert found.turn == pytest.approx(motion.turn, abs=1.3 / 0.81 * motion.stroke / 400)


def test_places_hold_time_mean_and_variance_of_the_log():
    """Sums over straight segments of t, t (a + b)/2 and t (a^2 + a b + b^2)/3 (by hand)."""
    rng = np.random.default_rng(1)
    t = np.cumsum(rng.uniform(0.01, 0.1, 400))
    position = 0.04 * np.sin(t) + 1e-4 * rng.standard_normal(400)
    found = motion_from_table(t, position)
    a, b, dt = found.place[:-1], found.place[1:], np.diff(found.time)
    for step in (1e-1, 1e-2, 1e-3, 1e-5):
        y, share = found.places(step)
        total = dt.sum()
        assert (share * y).sum() == pytest.approx((dt * (a + b) / 2).sum() / total, abs=1e-12)
        square = (dt * (a * a + a * b + b * b) / 3).sum() / total
        assert (share * y**2).sum() == pytest.approx(square, rel=1e-12)


def test_mean_over_a_rough_log_equals_sampling_in_time():
    """400 000 moments of the log; 4e-5: places are exact to the second moment."""
    rng = np.random.default_rng(2)
    t = np.cumsum(rng.uniform(0.01, 0.1, 300))
    found = motion_from_table(t, 0.04 * np.sin(t) + 1e-4 * rng.standard_normal(300))
    moments = np.linspace(found.time[0], found.time[-1], 800_001)[1::2]
    y = np.interp(moments, found.time, found.place)
    expected = np.diff([ndtr((e - y) / SIGMA).mean() for e in EDGES])
    assert mean(found) == pytest.approx(expected, abs=4e-5 * expected.max())


@pytest.mark.parametrize("passes", [2, 9])
def test_jitter_of_the_encoder_makes_no_turns(passes):
    """3 um of noise, 2 ms rows, rests of 1 s: turns stay, the pass keeps its time to a few rows."""
    rng = np.random.default_rng(3)
    t, y = log(passes=passes, every=2e-3, rest=1.0)
    found = motion_from_table(t, y + 3e-6 * rng.standard_normal(len(y)))
    assert found.passes == {2: 2, 9: 6}[passes]  # whole cycles between turns within the log
    assert found.pass_time == pytest.approx(SCAN.pass_time + 1.0, abs=0.01)
    assert found.speed == pytest.approx(SCAN.speed, rel=1e-3)
    assert found.stroke == pytest.approx(SCAN.stroke, abs=2e-5)
    assert found.turn == pytest.approx(SCAN.turn, abs=4e-4)


def test_idle_time_round_the_scan_does_not_count():
    t, y = log(passes=4)
    t = np.concatenate([[-600.0, -0.01], t, [t[-1] + 0.01, t[-1] + 900]])
    found = motion_from_table(t, np.concatenate([y[[0, 0]], y, y[[-1, -1]]]))
    assert found.pass_time == pytest.approx(SCAN.pass_time, abs=0.01)


def test_a_rest_at_the_ends_counts_as_time_of_the_pass():
    """Effective stroke v T and acceleration v/(T - L/v), T with the rest (kinematics)."""
    found = motion_from_table(*log(passes=6, every=5e-3, rest=0.5))
    T = SCAN.pass_time + 0.5
    assert found.effective_stroke == pytest.approx(SCAN.speed * T, rel=1e-3)
    assert found.acceleration == pytest.approx(SCAN.speed / (T - 1.6), rel=5e-3)
    ends = found.time_density(np.array([-0.041, -0.0395, 0.0395, 0.041]))[[0, 2]] * 1.5e-3
    quiet = SCAN.time_density(np.array([-0.041, -0.0395]))[0] * 1.5e-3
    assert ends == pytest.approx([quiet + 0.25] * 2, abs=5e-3)


def test_an_asymmetric_scan_keeps_the_mean_of_both_ways():
    """Up at 40 mm/s, down at 80: 1/v = (1/40 + 1/80)/2, T = (2 + 1)/2 s (by hand)."""
    found = motion_from_table([0, 2, 3, 5, 6], [0, 0.08, 0, 0.08, 0])
    assert found.passes == 2
    assert found.speed == pytest.approx(0.16 / 3, rel=1e-12)
    assert found.pass_time == pytest.approx(1.5, rel=1e-12)
    assert found.acceleration == math.inf
    assert found.turn == 0


def test_speed_is_that_of_the_middle_half_of_the_stroke():
    """A sine A sin(w t) crosses -A/2 .. A/2 in pi/(3 w): v = 3 A w/pi; 1e-4: chords of 10 ms."""
    t = np.arange(0, 20, 0.01)
    found = motion_from_table(t, 0.04 * np.sin(t))
    assert found.speed == pytest.approx(0.12 / math.pi, rel=1e-4)
    assert found.pass_time == pytest.approx(math.pi, abs=0.01)
    assert found.duty(0.04) == pytest.approx(1 / 3, rel=2e-3)


def test_a_single_pass_counts_for_both_ways():
    one = motion_from_table([0, 1, 2], [0.0, 0.03, 0.08])
    both = motion_from_table([0, 1, 2, 3, 4], [0.0, 0.03, 0.08, 0.03, 0.0])
    assert (one.passes, both.passes) == (1, 2)
    assert one.pass_time == both.pass_time == 2
    assert mean(one) == pytest.approx(mean(both), abs=1e-12)


def test_a_started_pass_behind_a_whole_one_is_cut_off():
    found = motion_from_table([0, 2, 3], [0.0, 0.08, 0.04])
    assert (found.passes, found.pass_time) == (1, 2)
    found = motion_from_table([-1, 0, 2, 3], [0.04, 0.0, 0.08, 0.05])
    assert (found.passes, found.pass_time) == (1, 2)


def test_the_stripe_runs_against_the_stage_about_the_lit_position():
    """Equation (4): the stage 30 mm up lights a place 10 mm above the middle where p_c = 40 mm."""
    t, p = [0, 1, 2], [0.0, 0.03, 0.08]
    found = motion_from_table(t, p, 0.04)
    assert found.place.tolist() == pytest.approx([0.04, 0.01, -0.04])
    turned = motion_from_table(t, [-x for x in p], -0.04)
    assert mean(turned) == pytest.approx(mean(found)[::-1], abs=1e-12)


def test_an_offset_centre_shifts_every_place():
    t, y = log()
    whole, off = motion_from_table(t, 0.3 + y), motion_from_table(t, 0.3 + y, 0.305)
    assert whole.middle == pytest.approx(0, abs=1e-15)
    assert off.middle == pytest.approx(5e-3, abs=1e-12)
    assert off.place == pytest.approx(whole.place + 5e-3, abs=1e-15)
    assert (off.speed, off.turn) == (pytest.approx(whole.speed), pytest.approx(whole.turn))
    for field in (0.02, 0.06):
        extra = needed_stroke(field, SIGMA, off) - needed_stroke(field, SIGMA, whole)
        assert extra == pytest.approx(0.01, rel=1e-9)


def test_time_density_and_duty_of_the_trapezoid():
    """Even part 1/v; at the ends the integral of 1/sqrt(2 a s) (adaptive quadrature)."""
    edges = np.array([-0.05, -0.04, -0.0395, -0.03, 0.01, 0.0392, 0.04, 0.06])
    found = SCAN.time_density(edges)
    spent = found * np.diff(edges)
    assert spent.sum() == pytest.approx(SCAN.pass_time, rel=1e-12)
    assert found[[0, -1]] == pytest.approx([0, 0], abs=1e-12)
    assert found[3] == pytest.approx(20, rel=1e-12)
    ends, _ = quad(lambda s: (2 * s) ** -0.5, 0, 0.5e-3)
    assert spent[1] == pytest.approx(ends, rel=1e-9)
    assert SCAN.duty(0.06) == pytest.approx(0.06 / 0.0825, rel=1e-12)
    assert SCAN.duty(0.2) == pytest.approx(1, rel=1e-12)


def test_time_density_and_duty_of_a_log_are_exact_to_its_straight_rows():
    found = motion_from_table([0, 1, 2, 3], [0.0, 0.0, 0.02, 0.08], 0.03)
    edges = np.array([-0.06, -0.05, 0.0, 0.01, 0.025, 0.04])
    spent = found.time_density(edges) * np.diff(edges)
    assert spent == pytest.approx([0, 5 / 6, 1 / 6, 3 / 4, 5 / 4], abs=1e-12)
    assert found.duty(0.02) == pytest.approx(1 / 9, rel=1e-12)
    assert found.duty(1.0) == pytest.approx(1, rel=1e-12)


def test_a_plan_by_log_is_the_plan_by_trapezoid():
    """3e-3: rows of 10 ms, as above; unevenness differs by what the chords leave."""
    found = motion_from_table(*log(passes=4, every=5e-3))
    plan, expected = (exposure(11e6, 1e5, 0.2, m) for m in (found, SCAN))
    assert plan.passes == expected.passes
    assert plan.time == pytest.approx(expected.time, rel=3e-3)
    for field in (0.05, 0.07, 0.078):
        uneven = unevenness(field, HEIGHT, STRIPE, SCAN)
        assert unevenness(field, HEIGHT, STRIPE, found) == pytest.approx(uneven, rel=0.01, abs=1e-5)


def test_the_largest_log_is_quick():
    """200 000 rows and thousands of places; seconds would betray a loop over rows and places."""
    t, y = log(passes=400, every=400 * SCAN.pass_time / 199_990)
    start = clock.perf_counter()
    found = motion_from_table(t, y)
    places = found.places(2e-5)
    mean_over_scan(HEIGHT, np.tile(STRIPE, (30, 1)), places, EDGES)
    assert clock.perf_counter() - start < 2
    assert len(places[0]) <= 2 * 4001


def test_a_log_that_turns_at_every_row_is_quick():
    t = np.arange(200_000.0)
    start = clock.perf_counter()
    found = motion_from_table(t, 0.08 * (t % 2))
    assert clock.perf_counter() - start < 2
    assert found.pass_time == 1


T3, P3 = [0.0, 1.0, 2.0], [0.0, 0.08, 0.0]


@pytest.mark.parametrize(
    ("time", "position", "centre", "words"),
    [
        ([0, 1, 1], P3, None, r"time of the log falls or stays from 1 s to 1 s in row 3"),
        ([0, 2, 1], P3, None, "falls or stays from 2 s to 1 s"),
        (T3, [0, math.nan, 0], None, "row 2 of the log is not finite"),
        ([0, 1, math.inf], P3, None, "row 3 of the log is not finite"),
        (T3, [0, 0.08], None, "two columns of equal length"),
        ([0], [0], None, "2 rows or more"),
        (T3, [0, 1e-3, 0], None, "moves by 1 mm; allowed: 2 to 2000 mm"),
        (T3, [0, 0, 0], None, "moves by 0 mm"),
        (T3, [0, 80, 0], None, "moves by 8e\\+04 mm.*unit"),
        ([0, 1000, 2000], [0, 0.08, 0], -1.0, "outside the stroke; allowed: 0 to 80 mm"),
        (T3, P3, math.nan, "outside the stroke"),
        ([0, 1e6, 2e6], P3, None, "speed of 8e-05 mm/s; allowed: 0.001 to 1000 mm/s"),
        ([0, 1e-3, 2e-3], P3, None, "speed of 8e\\+04 mm/s"),
        ([0, 1, 2, 3, 4], [0, 0.05, 0.02, 0.08, 0], None, "turns at one end between 50 and 80 mm"),
        ([0, 1, 2, 3, 4], [0.04, 0.08, 0.05, 0.07, 0.0], None, "turns at one end|no full pass"),
        ([0, 1, 2, 3], [0.03, 0.08, 0.0, 0.05], None, None),
        ([0, 1, 2], [0.06, 0.0, 0.08], None, None),
    ],
)
def test_what_is_no_scan_is_refused_and_a_pass_is_found(time, position, centre, words):
    if words is None:
        assert motion_from_table(time, position, centre).passes == 1
        return
    with pytest.raises(PhysicsError, match=words) as caught:
        motion_from_table(time, position, centre)
    assert "\n" not in str(caught.value)


def test_random_walks_are_refused_or_are_whole_passes():
    rng = np.random.default_rng(4)
    for steps in range(2, 60):
        t = np.cumsum(rng.uniform(0.01, 1, steps))
        p = 1e-3 * np.cumsum(rng.standard_normal(steps)) * rng.uniform(0.1, 20)
        try:
            found = motion_from_table(t, p)
        except PhysicsError:
            continue
        y, share = found.places(1e-3)
        assert found.passes == 1 or found.passes % 2 == 0
        assert share.sum() == pytest.approx(1)
        assert (share > 0).all()
        assert np.isfinite([found.speed, found.pass_time, found.turn, *y]).all()


def test_jitter_of_tens_of_micrometres_makes_no_long_turn():
    """A slow scan with 20 um of jitter: the turn stays below a tenth of the stroke."""
    rng = np.random.default_rng(3)
    time, position = log(Motion(0.09, 0.005, 0.5), every=0.02)
    noisy = motion_from_table(time, position + rng.normal(0, 2e-5, len(time)))
    assert noisy.turn < 0.009
    assert noisy.speed == pytest.approx(0.005, rel=1e-2)
