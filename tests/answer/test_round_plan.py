"""Plans of round cases and of the user's own: follow every outline, and are refined on circles."""

import re
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial import Delaunay

from thermo.answer.plan import Stripe, coarse_spacing, scene_plan
from thermo.case import read_case
from thermo.case.pattern import Outline, disc
from thermo.case.plan_file import read_plan_file
from thermo.case.stack import build_stack
from thermo.errors import CaseError
from thermo.mesh import (
    Plan,
    corner_angles,
    edges_of,
    read_plan,
    rectangle_plan,
    rings,
    write_plan,
)

ROOT = Path(__file__).parents[2]
CASE = ROOT / "cases" / "round-wafer.toml"
ROUND = CASE.read_text(encoding="utf-8")
COARSE = coarse_spacing(scans=True)
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
    ("how", "off"), [({}, 1.2e-3), ({"spacing": COARSE}, 5e-3), ({"refine": 1}, 3e-4)]
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
        plan_of(settings=own(name), **how) for how in ({"spacing": COARSE}, {}, {"refine": 1})
    )
    counts = [plan.quads.shape[1] for plan in (coarse, usual, fine)]
    assert counts == [counts[0], 4 * counts[0], 16 * counts[0]]
    off = [1 - covered(plan, read_case(CASE))["resist"] for plan in (coarse, usual, fine)]
    assert [off[0] / off[1], off[1] / off[2]] == pytest.approx([4, 4], rel=0.05)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (
            {"sample.diameter": "98 mm"},
            r"the resist \(round, 98 mm\).*1\.04 mm off it.*to 0\.049 mm",
        ),
        ({"mask.membrane.diameter": "72 mm"}, "does not follow the opening"),
        ({"sample.holder.diameter": "120 mm"}, r"the holder.*5 mm off it"),
        (
            {"mask.absorber.width": "37 mm", "mask.absorber.height": "37 mm"},
            r"the pattern field \(37 x 37 mm\).*mm off it; allowed: up to 0\.0185 mm",
        ),
    ],
)
def test_a_plan_that_does_not_follow_an_outline_is_refused(settings, words):
    with pytest.raises(CaseError, match=words) as caught:
        plan_of(settings={**own("wafer-free"), **settings})
    (fault,) = caught.value.faults
    assert fault.key == "mesh.plan"
    assert fault.file.endswith("wafer-free.vtu")
    assert str(fault).isprintable()


def shipped(name="wafer-rings"):
    return read_plan(read_plan_file(ROOT / "meshes" / f"{name}.vtu"))


def refused(folder, plan, settings=None):
    write_plan(folder / "plan.vtu", plan)
    with pytest.raises(CaseError, match="does not follow") as caught:
        plan_of(settings={"mesh.plan": str(folder / "plan.vtu"), **(settings or {})})
    return caught.value.faults[0].text


@pytest.mark.parametrize("name", ["wafer-rings", "wafer-free"])
@pytest.mark.parametrize("shift", [(0.2e-3, 0.0), (0.0, -0.4e-3)])
def test_a_plan_beside_the_middle_is_refused_with_how_far_it_is_off(tmp_path, name, shift):
    plan = shipped(name)
    text = refused(tmp_path, Plan(plan.points + np.array(shift)[:, None], plan.quads))
    off = float(re.search(r"mm is (\S+) mm off it; allowed: up to 0\.022 mm", text)[1])
    assert off >= 1e3 * np.hypot(*shift)


def test_a_plan_that_cuts_the_corners_of_the_field_is_refused(tmp_path):
    """Its corner node drawn 0.5 mm along the top: 0.03 % of the area, both ends on the outline."""
    plan = shipped()
    points = plan.points.copy()
    corner = np.hypot(*(points - 0.022)).argmin()
    points[0, corner] -= 0.5e-3
    assert "the pattern field" in refused(tmp_path, Plan(points, plan.quads))


def test_a_plan_that_ends_inside_a_part_is_refused(tmp_path):
    plan = shipped()
    inner = plan.quads[:, np.hypot(*plan.centres) < 0.050]
    assert "the holder (round, 110 mm)" in refused(tmp_path, Plan(plan.points, inner))


