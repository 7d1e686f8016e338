"""The resist's margin against softening, inside and beyond the published doses."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from thermo.answer.outcome import judge
from thermo.answer.resist import resist_margin, softens_with_dose
from thermo.answer.temperature import layer_nodes
from thermo.case import read_case
from thermo.decide.verdict import limit_lines, verdict
from thermo.materials import material


@pytest.fixture(scope="module")
def from_dose(small_path, scanned):
    """State and plan of the small plate, judged by 'from dose'."""
    outcome = scanned.outcome
    case = read_case(small_path, {"limits.resist": "from dose"})
    state = outcome.state
    return replace(state, scene=replace(state.scene, case=case)), outcome.dose


def dosed(plan, top, bottom):
    """The plan with doses (kJ/cm3) falling evenly from top to bottom."""
    return replace(plan, dose=np.linspace(1e9 * top, 1e9 * bottom, len(plan.depth)))


MEMBRANE = SimpleNamespace(is_flat=True, factor=2.0)  # not looked at here


def resist_line(state, plan):
    judged = [j for j in judge(state, plan, MEMBRANE) if j.name == "resist"]
    return limit_lines(judged, {}, {})[0]


def test_inside_the_data_the_local_dose_sets_the_softening_temperature(from_dose):
    state, plan = from_dose
    margin = resist_margin(state, dosed(plan, 1.2, 1.2))
    # half way between the published ends, 118 degC and 95 degC at 2.4 kJ/cm3
    assert margin.softening - 273.15 == pytest.approx(106.5)
    assert not margin.at_most


def test_the_worst_depth_is_where_peak_and_softening_are_nearest_not_where_it_is_hottest(from_dose):
    state, plan = from_dose
    stack, grid = state.scene.stack, state.meshed.grid
    here = layer_nodes(grid, stack.index(stack.resist.name))
    depth = grid.levels[:, None] / stack.resist.thickness
    hotter_below = replace(state, peak=np.where(here, 320 + 5 * depth, np.nan))
    margin = resist_margin(hotter_below, dosed(plan, 2.4, 0.6))
    # 5 K hotter at the back, but the face softens 17 K earlier
    assert margin.peak == pytest.approx(320)
    assert margin.softening - 273.15 == pytest.approx(95)
    even = resist_margin(hotter_below, dosed(plan, 2.4, 2.4))
    assert even.peak == pytest.approx(325)


def test_inside_the_data_a_cool_resist_is_met(from_dose):
    state, plan = from_dose
    line = resist_line(state, dosed(plan, 2.0, 1.0))
    assert line.met is True
    assert line.limit_from != "case"


def test_beyond_the_data_a_cool_resist_is_never_met_but_open(from_dose):
    state, plan = from_dose
    line = resist_line(state, dosed(plan, 9.0, 3.8))
    assert line.margin > 50
    assert line.met is None
    assert "at most" in line.note
    said = verdict((line,), {}, ())
    assert said.word == "cannot_tell"
    assert "upper bound" in said.reasons[0]


def test_beyond_the_data_a_hot_resist_is_broken(from_dose):
    state, plan = from_dose
    hot = replace(state, peak=state.peak + 100)
    assert resist_line(hot, dosed(plan, 9.0, 3.8)).met is False


def test_a_given_limit_beside_a_dose_beyond_the_data_is_met_with_a_note(scanned):
    line = next(line for line in scanned.answer.limits if line.name == "resist")
    assert line.met is True
    assert "extrapolated" in line.note


def test_softening_by_dose_is_for_the_composition_of_pmma_alone():
    assert softens_with_dose(material("PMMA"))
    for other in ("SU-8", "polyimide", "epoxy"):
        assert not softens_with_dose(material(other))


def test_another_resist_has_the_limit_of_its_own_whatever_the_dose(from_dose):
    state, plan = from_dose
    stack = state.scene.stack
    su8 = material("SU-8")
    layers = tuple(replace(la, material=su8) if la is stack.resist else la for la in stack.layers)
    other = replace(state, scene=replace(state.scene, stack=replace(stack, layers=layers)))
    margins = [resist_margin(other, dosed(plan, top, 1.0)) for top in (1.0, 9.0)]
    assert margins[0] == margins[1]
    assert margins[0].softening == su8.limit.typical[0]
    assert not margins[0].at_most
