"""Mesh lines of a scene stand on every step of parts, pattern, lit width and tape patches."""

import numpy as np
import pytest

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.scene import describe, mesh
from thermo.case import read_case, with_value


def plan_of(path, settings, still=True):
    return mesh(describe(read_case(path, settings), still)).grid.plan


@pytest.mark.parametrize("side", ["0.1 mm", "3.3 mm", "10 mm"])
def test_the_patches_of_a_taped_sample_have_cells_of_their_own(small_path, side):
    given = {"sample.joint.material": "tape", "sample.joint.thickness": "100 um"}
    plan = plan_of(small_path, {"sample.held": "taped", "sample.patch": side} | given)
    length = float(side.split()[0]) * 1e-3
    x, y = np.abs(plan.centres)
    corner = (x > 10e-3 - length) & (y > 10e-3 - length) & (x < 10e-3) & (y < 10e-3)
    # exact but for round-off: lines stand on the patch's edges
    assert plan.areas[corner].sum() == pytest.approx(4 * length**2, rel=1e-9)


@pytest.mark.parametrize("still", [True, False])
def test_lines_stand_on_the_steps_of_parts_and_pattern_and_on_the_lit_width(small_path, still):
    plan = plan_of(small_path, {"beam.width": "15 mm"}, still)
    for axis, places in (("x", (6, 7.5, 8, 10, 12, 14)), ("y", (6, 8, 10, 12, 14))):
        lines = np.unique(plan.points["xy".index(axis)])
        for place in places:
            assert np.abs(lines - 1e-3 * place).min() < 1e-9  # on the line


def test_refining_halves_every_spacing_and_coarse_has_fewer_cells(small):
    scene = describe(small)
    usual, fine, coarse = mesh(scene), mesh(scene, refine=1), mesh(scene, coarse=True)
    assert fine.grid.active.sum() == 8 * usual.grid.active.sum()
    assert coarse.grid.active.sum() < usual.grid.active.sum()


def test_a_mesh_is_like_another_where_plans_and_slabs_are_the_same(small_path):
    """Heights may differ; a stroke that ends over the opening asks for more lines."""
    case = read_case(small_path)
    meshes = {
        key: mesh(describe(with_value(case, key, value)), coarse=True)
        for key, value in (
            ("ring.current", 0.06),
            ("gap.width", 120e-6),
            ("scan.stroke", 12e-3),
            ("mask.membrane.width", 15e-3),
        )
    }
    own = mesh(describe(case), coarse=True)
    assert {key: other.is_like(own) for key, other in meshes.items()} == {
        "ring.current": True,
        "gap.width": True,
        "scan.stroke": False,
        "mask.membrane.width": False,
    }


def test_runs_take_over_bodies_only_of_the_same_plan(small_path):
    """A stroke that moves lines of the plan: as from nothing, though asked to start from others."""
    case = read_case(small_path)
    runs = CoarseRuns(case, False)
    changed = with_value(case, "scan.stroke", 12e-3)
    like, alone = CoarseRuns(changed, False, runs), CoarseRuns(changed, False)
    assert np.array_equal(like.gap_change.wider, alone.gap_change.wider)
    warm = with_value(case, "sample.holder.water", 295.15)
    like, alone = CoarseRuns(warm, False, runs), CoarseRuns(warm, False)
    assert like.bodies[0].held.factor is runs.bodies[0].held.factor
    moved = np.abs(alone.gap_change.wider - runs.gap_change.wider).max()
    assert np.abs(like.gap_change.wider - alone.gap_change.wider).max() < 0.02 * moved
