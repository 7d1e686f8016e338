"""Plans of round cases and of the user's own: follow every outline, and are refined on circles."""

from pathlib import Path

import numpy as np
import pytest

from thermo.answer.plan import Stripe, scene_plan
from thermo.case import read_case
from thermo.case.stack import build_stack
from thermo.errors import CaseError
from thermo.mesh import Plan, corner_angles, rectangle_plan, write_plan

ROOT = Path(__file__).parents[2]
CASE = ROOT / "cases" / "round-wafer.toml"
ROUND = CASE.read_text(encoding="utf-8")
SCANNED, HELD = Stripe(1.5e-3, 29e-3), Stripe(1.5e-3, 0.0)


def plan_of(path=CASE, settings=None, stripe=SCANNED, **how):
    case = read_case(path, settings)
    return scene_plan(case, build_stack(case), stripe, **how)


def own(name):
    return {"mesh.plan": str(ROOT / "meshes" / f"{name}.vtu")}


def covered(plan, case):
    """Area over that of the outline, for each part."""
    outlines = build_stack(case).outlines
    return {n: plan.areas[o.covers(*plan.centres)].sum() / o.area for n, o in outlines.items()}


@pytest.mark.parametrize("stripe", [SCANNED, HELD])
@pytest.mark.parametrize(
    ("how", "off"), [({}, 1.2e-3), ({"coarse": True}, 5e-3), ({"refine": 1}, 3e-4)]
)
def test_a_plan_of_round_parts_covers_each_of_them(how, off, stripe):
    """(2 pi/n)^2/6 of a disc lies outside its n chords: n is 80, 40 and 160 at least."""
    plan = plan_of(stripe=stripe, **how)
    for share in covered(plan, read_case(CASE)).values():
        assert 1 - off < share < 1
    assert corner_angles(plan).max() < 150


@pytest.mark.parametrize("stripe", [SCANNED, HELD])
def test_the_core_has_lines_on_the_field_the_lit_width_and_the_steps_of_the_pattern(stripe):
    plan = plan_of(stripe=stripe)
    x, y = plan.centres
    assert plan.areas[np.maximum(np.abs(x), np.abs(y)) < 0.022].sum() == pytest.approx(0.044**2)
    quarter = (x > 0) & (y < 0) & (x < 0.022) & (y > -0.022)
    assert plan.areas[quarter].sum() == pytest.approx(0.022**2)
    lit = (np.abs(x) < 0.025) & (np.abs(y) < 0.022)
    assert plan.areas[lit].sum() == pytest.approx(0.050 * 0.044)


def test_a_held_beam_has_fine_cells_over_its_height():
    """0.4 of the stripe's standard deviation, as on a plan of rectangles."""
    plan = plan_of(stripe=HELD)
    _, _, y0, y1 = plan.boxes
    bright = (np.abs(plan.centres[0]) < 0.022) & (np.abs(plan.centres[1]) < 4 * HELD.sigma)
    assert (y1 - y0)[bright].max() <= 0.4 * HELD.sigma * 1.05


@pytest.mark.parametrize(("field", "angle"), [((60, 12), 150), ((8, 8), 140), ((12, 60), 150)])
def test_long_and_small_fields_have_well_shaped_plans_that_stay_round(tmp_path, field, angle):
    path = tmp_path / "case.toml"
    text = ROUND.replace('width = "44 mm"', f'width = "{field[0]} mm"')
    text = text.replace('height = "44 mm"', f'height = "{field[1]} mm"')
    path.write_text(text.replace('width = "50 mm"', 'width = "62 mm"'), encoding="utf-8")
    plan = plan_of(path)
    assert corner_angles(plan).max() < angle
    assert min(covered(plan, read_case(path)).values()) > 1 - 1.2e-3
    assert plan.quads.shape[1] < 14_000


@pytest.mark.parametrize("name", ["wafer-rings", "wafer-free"])
def test_a_plan_of_the_users_own_is_the_coarse_one_and_is_cut_in_four(name):
    """Splitting keeps the circles round: the area left out falls to a fourth, here within 5 %."""
    coarse, usual, fine = (
        plan_of(settings=own(name), **how) for how in ({"coarse": True}, {}, {"refine": 1})
    )
    counts = [plan.quads.shape[1] for plan in (coarse, usual, fine)]
    assert counts == [counts[0], 4 * counts[0], 16 * counts[0]]
    off = [1 - covered(plan, read_case(CASE))["resist"] for plan in (coarse, usual, fine)]
    assert [off[0] / off[1], off[1] / off[2]] == pytest.approx([4, 4], rel=0.05)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"sample.diameter": "98 mm"}, r"does not follow the resist \(round, 98 mm\).*0.5 %"),
        ({"mask.membrane.diameter": "72 mm"}, "does not follow the opening"),
        ({"sample.holder.diameter": "120 mm"}, r"the holder.*cover 9\d+\.?\d* of 11310 mm2"),
    ],
)
def test_a_plan_that_does_not_follow_an_outline_is_refused(settings, words):
    with pytest.raises(CaseError, match=words):
        plan_of(settings={**own("wafer-free"), **settings})


def test_a_plan_in_millimetres_is_told_that_metres_are_meant(tmp_path):
    lines = np.linspace(-5, 5, 11)
    write_plan(tmp_path / "plan.vtu", rectangle_plan(lines, lines))
    with pytest.raises(CaseError, match=r"does not follow.*in metres"):
        plan_of(settings={"mesh.plan": str(tmp_path / "plan.vtu")})


def test_a_square_frame_over_a_round_wafer_may_be_given_by_its_own_plan(tmp_path):
    """Refused where the plan is to be made, taken where it is given."""
    opening = (
        'diameter = "70 mm"                # round clear opening; the frame is a ring round it'
    )
    text = ROUND.replace(opening, 'width = "70 mm"\nheight = "70 mm"')
    (tmp_path / "case.toml").write_text(text, encoding="utf-8")
    with pytest.raises(CaseError, match="crosses"):
        plan_of(tmp_path / "case.toml")
    lines = np.linspace(-0.055, 0.055, 111)  # steps of 1 mm follow a circle of 100 mm to 0.5 %
    plan = rectangle_plan(lines, lines)
    write_plan(tmp_path / "plan.vtu", Plan(plan.points, plan.quads))
    case = read_case(
        tmp_path / "case.toml",
        {"mesh.plan": "plan.vtu", "sample.holder.diameter": "100 mm"},
    )
    found = scene_plan(case, build_stack(case), SCANNED, coarse=True)
    assert found.quads.shape[1] == 110**2
