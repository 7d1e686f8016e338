"""Scan: kinematics, mean over the scan, passes, decay, overscan and refusals."""

import math

import numpy as np
import pytest
from beams import beam
from scipy import integrate
from scipy.special import ndtr

from thermo.beam import (
    STILL,
    Motion,
    exposure,
    mean_over_scan,
    needed_stroke,
    time_with_decay,
    unevenness,
)
from thermo.beam.plan import charge_per_length, passes_done
from thermo.beam.profile import FWHM_PER_SIGMA
from thermo.errors import PhysicsError

SCAN = Motion(0.08, 0.05, 1.0)


def test_pass_time_and_turn_around():
    """SCAN-TIMES: 0.08 m, 0.05 m/s, 1 m/s2: 1.65 s, 1.25 mm (kinematics)."""
    assert SCAN.pass_time == pytest.approx(1.65, rel=1e-12)
    assert SCAN.turn == pytest.approx(1.25e-3, rel=1e-12)
    assert SCAN.effective_stroke == pytest.approx(SCAN.speed * SCAN.pass_time, rel=1e-12)


@pytest.mark.parametrize("stroke", [0.0024, 0.0, -0.08, math.nan])
def test_a_stroke_too_short_for_its_speed_is_refused(stroke):
    with pytest.raises(PhysicsError, match="too short to reach 50 mm/s"):
        Motion(stroke, 0.05, 1.0)


def test_the_shortest_stroke_is_allowed():
    places, share = Motion(0.0025, 0.05, 1.0).places(1e-4)
    assert share.sum() == pytest.approx(1, rel=1e-12)
    assert abs(places).max() < 1.25e-3


def position(motion, t):
    """Place during one pass that starts at -L/2 from rest, by plain kinematics."""
    L, v, a, T = motion.stroke, motion.speed, motion.acceleration, motion.pass_time
    start = a * t**2 / 2
    end = L - a * (T - t) ** 2 / 2
    even = motion.turn + v * (t - v / a)
    return np.where(t < v / a, start, np.where(t > T - v / a, end, even)) - L / 2


@pytest.mark.parametrize(
    "motion", [SCAN, Motion(0.02, 0.1, 0.6), Motion(0.08, 0.015, 0.5)], ids=["a", "fast", "slow"]
)
def test_mean_over_the_scan_equals_sampling_in_time(motion):
    """Gaussian stripe against 200 000 moments: both are smooth, 2e-6 is the spline's own error."""
    sigma = 2e-3
    height = np.linspace(-7 * sigma, 7 * sigma, 121)
    profile = np.exp(-(height**2) / 2 / sigma**2)
    profile /= profile.sum()
    edges = np.linspace(-0.06, 0.06, 49)
    found = mean_over_scan(height, profile[None], motion.places(sigma / 3), edges)[0]
    t = (np.arange(200_000) + 0.5) / 200_000 * motion.pass_time
    places = position(motion, t)
    below = np.array([ndtr((e - places) / sigma).mean() for e in edges])
    assert found == pytest.approx(np.diff(below), abs=2e-6 * np.diff(below).max())


def test_mean_over_the_scan_keeps_every_watt():
    found = beam()
    profiles = np.stack([found.power.sum(1), found.power[:, 40]])
    edges = np.linspace(-0.2, 0.2, 31)
    for places in (SCAN.places(1e-3), STILL):
        mean = mean_over_scan(found.height, profiles, places, edges)
        assert mean.sum(1) == pytest.approx(profiles.sum(1), rel=1e-12)


def test_a_held_stripe_stays_in_its_own_interval():
    height = np.linspace(-1e-3, 1e-3, 41)
    profile = np.ones((1, 41))
    mean = mean_over_scan(height, profile, STILL, np.array([-5e-3, -2e-3, 2e-3, 5e-3]))
    assert mean[0] == pytest.approx([0, 41, 0], abs=1e-12)


