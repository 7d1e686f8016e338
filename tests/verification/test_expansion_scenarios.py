"""Placement of the shipped lens row under a held beam: warm copper under a cool mask.

The word "expected" here is the growth of the stiffest layer, alpha dT, a closed form.
"""

from pathlib import Path

import pytest

from thermo.answer.blocks import placement
from thermo.answer.outcome import run_once
from thermo.answer.scene import describe, mesh
from thermo.answer.state import solve_state
from thermo.case import read_case
from thermo.materials import material
from thermo.solve import Solver

CASE = Path(__file__).parents[2] / "cases" / "lens-row.toml"


@pytest.fixture(scope="module")
def outcomes():
    """The lens row with its own water and with colder water, beam held."""
    solver, found, before = Solver(), {}, None
    for water in ("24 degC", "18.9 degC"):
        scene = describe(read_case(CASE, {"sample.holder.water": water}), still=True)
        state = solve_state(scene, mesh(scene), solver, before and before.state)
        before = run_once(state, True, before and before.expansion)
        found[water] = before
    return found


def printed(outcome):
    return placement(outcome)


def judged(outcome):
    return next(j for j in outcome.judged if j.name == "placement")


def test_every_depth_of_a_held_beam_is_placed_and_nothing_is_left_out(outcomes):
    block = printed(outcomes["24 degC"])
    assert None not in (block.top, block.middle, block.base, block.sample)
    assert block.reason is None
    assert block.sidewall_tilt_max_mrad > 0
    assert block.gap_change_um is not None
    assert block.top.blur_max_nm == block.top.up_down_split_nm == 0


def test_the_pattern_shrinks_by_the_growth_of_warm_copper_less_that_of_the_mask(outcomes):
    outcome = outcomes["24 degC"]
    state = outcome.state
    copper = state.scene.stack.index("copper")
    rise = state.layer_T[copper] - 294.15  # measured at 21 degC
    growth = 1e6 * material("copper").expansion(state.layer_T[copper]) * rise
    # the held stripe warms the middle of the copper more than its mean: some 10 %
    assert printed(outcome).sample["top"].magnification_ppm == pytest.approx(growth, rel=0.1)
    block = printed(outcome)
    mask = block.top.magnification_ppm + block.sample["top"].magnification_ppm
    # a warm mask grows, but little: its frame of low expansion holds it
    assert 0 < mask < 0.15 * growth


def test_shift_and_rotation_vanish_by_symmetry(outcomes):
    top = printed(outcomes["24 degC"]).top
    # round-off against 2.7 um
    assert max(*map(abs, top.shift_nm), abs(top.rotation_urad), abs(top.skew_urad)) < 1e-3


def test_colder_water_cures_the_placement_of_the_lens_row(outcomes):
    warm, cold = (judged(outcomes[w]) for w in ("24 degC", "18.9 degC"))
    assert warm.value > 2 > warm.limit
    assert cold.value < cold.limit


def test_colder_water_takes_off_alpha_dt_of_the_copper_and_nothing_else(outcomes):
    warm, cold = (printed(outcomes[w]).top for w in ("24 degC", "18.9 degC"))
    alpha = 1e6 * material("copper").expansion(297)
    assert cold.magnification_ppm - warm.magnification_ppm == pytest.approx(5.1 * alpha, rel=0.05)
    # what scale cannot take away is made by the beam, not by the water
    assert cold.residual_max_nm == pytest.approx(warm.residual_max_nm, rel=0.05)
