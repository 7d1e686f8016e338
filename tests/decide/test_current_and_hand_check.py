"""The highest current really sits on a limit; the hand check lies above the finite elements."""

from dataclasses import replace

import numpy as np
import pytest

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.hand_check import hand_check
from thermo.answer.scene import describe
from thermo.answer.state import solve_state
from thermo.answer.temperature import hottest
from thermo.case import with_value
from thermo.decide.current import highest_current
from thermo.solve import Solver


def peaks(state):
    names = {"resist": ("resist",), "mask": ("membrane", "absorber")}
    return {
        word: max(float(state.peak[hottest(state, n)]) for n in parts) - 273.15
        for word, parts in names.items()
    }


@pytest.fixture(scope="module")
def runs(small):
    return CoarseRuns(small, False)


@pytest.mark.parametrize("resist", [22.0, 26.0])
def test_at_the_highest_current_one_part_sits_on_its_limit_and_none_above(scanned, runs, resist):
    """Limits below and above the present rise of 3.4 K.

    0.1 K: the search stops within 0.5 % of a current that makes 6 K, and what the coarse mesh is
    off, 0.07 K of the present rise, counts for as much as the current is raised.
    """
    limits = {"resist": resist, "mask": 30.0}
    judged = tuple(replace(j, limit=limits.get(j.name, j.limit)) for j in scanned.outcome.judged)
    current = highest_current(replace(scanned.outcome, judged=judged), runs)
    case = with_value(scanned.outcome.scene.case, "ring.current", current)
    state = solve_state(describe(case), scanned.outcome.state.meshed, Solver())
    found = peaks(state)
    assert max(found[name] - limits[name] for name in limits) == pytest.approx(0, abs=0.1)


def test_the_highest_current_of_the_answer_is_that_of_its_limits(scanned, runs):
    found = highest_current(scanned.outcome, runs)
    assert scanned.answer.highest_current_mA == pytest.approx(1e3 * found, rel=1e-9)


def test_few_passes_may_be_run_at_a_higher_current_than_many(scanned, few):
    """Seven passes stay below the limit cycle, each by its own share of it."""
    assert few.answer.highest_current_mA > scanned.answer.highest_current_mA


def test_a_limit_below_the_warmest_sink_has_no_highest_current(scanned, runs):
    judged = tuple(
        replace(j, limit=19.0) if j.name == "resist" else j for j in scanned.outcome.judged
    )
    outcome = replace(scanned.outcome, judged=judged)
    assert highest_current(outcome, runs) is None


def test_without_a_temperature_limit_there_is_no_highest_current(scanned, runs):
    doses = tuple(j for j in scanned.outcome.judged if j.unit != "degC")
    outcome = replace(scanned.outcome, judged=doses)
    assert highest_current(outcome, runs) is None


def test_by_hand_the_resist_is_warmer_than_in_three_dimensions(scanned, held, few):
    for result in (scanned, held, few):
        check = result.answer.hand_check
        assert check.hand_rise_K > check.fe_rise_K > 0


def test_the_column_with_its_films_lies_at_or_below_the_hand_figure(scanned):
    check = hand_check(scanned.outcome.state)
    assert 0 < check.column_rise_K <= check.hand_rise_K * (1 + 1e-9)
    assert check.column_swing_K > 0


def test_the_swing_beside_the_hand_figure_is_that_of_the_finite_elements(scanned):
    """Peak less mean at the hand check's column, at its place in the fields.

    The column by itself, without what spreads along x and y, swings more, but not twice as much.
    """
    check, state = scanned.answer.hand_check, scanned.outcome.state
    level = state.meshed.grid.slabs(state.scene.stack.index("resist")).start
    away = np.hypot(*(1e3 * state.meshed.grid.plan.points - np.array(check.where_mm)[:, None]))
    swing = (state.peak - state.mean)[level, away.argmin()]
    assert check.fe_swing_K == pytest.approx(float(swing), rel=1e-12)
    assert 0.5 * check.column_swing_K < check.fe_swing_K < check.column_swing_K


def test_a_held_beam_has_no_swing(held):
    check = held.answer.hand_check
    assert check.column_rise_K is check.column_swing_K is None
    assert check.fe_swing_K == 0