def test_dose_of_a_pass_follows_from_the_line_power_over_the_speed():
    """Mid-field the mean flux is P'/L_eff, far from the turn-arounds. 1e-5: spline."""
    found = beam()
    motion = Motion(0.1, 0.02, 0.5)
    edges = np.array([-1e-3, 1e-3])
    profile = found.power.sum(1)[None]
    mean = mean_over_scan(found.height, profile, motion.places(5e-4), edges)[0, 0] / 2e-3
    assert mean == pytest.approx(found.on_mask / motion.effective_stroke, rel=1e-5)


# SCAN-OVERSCAN (numerical integration for a table of checks): v mm/s, k, peak-to-valley
# unevenness; field 60 mm, FWHM 5 mm, 1 m/s2.
OVERSCAN = [
    (20, 0, 0.425),
    (20, 1, 0.116),
    (20, 2, 0.0138),
    (20, 3, 0.00066),
    (100, 0, 0.165),
    (100, 1, 0.028),
    (100, 2, 0.0025),
    (100, 3, 0.00010),
]


@pytest.mark.parametrize(("speed", "k", "expected"), OVERSCAN)
def test_unevenness_of_the_dose_by_overscan(speed, k, expected):
    """3 % of the value, and half a unit of the last digit printed."""
    sigma = 5e-3 / FWHM_PER_SIGMA
    v = 1e-3 * speed
    stroke = 0.06 + 2 * k * sigma + v**2
    motion = Motion(stroke, v, 1.0)
    assert needed_stroke(0.06, k * sigma, motion) == pytest.approx(stroke, rel=1e-12)
    height = np.linspace(-6 * sigma, 6 * sigma, 121)
    found = unevenness(0.06, height, np.exp(-(height**2) / 2 / sigma**2), motion)
    digits = {0.0025: 5e-5, 0.00010: 5e-6, 0.00066: 5e-6}.get(expected, 0)
    assert found == pytest.approx(expected, rel=0.03, abs=0.03 * expected + digits)


@pytest.mark.parametrize(("lifetime", "hours"), [(10, 6.931), (15, 6.082)])
def test_time_at_decaying_current(lifetime, hours):
    """SCAN-DECAY: 5 h at constant current; t = -tau ln(1 - t0/tau) (arithmetic), and the charge."""
    time = time_with_decay(5 * 3600, lifetime * 3600)
    assert time / 3600 == pytest.approx(hours, rel=1e-3)
    charge, _ = integrate.quad(lambda t: math.exp(-t / lifetime / 3600), 0, time)
    assert charge == pytest.approx(5 * 3600, rel=1e-10)


@pytest.mark.parametrize("lifetime", [5 * 3600.0, 3600.0, math.nan])
def test_a_dose_the_decaying_beam_never_gives_is_refused(lifetime):
    with pytest.raises(PhysicsError, match="can never be reached"):
        time_with_decay(5 * 3600, lifetime)


def test_passes_are_whole_and_give_at_least_the_dose():
    rate = 1e5  # W/m2: 2 MJ/m3 a pass at 0.05 m/s
    plan = exposure(11e6, rate, 0.2, SCAN)
    assert plan.dose_per_pass == pytest.approx(2e6, rel=1e-12)
    assert plan.passes == 6
    assert plan.time == pytest.approx(6 * 1.65, rel=1e-12)
    assert (plan.passes_with_decay, plan.time_with_decay) == (plan.passes, plan.time)
    assert plan.charge_per_length == pytest.approx(11e6 * 0.2 / 1e5, rel=1e-12)


def test_a_dose_that_is_a_whole_number_of_passes_needs_no_extra_one():
    assert exposure(7 * (1e5 / 0.05), 1e5, 0.2, SCAN).passes == 7
    assert exposure(3 * 0.1 * 1e5 / 0.3, 1e5, 0.2, Motion(0.4, 0.3, 1.0)).passes == 1


