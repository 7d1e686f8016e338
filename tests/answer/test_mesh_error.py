"""The stated mesh error: zero for equal meshes, and wide enough for a finer one."""

from pathlib import Path

import pytest

from thermo.answer.course import course_of, settled_course
from thermo.answer.mesh_error import mesh_bands, mesh_difference, peak_change
from thermo.answer.outcome import run_once
from thermo.answer.scene import describe, mesh
from thermo.answer.state import solve_state
from thermo.answer.temperature import hottest
from thermo.case import read_case
from thermo.solve import Solver

GROOVES = Path(__file__).parents[2] / "cases" / "fibre-grooves.toml"
MESHES = {"coarse": True}, {}, {"refine": 1}


def state_of(case, still, **how):
    scene = describe(case, still)
    return solve_state(scene, mesh(scene, **how), Solver())


def outcomes(case, still, *meshes, moved=True):
    solver = Solver()
    courses = [
        settled_course(course_of(state_of(case, still, **how), solver), solver) for how in meshes
    ]
    return [run_once(course.state, course, moved) for course in courses]


def test_equal_meshes_leave_nothing_open(held):
    found = mesh_difference(held.outcome, held.outcome)
    printed = {"magnification_ppm", "residual_nm", "blur_nm"}
    assert set(found) == {"resist_peak_K", "mask_peak_K"} | printed
    # interpolation at the mesh's own nodes is right to round-off of temperatures near 300 K
    assert max(found.values()) < 1e-9
    assert max(mesh_bands(held.outcome, held.outcome, found).values()) < 1e-9


def test_without_a_printed_pattern_only_temperatures_are_compared(small):
    coarse, fine = outcomes(small, False, *MESHES[:2], moved=False)
    assert set(mesh_difference(fine, coarse)) == {"resist_peak_K", "mask_peak_K"}


def test_the_band_of_every_value_holds_what_its_headline_number_moved(small):
    coarse, fine = outcomes(small, True, *MESHES[:2])
    difference = mesh_difference(fine, coarse)
    bands = mesh_bands(fine, coarse, difference)
    assert bands["resist"] >= difference["resist_peak_K"] > 0
    for line, other in zip(fine.judged, coarse.judged, strict=True):
        if line.value is not None:
            assert bands[line.name] >= abs(line.value - other.value)


def stated_and_moved(case, still):
    """Of resist and membrane: the stated error, and how far halving every spacing moves the peak.

    Twice finer takes most of what four times finer does (table in DEVELOPERS.md).
    """
    coarse, usual, finer = (state_of(case, still, **how) for how in MESHES)
    for name in (usual.scene.stack.resist.name, "membrane"):
        moved = abs(float(finer.peak[hottest(finer, name)] - usual.peak[hottest(usual, name)]))
        yield peak_change(usual, coarse, name), moved


@pytest.mark.parametrize("still", [False, True], ids=["scan", "held"])
def test_the_stated_difference_holds_the_peaks_of_a_finer_mesh(small, still):
    for stated, moved in stated_and_moved(small, still):
        assert 0 < moved <= stated


@pytest.mark.long
@pytest.mark.parametrize("still", [False, True], ids=["scan", "held"])
def test_the_stated_difference_holds_the_peaks_of_a_finer_mesh_of_a_shipped_case(still):
    for stated, moved in stated_and_moved(read_case(GROOVES), still):
        assert 0 < moved <= stated


@pytest.mark.parametrize("still", [False, True], ids=["scan", "held"])
def test_the_stated_band_holds_the_printed_pattern_of_a_finer_mesh(small_path, still):
    """Placement and scale fall with the spacing itself at edges: three times the change."""
    limits = {"limits.placement": "1 um", "limits.blur": "1 um", "limits.magnification": "9 ppm"}
    coarse, usual, finer = outcomes(read_case(small_path, limits), still, *MESHES)
    bands = mesh_bands(usual, coarse, mesh_difference(usual, coarse))
    moved = {a.name: (a.value, b.value) for a, b in zip(usual.judged, finer.judged, strict=True)}
    for name in ("placement", "blur", "magnification", "gap_closing"):
        value, other = moved[name]
        bow = 0.1 * value if name == "gap_closing" else 0.0  # what is said of it at any mesh
        assert abs(other - value) <= bands[name] + bow