def test_a_plan_with_too_few_edges_on_a_circle_is_refused(tmp_path):
    """Eight chords leave (pi/4)^2/6 = 10 % of a disc out: 2 sqrt 2 r^2 is 3464.8 mm2."""
    lines = np.array([-0.022, 0.0, 0.022])
    plan = rings(lines, lines, [disc(d) for d in (0.07, 0.09, 0.1, 0.11)], 1e-2, 1e-2).plan()
    assert "cover 3464.8 of 3848.5 mm2; allowed: 0.5 % off" in refused(tmp_path, plan)


def test_a_staircase_of_squares_is_refused(tmp_path):
    """Steps of 1 mm follow 100 mm to 0.5 % of the area, and to 0.7 mm."""
    lines = np.linspace(-0.055, 0.055, 111)
    plan = rectangle_plan(lines, lines)
    text = refused(tmp_path, Plan(plan.points, plan.quads), {"sample.holder.diameter": "100 mm"})
    assert "mm off it" in text


def test_a_plan_in_millimetres_is_told_that_metres_are_meant(tmp_path):
    lines = np.linspace(-5, 5, 11)
    assert "in metres" in refused(tmp_path, rectangle_plan(lines, lines))


def square(side, cuts):
    """Points on the edge of a square about the middle, its sides cut at the same places, m."""
    return np.hstack(
        [
            [along, np.full(len(cuts), s * side / 2)][:: 1 if turn else -1]
            for turn in (0, 1)
            for s in (-1, 1)
            for along in [cuts]
        ]
    )


def crossing_plan():
    """Quads over a square of 90 mm and a disc of 100 mm about one middle; other squares inside.

    Points every mm on all outlines, joined to triangles (Delaunay), each cut into three quads.
    """
    meet = np.sqrt(0.05**2 - 0.045**2)
    side = np.concatenate(
        [
            np.linspace(-0.045, -meet, 24)[:-1],
            np.linspace(-meet, meet, 45),
            np.linspace(meet, 0.045, 24)[1:],
        ]
    )
    turn = np.arctan2(meet, 0.045)
    eighth = [np.linspace(-turn, turn, 46)[:-1], np.linspace(turn, np.pi / 2 - turn, 34)[:-1]]
    angle = np.concatenate([part + i * np.pi / 2 for i in range(4) for part in eighth])
    edges = [square(0.09, side), 0.05 * np.stack([np.cos(angle), np.sin(angle)])]
    edges += [square(w, np.linspace(-w / 2, w / 2, round(w * 1e3) + 1)) for w in (0.07, 0.044)]
    edges = np.hstack(edges)
    x, y = (part.ravel() for part in np.meshgrid(*[np.arange(-0.048, 0.05, 3.1e-3)] * 2))
    outlines = [Outline(0.09, 0.09), disc(0.1), Outline(0.07, 0.07), Outline(0.044, 0.044)]
    free = np.min([o.distance(x, y) for o in outlines], axis=0) > 1e-3
    free &= outlines[0].covers(x, y) | outlines[1].covers(x, y)
    points = np.unique(np.round(np.hstack([edges, [x[free], y[free]]]), 9), axis=1)
    triangles = Delaunay(points.T).simplices.T
    centres = points[:, triangles].mean(1)
    triangles = triangles[:, outlines[0].covers(*centres) | outlines[1].covers(*centres)]
    ends, number = edges_of(triangles)
    middle = points.shape[1] + number
    centre = points.shape[1] + ends.shape[1] + np.arange(triangles.shape[1])
    every = np.hstack([points, points[:, ends].mean(1), points[:, triangles].mean(1)])
    parts = [np.stack([triangles[i], middle[i], centre, middle[i - 1]]) for i in range(3)]
    return Plan(every, np.hstack(parts))


def test_a_square_frame_over_a_round_wafer_may_be_given_by_its_own_plan(tmp_path):
    """Refused where the plan is to be made, taken where it is given."""
    opening = (
        'diameter = "70 mm"                # round clear opening; the frame is a ring round it'
    )
    text = ROUND.replace(opening, 'width = "70 mm"\nheight = "70 mm"')
    (tmp_path / "case.toml").write_text(text, encoding="utf-8")
    with pytest.raises(CaseError, match="crosses"):
        plan_of(tmp_path / "case.toml")
    plan = crossing_plan()
    write_plan(tmp_path / "plan.vtu", plan)
    settings = {"mesh.plan": "plan.vtu", "sample.holder.diameter": "100 mm"}
    found = plan_of(tmp_path / "case.toml", settings, spacing=COARSE)
    assert found.quads.shape == plan.quads.shape
