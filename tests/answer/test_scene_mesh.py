"""Mesh lines of a scene stand on every step of parts, pattern, lit width and tape patches."""

import numpy as np
import pytest

from thermo.answer.scene import describe, mesh
from thermo.case import read_case


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
