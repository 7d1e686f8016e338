"""The exposure in time: worst moment, dummy passes, cool-down, the resist's cycle, marching."""

from dataclasses import replace
from math import ceil

import numpy as np
import pytest

from thermo.answer.in_time import PASSES, course_block, pass_peaks, resist_in_time, worst_pass
from thermo.answer.temperature import ZERO_C, hottest

LIFETIME = 12 * 3600.0  # s, of the small plate's ring


def watched(result):
    return dict(zip(("resist", "mask"), result.course.watched(), strict=True))


def faded(result, lifetime):
    warm_up = replace(result.course.warm_up, lifetime=lifetime)
    return replace(result.course, warm_up=warm_up)


# ---- the worst moment ----


@pytest.mark.parametrize("body", ["resist", "mask"])
def test_with_a_lifetime_the_worst_moment_lies_below_the_limit_cycle(scanned, body):
    """Settled to 2 % in 31 s, which is 0.07 % of the lifetime: nearly all of it is reached."""
    block = scanned.answer.course
    share, when = (getattr(block, f"{body}_worst_{what}") for what in ("share", "s"))
    assert 0.99 < share < np.exp(-when / LIFETIME) < 1
    assert scanned.answer.settle_s < when < scanned.answer.dose.time_s
    part = scanned.answer.temperature["resist" if body == "resist" else "membrane"]
    rise = getattr(block, f"{body}_worst_C") - 20
    assert rise == pytest.approx(share * (part.peak_C - 20), abs=1e-6)


def test_a_ring_that_keeps_its_current_is_worst_at_the_end_and_there_the_limit_cycle(scanned):
    """1e-4: single precision of the harmonics, 512 times a pass."""
    dose, course = scanned.outcome.dose, faded(scanned, np.inf)
    for at in course.watched():
        when, share = worst_pass(course, at, dose.passes, dose.time)
        assert share == pytest.approx(1, abs=1e-4)
        assert when > 5 * course.settling()


def test_the_shorter_the_lifetime_the_earlier_and_lower_the_worst_moment(scanned):
    dose = scanned.outcome.dose
    found = []
    for lifetime in (43200.0, 3600.0, 600.0):
        course = faded(scanned, lifetime)
        found.append(worst_pass(course, course.watched()[0], dose.passes, dose.time))
    when, share = np.array(found).T
    assert (np.diff(when) < 0).all()
    assert (np.diff(share) < 0).all()


@pytest.mark.parametrize("passes", [1, 2, 3, 17, 2652])
def test_the_worst_of_all_passes_is_found_among_those_looked_at(scanned, passes):
    """Every pass looked at, with a beam that decays within the exposure; 1e-4 of the rise."""
    lifetime = 20 * scanned.course.settling()
    course = faded(scanned, lifetime)
    at, time = course.watched()[0], passes * course.warm_up.cycle.period / 2
    _, found = pass_peaks(course, at, passes)
    every = np.arange(min(passes, 400))
    assert len(found) <= PASSES + 1
    assert found.max() == pytest.approx(course.warm_up.pass_peaks(every, *at)[0].max(), rel=1e-4)
    when, share = worst_pass(course, at, passes, time)
    assert 0 < when <= time
    assert 0 < share < 1


def test_the_current_at_the_end_is_what_the_lifetime_leaves(scanned, held):
    for answer in (scanned.answer, held.answer):
        left = 50 * np.exp(-answer.dose.time_s / LIFETIME)
        assert answer.course.current_at_end_mA == pytest.approx(left, rel=1e-9)


# ---- warm-up ----


def test_dummy_passes_and_dose_share_are_those_of_the_settling_time(scanned):
    answer, motion = scanned.answer, scanned.outcome.scene.motion
    assert answer.settle_s == scanned.course.settling()
    assert answer.course.dummy_passes == ceil(answer.settle_s / motion.pass_time)
    tau = 12 * 3600.0  # s: the light fades with the ring's lifetime
    share = np.expm1(-answer.settle_s / tau) / np.expm1(-answer.dose.time_s / tau)
    assert answer.dose_share_before_settling == pytest.approx(min(1.0, share), rel=1e-12)


def test_after_the_dummy_passes_less_than_2_percent_of_the_mean_rise_is_missing(scanned):
    """And before the last of them more than that, at resist or mask."""
    course, dummy = faded(scanned, np.inf), scanned.answer.course.dummy_passes
    warm = course.warm_up
    period = warm.cycle.period
    late = []
    for node, level in course.watched():
        for passes in (dummy, dummy - 1):
            t = np.array([passes * period / 2])
            full = warm.cycle.at(t, np.array([node]), level)[0, 0]
            missing = (full - warm.at(t, node, level)[0]) / warm.cycle.mean[node, level]
            assert missing < 0.02 or passes < dummy
            late.append(missing)
    assert max(late) > 0.02