def test_decay_adds_passes_only_when_they_are_needed():
    """5.5 passes' worth: the sixth pass has room for a slow decay, not for a fast one."""
    slow = exposure(11e6, 1e5, 0.2, SCAN, 10 * 3600)
    assert (slow.passes, slow.passes_with_decay) == (6, 6)
    fast = exposure(11e6, 1e5, 0.2, SCAN, 20.0)
    needed = -20 * math.log(1 - 5.5 * 1.65 / 20) / 1.65
    assert fast.passes_with_decay == math.ceil(needed) > 6
    assert fast.time_with_decay == pytest.approx(fast.passes_with_decay * 1.65, rel=1e-12)


def test_many_places_are_made_of_panels_and_stay_exact():
    """A stroke of 1 m in steps of 20 um: one rule of 1e5 points would take hours."""
    motion = Motion(1.0, 0.3, 0.5)
    places, share = motion.places(2e-5)
    assert share.sum() == pytest.approx(1, rel=1e-12)
    assert abs(places).max() < 0.5
    v, a, L = motion.speed, motion.acceleration, motion.stroke
    x = L / 2 - motion.turn
    # integral of y^2: even part, and (L/2 - a t^2/2)^2 over both turn-arounds (by hand)
    t = v / a
    square = 2 * x**3 / (3 * v) + 2 * (L**2 / 4 * t - L * a * t**3 / 6 + a**2 * t**5 / 20)
    assert (share * places**2).sum() == pytest.approx(square / motion.pass_time, rel=1e-12)


def test_needed_passes_are_told_before_rounding():
    plan = exposure(11e6, 1e5, 0.2, SCAN)
    assert plan.needed == pytest.approx(5.5, rel=1e-12)
    assert plan.step == pytest.approx(1 / 6, rel=1e-12)
    assert plan.delivered == plan.delivered_with_decay == pytest.approx(6 / 5.5, rel=1e-12)


@pytest.mark.parametrize("done", [0.0, 0.3, 1.0, 2.5, 5.0, 5.5])
def test_an_exposure_split_by_a_stop_gives_the_dose_of_the_unsplit(done):
    """The rest is what is missing, rounded up; whole passes before the stop change nothing."""
    whole, rest = exposure(11e6, 1e5, 0.2, SCAN), exposure(11e6, 1e5, 0.2, SCAN, done=done)
    assert rest.passes == math.ceil(5.5 - done)
    assert rest.needed == whole.needed
    assert rest.charge_per_length == whole.charge_per_length
    assert rest.delivered == pytest.approx((done + rest.passes) / 5.5, rel=1e-12)
    assert rest.delivered >= 1 - 1e-12
    assert rest.step == pytest.approx(1 / (done + rest.passes), rel=1e-12)
    if done == int(done):
        assert done + rest.passes == whole.passes
        assert done * SCAN.pass_time + rest.time == pytest.approx(whole.time, rel=1e-12)


def test_a_stop_at_decaying_current_splits_the_time_exactly():
    """Stop after 40 passes at decaying current, go on at the current then left.

    Their worth is an integral of exp(-t/tau) (adaptive quadrature) at the starting current, and
    1/exp(-40 T/tau) as many at the lower one.  The passes of both parts are those of one go.
    """
    dose, tau, T = 100.5 * 2e6, 600.0, SCAN.pass_time
    whole = exposure(dose, 1e5, 0.2, SCAN, tau)
    worth, _ = integrate.quad(lambda t: math.exp(-t / tau) / T, 0, 40 * T)
    lower = math.exp(-40 * T / tau)
    rest = exposure(dose, 1e5 * lower, 0.2 * lower, SCAN, tau, done=worth / lower)
    assert 40 + rest.passes_with_decay == whole.passes_with_decay > whole.passes == 101
    assert rest.delivered_with_decay == pytest.approx(whole.delivered_with_decay, rel=1e-9)
    given, _ = integrate.quad(lambda t: math.exp(-t / tau) / T, 0, whole.time_with_decay)
    assert whole.delivered_with_decay == pytest.approx(given / 100.5, rel=1e-9)
    assert 1 <= whole.delivered_with_decay < 1 + 1 / 100.5


