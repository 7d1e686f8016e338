"""Exposures of few passes, each from cold: between the first pass and the limit cycle."""

from pathlib import Path

import numpy as np
import pytest

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.course import over_exposure
from thermo.answer.temperature import ZERO_C, hottest
from thermo.case import read_case
from thermo.heat import exposed

CASES = Path(__file__).parents[2] / "cases"
CLOSE = 0.02  # K: what a cycle and its decay state as their error
LIT = ("membrane", "absorber", "resist")


@pytest.fixture(scope="module")
def first(few):
    """Highest of every node in the first pass alone, K, (levels, nodes)."""
    course, scan = few.course, few.outcome.state.scan
    light = scan.sweep.light, scan.sweep.height_of
    system = few.outcome.state.system
    one = exposed(course.warm_up, 1, *light, course.watched())
    return system.on_levels(course.dark + one.peak)


def used(few, field):
    return field[few.outcome.state.system.used.T]


def test_few_passes_are_seven_and_over_before_they_settle(few):
    answer = few.answer
    assert answer.regime == "few_passes"
    assert answer.dose.passes == 7
    assert answer.dose_share_before_settling == 1
    assert answer.speed is None
    assert "from cold" in answer.regime_reason


def test_no_place_is_hotter_than_in_the_limit_cycle(few):
    """From cold, with the beam on, nothing overtakes what repeats for ever; cycle and decay."""
    state = few.outcome.state
    highest = state.system.coldest + state.system.on_levels(state.scan.extremes.peak)
    assert (used(few, highest - state.peak) > -2 * CLOSE).all()
    resist = hottest(state, "resist")
    assert highest[resist] - state.peak[resist] > 0.2  # K of 3: what seven passes lack


def test_no_place_is_colder_in_its_hottest_pass_than_in_the_first(few, first):
    state = few.outcome.state
    assert (used(few, state.peak - first) > -CLOSE).all()
    resist = hottest(state, "resist")
    assert state.peak[resist] - first[resist] > 0.2


def test_the_first_pass_heats_the_resist_and_the_membrane_most(few, first):
    """By more than half of what all seven do: thin and lit bodies follow the stripe."""
    state = few.outcome.state
    for name in ("resist", "membrane"):
        at = hottest(state, name)
        assert 0.5 < (first[at] - 293.15) / (state.peak[at] - 293.15) < 1


def test_printing_lies_between_mean_and_highest_where_it_is_lit(few):
    for name in LIT:
        part = few.answer.temperature[name]
        assert part.mean_C < part.dose_weighted_C < part.peak_C
    state = few.outcome.state
    assert (used(few, state.peak - state.printing) > -CLOSE).all()
    assert (used(few, state.mean - 293.15) > -CLOSE).all()


def test_the_highest_of_the_hottest_places_is_that_of_their_course(few):
    """At the place and over 20 000 times: 1 mK of the shortest peak lies between two."""
    state, course = few.outcome.state, few.course
    t = np.linspace(0, few.outcome.dose.time, 20_000)
    for name in few.answer.temperature:
        level, node = hottest(state, name)
        highest = course.dark[node, level] + course.warm_up.at(t, node, level).max() - ZERO_C
        assert few.answer.temperature[name].peak_C == pytest.approx(highest, abs=2e-3)
        assert few.answer.temperature[name].mean_C == pytest.approx(
            course.dark[node, level] + course.warm_up.at(t, node, level).mean() - ZERO_C, abs=2e-3
        )


def test_the_worst_moment_of_few_passes_is_their_highest(few):
    course, parts = few.answer.course, few.answer.temperature
    assert course.resist_worst_C == pytest.approx(parts["resist"].peak_C, abs=1e-9)
    assert course.mask_worst_C == pytest.approx(parts["membrane"].peak_C, abs=1e-9)
    assert 0 < course.resist_worst_share < 1
    one = few.answer.dose.time_s / 7
    assert 5 * one < course.resist_worst_s <= 7 * one  # of the last up and down


def test_limits_are_judged_by_what_the_passes_reach(few):
    lines = {line.name: line for line in few.answer.limits}
    assert lines["resist"].value == pytest.approx(few.answer.temperature["resist"].peak_C)
    assert lines["resist"].met is lines["mask"].met is True
    assert lines["dose_top"].met is lines["dose_ratio"].met is True
    assert 0 < lines["placement"].value < lines["placement"].limit
    assert lines["placement"].met is True
    assert few.answer.verdict.word == "go"


def test_the_state_of_the_exposure_can_be_taken_from_its_course_again(few):
    again = over_exposure(few.course).state
    for field in ("mean", "peak", "printing", "lowest"):
        one, other = (getattr(state, field) for state in (few.outcome.state, again))
        np.testing.assert_array_equal(one, other)


def test_cooling_starts_where_the_exposure_ends_after_an_odd_pass_too(few):
    """Seven passes end at the other turn: within the decay's own error, 0.05 K on this mesh."""
    course, passes = few.course, few.answer.dose.passes
    assert passes % 2 == 1
    end = np.array([passes * course.warm_up.cycle.period / 2])
    grid = course.state.meshed.grid
    y, level = grid.plan.points[1], grid.slabs(few.outcome.scene.stack.index("membrane")).start
    for node in (int(y.argmin()), int(y.argmax()), int(np.abs(y).argmin())):
        there = course.warm_up.cooled(np.zeros(1), end[0], node, level)
        assert there == pytest.approx(course.warm_up.at(end, node, level), abs=0.05)


def test_a_short_exposure_of_a_held_beam_is_worked_out_from_cold():
    """Two passes' dose at once: far below the steady state, and that is what is judged."""
    case = read_case(CASES / "nozzle-plate.toml")
    runs = CoarseRuns(case, still=True)
    assert runs.regime == "still"
    assert runs.short
    assert "worked out from cold" in runs.why
    steady, short = runs.first.state, runs.typical.state
    assert np.nanmax(short.peak) < np.nanmax(steady.peak) - 10
    judged = {line.name: line.value for line in runs.typical.judged}
    assert judged["resist"] == pytest.approx(
        float(short.peak[hottest(short, "resist")]) - ZERO_C, abs=1e-9
    )
