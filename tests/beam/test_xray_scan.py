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
from thermo.beam.plan import FWHM_PER_SIGMA
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
    assert needed_stroke(0.06, sigma, motion, k) == pytest.approx(stroke, rel=1e-12)
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
