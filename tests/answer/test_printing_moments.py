"""Moments at which a height of the pattern prints, against sums over every moment of all passes.

The oracle walks through each pass in even steps of time, looks up the place of the stripe and the
Gaussian's height there, and adds: it knows no Gauss points, no cycles and no logarithm of time.
Where the stripe runs steadily the oracle is exact to round-off (a smooth pulse that is gone at both
ends of a pass); where it turns its steps are short enough for the tolerance stated.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from thermo.answer import printing as module
from thermo.answer.printing import FIRST, printing
from thermo.beam import Motion
from thermo.beam.stage_log import motion_from_table

SIGMA = 1e-3  # m
MOTION = Motion(26e-3, 20e-3, 1.0)  # 1.32 s a pass
RAYS = np.linspace(-6, 6, 241) * SIGMA
STEPS = 2048  # of a cycle
TAU = 21.0  # s: a decay that some of the exposures below see begin, others end
SHARE = 1e-12  # of what adds up to 1
# cubic spline through rays 0.05 sigma apart: 6e-7 of the Gaussian; LIT leaves 1e-7 of the dose out
CLOSE = 2e-6
HEIGHTS = (0.0, 3e-3, -7.5e-3)  # m, none near a turn


@pytest.fixture(autouse=True)
def gaussian(monkeypatch):
    """One stripe for all depths of the resist."""
    power = np.exp(-(RAYS**2) / (2 * SIGMA**2))
    monkeypatch.setattr(module, "lit_stripes", lambda scene: (RAYS, np.stack([power] * 3)))


def exposure(passes, motion=MOTION, lifetime=np.inf, time=None):
    """What `printing` asks of a course."""
    warm_up = SimpleNamespace(
        cycle=SimpleNamespace(period=motion.period if motion else 1.0),
        fade=lambda t: np.exp(-t / lifetime),
    )
    state = SimpleNamespace(scene=SimpleNamespace(motion=motion, sigma=SIGMA))
    dose = SimpleNamespace(passes=passes, time=time)
    return SimpleNamespace(state=state, warm_up=warm_up, dose=dose)


def summed(y, passes, f, motion=MOTION, lifetime=np.inf):
    """Mean of f(t, phase) over what prints at y, and its share on the way up, by even steps."""
    t = (np.arange(passes * STEPS // 2) + 0.5) * motion.period / STEPS
    weights, place = motion.weights[:, None], motion.place_at(t)
    light = (weights * np.exp(-((y - place) ** 2) / (2 * SIGMA**2))).sum(0) * np.exp(-t / lifetime)
    way = t / motion.period % 1 < 0.5
    value = f(t, t / motion.period)
    return (light * value).sum() / light.sum(), light[way].sum() / light.sum()


def mean(moments, f):
    return float((moments.share * f(moments.time, moments.phase)).sum())


@pytest.mark.parametrize("passes", [1, 2, 5, 32, 33, 900])
@pytest.mark.parametrize("y", [*HEIGHTS, 12.9e-3])
def test_shares_sum_to_one_and_none_is_negative(passes, y):
    for moments in printing(exposure(passes)).at(y):
        assert moments.share.sum() == pytest.approx(1.0, abs=SHARE)
        assert (moments.share >= 0).all()
        assert moments.time.shape == moments.share.shape


@pytest.mark.parametrize(("passes", "up"), [(2, 1 / 2), (5, 3 / 5), (1, 1.0), (40, 1 / 2)])
def test_passes_up_and_down_share_the_dose_as_they_are_counted(passes, up):
    """The first pass runs up; five passes print three times up and twice down."""
    for y in HEIGHTS:
        moments = printing(exposure(passes)).at(y)[0]
        found = float((moments.share * moments.up).sum())
        assert found == pytest.approx(up, abs=1e-9)  # the pulse's tail at the turn


def test_on_its_way_up_the_stripe_comes_from_below():
    """Above the middle it passes late in the half that runs up, early in the one that runs down."""
    moments = printing(exposure(2)).at(5e-3)[0]
    up = (moments.share * moments.phase * moments.up).sum() / (moments.share * moments.up).sum()
    when = MOTION.pass_time / 2 + 5e-3 / MOTION.speed
    assert up * MOTION.period == pytest.approx(when, rel=1e-6)
    down = (moments.share * moments.phase).sum() * 2 - up
    assert down == pytest.approx(1 - up, rel=1e-6)


def decay(t, phase):
    return np.exp(-t / TAU) + 0 * phase


FUNCTIONS = {  # of time, s, and of the phase, which alone says where in a cycle one is
    "what decays": decay,
    "first harmonic": lambda t, phase: np.cos(2 * np.pi * phase) + 0 * t,
    "fifth harmonic": lambda t, phase: np.sin(10 * np.pi * phase) + 0 * t,
    "decaying ripple": lambda t, phase: np.exp(-t / TAU) * np.cos(6 * np.pi * phase + 1),
}


@pytest.mark.parametrize("name", FUNCTIONS)
@pytest.mark.parametrize("passes", [1, 4, 5, 31])
def test_a_mean_over_the_moments_is_that_over_all_passes(name, passes):
    for y in HEIGHTS:
        moments = printing(exposure(passes, lifetime=60.0)).at(y)[1]
        wanted, way = summed(y, passes, FUNCTIONS[name], lifetime=60.0)
        assert mean(moments, FUNCTIONS[name]) == pytest.approx(wanted, abs=CLOSE)
        assert (moments.share * moments.up).sum() == pytest.approx(way, abs=CLOSE)


def test_beside_a_turn_the_mean_holds_too():
    """The stripe turns at the place itself, so that both passes run into each other."""
    for f in FUNCTIONS.values():
        for passes in (1, 5):
            wanted, _ = summed(12.7e-3, passes, f)
            found = mean(printing(exposure(passes)).at(12.7e-3)[0], f)
            # the oracle's even steps see the kink of an odd pass's end to 1/STEPS^2
            assert found == pytest.approx(wanted, abs=1e-5)


@pytest.mark.parametrize("passes", [2 * FIRST + 2, 2 * FIRST + 5, 200, 2652])
@pytest.mark.parametrize("lifetime", [np.inf, 500.0])
def test_many_cycles_stand_for_all(passes, lifetime):
    """Beyond the first few a sum over cycles is an integral: it misses f'/24 where it begins."""
    period = MOTION.period
    number = min(passes / 2, lifetime / period)  # of cycles that print
    missed = period / TAU / 24 / number * np.exp(-FIRST * period / TAU)
    for name in ("what decays", "fifth harmonic", "decaying ripple"):
        f = FUNCTIONS[name]
        wanted, _ = summed(3e-3, passes, f, lifetime=lifetime)
        moments = printing(exposure(passes, lifetime=lifetime)).at(3e-3)[0]
        assert mean(moments, f) == pytest.approx(wanted, abs=2 * missed + CLOSE)