@pytest.mark.parametrize("done", [6.0, 5.5, 5.5 - 1e-13])
def test_nothing_is_left_once_the_dose_is_given(done):
    plan = exposure(11e6, 1e5, 0.2, SCAN, 3600.0, done, even=True)
    assert (plan.passes, plan.time) == (0, 0)
    assert (plan.passes_with_decay, plan.time_with_decay) == (0, 0)
    assert plan.delivered == plan.delivered_with_decay == pytest.approx(done / 5.5, rel=1e-12)


@pytest.mark.parametrize(
    ("done", "passes"), [(0.0, 6), (0.4, 6), (0.5, 6), (1.4, 6), (1.5, 4), (3.5, 2), (4.9, 2)]
)
def test_even_passes_end_where_they_start(done, passes):
    """5.5 passes in all; what is left is rounded up to an even number."""
    plan = exposure(11e6, 1e5, 0.2, SCAN, None, done, even=True)
    assert plan.passes == plan.passes_with_decay == passes
    assert plan.delivered == pytest.approx((done + passes) / 5.5, rel=1e-12)


def test_even_passes_at_decaying_current_reach_the_dose():
    fast = exposure(11e6, 1e5, 0.2, SCAN, 20.0, even=True)
    odd = exposure(11e6, 1e5, 0.2, SCAN, 20.0)
    assert fast.passes_with_decay == odd.passes_with_decay + odd.passes_with_decay % 2
    assert fast.delivered_with_decay >= odd.delivered_with_decay >= 1


def test_a_logged_charge_tells_the_passes_done():
    """At steady current N passes take N T: charge I N T, and I N/v per length (by hand)."""
    charge = 0.2 * 7 * SCAN.pass_time
    logged = charge_per_length(charge, SCAN)
    assert logged == pytest.approx(0.2 * 7 / 0.05, rel=1e-12)
    assert passes_done(logged, 0.2, SCAN.speed) == pytest.approx(7, rel=1e-12)
    whole = exposure(11e6, 1e5, 0.2, SCAN)
    assert passes_done(whole.charge_per_length, 0.2, 0.05) == pytest.approx(5.5, rel=1e-12)
    # at half the current the same charge stands for twice the passes' worth
    assert passes_done(logged, 0.1, SCAN.speed) == pytest.approx(14, rel=1e-12)


@pytest.mark.parametrize(
    ("dose", "rate", "done", "words"),
    [
        (1e6, 0.0, 0.0, "inf passes.*never be reached.*thinner filter"),
        (1e6, math.nan, 0.0, "never be reached"),
        (1e30, 1.0, 0.0, "never be reached"),
        (math.nan, 1e5, 0.0, "never be reached"),
        (1e6, 1e5, -0.1, "before the stop are -0.1; allowed: 0 to"),
        (1e6, 1e5, math.nan, "before the stop are nan"),
        (1e6, 1e5, math.inf, "before the stop are inf"),
    ],
)
def test_a_plan_that_cannot_be_is_refused(dose, rate, done, words):
    with pytest.raises(PhysicsError, match=words):
        exposure(dose, rate, 0.2, SCAN, None, done)


def test_decay_counts_only_for_what_is_left():
    """5.5 passes of 1.65 s never fit a lifetime of 9 s; the last 3.5 do."""
    with pytest.raises(PhysicsError, match="can never be reached"):
        exposure(11e6, 1e5, 0.2, SCAN, 9.0)
    assert exposure(11e6, 1e5, 0.2, SCAN, 9.0, done=2.0).passes_with_decay > 4
