"""Placement of the shipped lens row: warm copper under a cool mask.

The word "expected" here is the growth of the stiffest layer, alpha dT, a closed form.
"""

from pathlib import Path

import pytest

from thermo.answer.blocks import placement
from thermo.answer.coarse_runs import CoarseRuns
from thermo.case import read_case
from thermo.materials import material

CASE = Path(__file__).parents[2] / "cases" / "lens-row.toml"


@pytest.fixture(scope="module")
def outcomes():
    """The lens row with its own water and with colder water, coarse mesh."""
    return {
        water: CoarseRuns(read_case(CASE, {"sample.holder.water": water}), False).typical
        for water in ("24 degC", "18.9 degC")
    }


def printed(outcome):
    return placement(outcome)


def judged(outcome):
    return next(j for j in outcome.judged if j.name == "placement")


def test_every_depth_is_placed_and_nothing_is_left_out(outcomes):
    block = printed(outcomes["24 degC"])
    assert block.reason is None
    assert block.sidewall_tilt_max_mrad > 0
    for depth in (block.top, block.middle, block.base):
        # a blur about half the way between the passes up and down: each is nearly sharp
        assert depth.blur_max_nm == pytest.approx(depth.up_down_split_nm / 2, rel=0.15)


def test_the_pattern_shrinks_by_the_growth_of_warm_copper_less_that_of_the_mask(outcomes):
    outcome = outcomes["24 degC"]
    state = outcome.state
    copper = state.scene.stack.index("copper")
    rise = state.layer_T[copper] - 294.15  # measured at 21 degC
    growth = 1e6 * material("copper").expansion(state.layer_T[copper]) * rise
    # the field is warmer than the copper's edges: some 10 %
    assert printed(outcome).sample["top"].magnification_ppm == pytest.approx(growth, rel=0.1)
    block = printed(outcome)
    mask = block.top.magnification_ppm + block.sample["top"].magnification_ppm
    # the mask prints with the growth of its frame, 3 K of nickel-iron, less what the scan takes
    assert abs(mask) < 0.1 * growth


def test_shift_and_rotation_vanish_by_symmetry(outcomes):
    top = printed(outcomes["24 degC"]).top
    # the error of the limit cycle's solves, 0.05 K on this mesh, over the field
    assert max(*map(abs, top.shift_nm)) < 1
    assert max(abs(top.rotation_urad), abs(top.skew_urad)) < 0.05


def test_colder_water_cures_the_placement_of_the_lens_row(outcomes):
    warm, cold = (judged(outcomes[w]) for w in ("24 degC", "18.9 degC"))
    assert warm.value > 2 > warm.limit
    assert cold.value < cold.limit


def test_colder_water_takes_off_alpha_dt_of_the_copper_and_nothing_else(outcomes):
    warm, cold = (printed(outcomes[w]).top for w in ("24 degC", "18.9 degC"))
    alpha = 1e6 * material("copper").expansion(297)
    assert cold.magnification_ppm - warm.magnification_ppm == pytest.approx(5.1 * alpha, rel=0.05)
    # what scale cannot take away is made by the beam, little of it by the water at the edges
    assert cold.residual_max_nm == pytest.approx(warm.residual_max_nm, rel=0.2)
