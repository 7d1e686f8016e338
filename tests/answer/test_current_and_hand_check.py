"""The highest current really sits on a limit; the hand check lies above the finite elements."""

from dataclasses import replace

import pytest

from thermo.answer.current import highest_current
from thermo.answer.hand_check import hand_check
from thermo.answer.scene import describe
from thermo.answer.state import solve_state
from thermo.answer.temperature import hottest
from thermo.case import with_value
from thermo.solve import Solver


def peaks(state):
    names = {"resist": ("resist",), "mask": ("membrane", "absorber")}
    return {
        word: max(float(state.peak[hottest(state, n)]) for n in parts) - 273.15
        for word, parts in names.items()
    }


def test_at_the_highest_current_one_part_sits_on_its_limit_and_none_above(scanned):
    current = scanned.answer.highest_current_mA / 1e3
    case = with_value(scanned.outcome.scene.case, "ring.current", current)
    state = solve_state(describe(case), scanned.outcome.state.meshed, Solver())
    found = peaks(state)
    over = max(found["resist"] - 60, found["mask"] - 100)
    # the search stops within 0.5 % of a current that makes 40 to 80 K
    assert over == pytest.approx(0, abs=0.5)


def test_a_limit_below_the_warmest_sink_has_no_highest_current(scanned):
    judged = tuple(
        replace(j, limit=19.0) if j.name == "resist" else j for j in scanned.outcome.judged
    )
    outcome = replace(scanned.outcome, judged=judged)
    assert highest_current(outcome, Solver(), "limit_cycle") is None


def test_without_a_temperature_limit_there_is_no_highest_current(scanned):
    doses = tuple(j for j in scanned.outcome.judged if j.unit != "degC")
    outcome = replace(scanned.outcome, judged=doses)
    assert highest_current(outcome, Solver(), "limit_cycle") is None


def test_by_hand_the_resist_is_warmer_than_in_three_dimensions(scanned, held):
    for result in (scanned, held):
        check = result.answer.hand_check
        assert check.hand_rise_K > check.fe_rise_K > 0


def test_the_column_with_its_films_lies_at_or_below_the_hand_figure(scanned):
    check = hand_check(scanned.outcome.state)
    assert 0 < check.column_rise_K <= check.hand_rise_K * (1 + 1e-9)
    assert check.column_swing_K > 0


def test_a_held_beam_has_no_column_swing(held):
    check = held.answer.hand_check
    assert check.column_rise_K is check.column_swing_K is None