def test_a_held_beam_has_no_dummy_passes_and_few_passes_need_more_than_they_are(held, few):
    assert held.answer.course.dummy_passes is None
    assert few.answer.course.dummy_passes > few.answer.dose.passes / 10


# ---- after the end ----


def test_the_rise_halves_and_falls_below_1_kelvin_when_it_is_told(scanned, held, few):
    """Straight between 400 times that grow by 4 % each; the last time that it is above counts."""
    for result in (scanned, held, few):
        course, block, at = result.course, result.answer.course, watched(result)["resist"]
        duration = result.outcome.dose.time
        end, half, one = course.warm_up.cooled(
            np.array([0.0, block.cool_half_s, block.cool_s]), duration, *at
        )
        assert half == pytest.approx(end / 2, rel=0.01)
        assert one == pytest.approx(min(1.0, end), rel=0.01)
        later = course.warm_up.cooled(block.cool_s * np.linspace(1.05, 20, 50), duration, *at)
        assert (later <= 1).all()


def test_a_resist_that_ends_below_1_kelvin_is_cool_at_once(scanned):
    block = course_block(scanned.course, scanned.outcome, 31.0, False)
    at = watched(scanned)["resist"]
    end = scanned.course.warm_up.cooled(np.zeros(1), scanned.outcome.dose.time, *at)[0]
    assert (block.cool_s == 0) == (end <= 1)


# ---- the resist within a cycle, and the cycle ----


@pytest.fixture(params=["scanned", "few"])
def swept(request):
    return request.getfixturevalue(request.param)


def test_the_share_above_a_limit_falls_from_1_to_0_as_the_limit_rises_through_the_cycle(swept):
    state, course, regime = swept.outcome.state, swept.course, swept.answer.regime
    at = hottest(state, "resist")
    limits = np.linspace(state.lowest[at] - 1, state.peak[at] + 1, 41)
    shares = [resist_in_time(state, course, regime, limit).above_limit for limit in limits]
    assert (shares[0], shares[-1]) == (1, 0)
    assert (np.diff(shares) <= 0).all()
    for limit, share in zip(limits, shares, strict=True):
        if abs(limit - state.peak[at]) > 0.05:  # of 4096 times, and the cycle's own 0.02 K
            assert (share > 0) == (limit < state.peak[at])


def test_the_share_above_the_mean_is_less_than_half_for_short_peaks(scanned):
    """A resist that the stripe passes is hot for a short time, and long below its mean."""
    state = scanned.outcome.state
    mean = float(state.mean[hottest(state, "resist")])
    above = resist_in_time(state, scanned.course, "limit_cycle", mean).above_limit
    assert 0.05 < above < 0.5


def test_the_resist_is_hottest_when_it_is_told(swept):
    """0.02 K, of the cycle; of few passes of the decay as well."""
    block, state = swept.answer.resist_in_time, swept.outcome.state
    level, node = hottest(state, "resist")
    assert block.above_limit == 0  # the limit of 60 degC is far
    if swept.answer.regime == "few_passes":
        warm = swept.course.warm_up
        rise = warm.at(np.array([block.when_s]), node, level)[0]
        found = swept.course.dark[node, level] + rise
    else:
        assert 0 <= block.when_s < state.scan.cycle.period
        one = state.scan.cycle.at(np.array([block.when_s]), np.array([node]), level)
        found = state.system.coldest + one[0, 0]
    assert found - ZERO_C == pytest.approx(swept.answer.temperature["resist"].peak_C, abs=0.02)


def test_without_a_limit_no_share_is_told_and_a_held_beam_has_no_cycle(scanned, held):
    state = scanned.outcome.state
    assert resist_in_time(state, scanned.course, "limit_cycle", None).above_limit is None
    assert held.answer.resist_in_time is held.answer.cycle is None


def test_the_cycle_keeps_the_error_that_is_asked_of_it(swept):
    cycle, motion = swept.answer.cycle, swept.outcome.scene.motion
    assert 0 < cycle.error_K <= 0.02
    assert cycle.period_s == pytest.approx(2 * motion.pass_time, rel=1e-12)
    assert swept.answer.course.decay_error_K <= 0.05  # of the coarse mesh, or tighter


def test_marching_in_time_settles_into_the_limit_cycle(scanned, few):
    """0.06 K: 0.05 K of the coarse mesh's cycle, 5 mK of the march's closing, and 0.1 % of a swing
    of 2.5 K that steps of 0.2 sigma leave; 4 mK seen."""
    assert 0 < scanned.answer.cycle.march_K < 0.06
    assert few.answer.cycle.march_K is None  # not asked for