def test_gauss_points_in_the_logarithm_of_time_sum_smooth_courses():
    """The integral itself is taken to 1e-9, for decays of seconds to days and a fading current."""
    passes, lifetime = 2652, 43200.0
    when = printing(exposure(passes, lifetime=lifetime))
    later, count = when.cycle[FIRST:], when.count[FIRST:]
    assert count.sum() == pytest.approx(passes // 2 - FIRST, rel=1e-12)
    start, stop = FIRST - 0.5, passes // 2 - 0.5
    for tau in (8.0, 30.0, 400.0, 43200.0):  # cycles
        integral = tau * (np.exp(-start / tau) - np.exp(-stop / tau))
        assert count @ np.exp(-later / tau) == pytest.approx(integral, rel=1e-9)


def test_a_held_beam_prints_all_the_time_and_everywhere():
    """Its mean of a decay is tau/t (1 - exp(-t/tau)), Derived."""
    when = printing(exposure(None, None, time=90.0))
    for y in (0.0, 5e-3):
        for moments in when.at(y):
            wanted = TAU / 90 * (1 - np.exp(-90 / TAU))
            # what is left out before START of the exposure is 1e-5 of it
            assert mean(moments, FUNCTIONS["what decays"]) == pytest.approx(wanted, abs=1e-5)
            assert moments.share.sum() == pytest.approx(1.0, abs=SHARE)


def test_a_logged_stage_prints_as_its_rows_say():
    """A log of three cycles of a slow way up and a quick way down; one moment in each step."""
    time = np.array([0.0, 2.0, 3.0, 5.0, 6.0, 8.0, 9.0])  # 2 s of it up, 1 s down
    position = np.array([13.0, -13, 13, -13, 13, -13, 13]) * 1e-3
    log = motion_from_table(time, position)
    course = exposure(6, log)
    assert course.warm_up.cycle.period == pytest.approx(3.0)
    f = FUNCTIONS["what decays"]
    for y in HEIGHTS:
        moments = printing(course).at(y)[2]
        light = (moments.share * moments.up).sum()
        assert light == pytest.approx(2 / 3, abs=1e-5)  # twice as long, twice the dose
        wanted, _ = summed(y, 6, f, log)
        assert mean(moments, f) == pytest.approx(wanted, abs=1e-5)
