"""The stated mesh error: zero for equal meshes, and wide enough for a finer one."""

from pathlib import Path

import pytest

from thermo.answer.mesh_error import mesh_bands, mesh_difference, peak_change
from thermo.answer.outcome import run_once
from thermo.answer.scene import describe, mesh
from thermo.answer.state import solve_state
from thermo.answer.temperature import hottest
from thermo.case import read_case
from thermo.solve import Solver

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))


def state_of(case, still, **how):
    scene = describe(case, still)
    return solve_state(scene, mesh(scene, **how), Solver())


def test_equal_meshes_leave_nothing_open(small):
    held = run_once(state_of(small, True), "still", moved=True)
    found = mesh_difference(held, held)
    assert set(found) == {"resist_peak_K", "mask_peak_K", "magnification_ppm", "residual_nm"}
    # interpolation at the mesh's own nodes is right to round-off of temperatures near 300 K
    assert max(found.values()) < 1e-9
    assert max(mesh_bands(held, held, mesh_difference(held, held)).values()) < 1e-9


def test_without_a_printed_pattern_only_temperatures_are_compared(small):
    fine, coarse = (run_once(state_of(small, False, coarse=c), "still", False) for c in (0, 1))
    assert set(mesh_difference(fine, coarse)) == {"resist_peak_K", "mask_peak_K"}


def test_the_band_of_every_value_holds_what_its_headline_number_moved(small):
    fine, coarse = (run_once(state_of(small, True, coarse=c), "still", True) for c in (0, 1))
    difference, bands = (
        mesh_difference(fine, coarse),
        mesh_bands(fine, coarse, mesh_difference(fine, coarse)),
    )
    assert bands["resist"] >= difference["resist_peak_K"] > 0
    for line, other in zip(fine.judged, coarse.judged, strict=True):
        if line.value is not None:
            assert bands[line.name] >= abs(line.value - other.value)


@pytest.mark.parametrize("still", [False, True], ids=["scan", "held"])
@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_the_stated_difference_holds_the_peaks_of_a_finer_mesh(path, still):
    """Twice finer takes most of what four times finer does (table in DEVELOPERS.md)."""
    case = read_case(path)
    coarse, usual, finer = (
        state_of(case, still, **how) for how in ({"coarse": True}, {}, {"refine": 1})
    )
    for name in (usual.scene.stack.resist.name, "membrane"):
        stated = peak_change(usual, coarse, name)
        moved = abs(float(finer.peak[hottest(finer, name)] - usual.peak[hottest(usual, name)]))
        assert moved <= stated


@pytest.mark.slow
def test_the_stated_band_holds_the_printed_pattern_of_a_finer_mesh():
    """Placement and scale of a held beam fall with the spacing itself: three times the change."""
    case = read_case(next(path for path in CASES if path.stem == "fibre-grooves"))
    coarse, usual, finer = (
        run_once(state_of(case, True, **how), "still", moved=True)
        for how in ({"coarse": True}, {}, {"refine": 1})
    )
    bands = mesh_bands(usual, coarse, mesh_difference(usual, coarse))
    moved = {a.name: (a.value, b.value) for a, b in zip(usual.judged, finer.judged, strict=True)}
    assert "placement" in moved
    for name, (value, other) in moved.items():
        assert abs(other - value) <= bands[name]
