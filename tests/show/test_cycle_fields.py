"""The film of one cycle: right temperatures at the right times, in files any VTK viewer opens."""

from xml.etree import ElementTree

import meshio
import numpy as np
import pytest

from thermo.answer.series import cycle_series, exposure_series, watched_places
from thermo.answer.temperature import ZERO_C, hottest
from thermo.show.cycle_fields import PHASES, write_cycle_fields

LARGEST = 1_000_000  # bytes of one file
SINGLE = 1e-4  # K: single precision of some 100 degC, of harmonics summed in it too


@pytest.fixture(scope="module")
def film(tmp_path_factory, scanned):
    folder = tmp_path_factory.mktemp("film")
    write_cycle_fields(scanned, folder)
    return folder


@pytest.fixture(scope="module")
def short_film(tmp_path_factory, few):
    folder = tmp_path_factory.mktemp("short")
    write_cycle_fields(few, folder)
    return folder


def frames(folder):
    sets = ElementTree.parse(folder / "cycle.pvd").getroot().iter("DataSet")
    return [(float(s.get("timestep")), meshio.read(folder / s.get("file"))) for s in sets]


def place(mesh, state, node, level):
    """Temperature of the film at a node of the grid."""
    grid = state.meshed.grid
    at = np.array([*grid.plan.points[:, node], grid.levels[level]])
    away = np.abs(mesh.points - at).max(1)
    assert away.min() < 1e-8  # m: points are in single precision
    return mesh.point_data["temperature_degC"][away.argmin()]


def test_twelve_phases_lie_evenly_in_one_period_in_seconds(film, scanned):
    times = [time for time, _ in frames(film)]
    period = scanned.outcome.state.scan.cycle.period
    assert times == pytest.approx([k * period / PHASES for k in range(12)])
    names = {f"cycle_{k:02d}.vtu" for k in range(12)} | {"cycle.pvd"}
    assert {p.name for p in film.iterdir()} == names


@pytest.mark.parametrize("part", ["resist", "membrane"])
def test_a_frame_is_the_harmonics_summed_at_its_time(film, scanned, part):
    state = scanned.outcome.state
    node = hottest(state, part)[1]
    level = state.meshed.grid.slabs(state.scene.stack.index(part)).start
    cycle = state.scan.cycle
    for time, mesh in frames(film):
        rise = cycle.at(np.array([time]), np.array([node]), level)[0, 0]
        want = state.system.coldest - ZERO_C + rise
        assert place(mesh, state, node, level) == pytest.approx(want, abs=SINGLE)


def test_the_hottest_resist_runs_through_the_film_as_through_the_table_of_the_cycle(film, scanned):
    state, series = scanned.outcome.state, cycle_series(scanned.outcome)
    for time, mesh in frames(film):
        want = np.interp(time, series.time, series.places["resist"])
        found = place(mesh, state, *watched_places(state)["resist"])
        assert found == pytest.approx(want, abs=0.05)  # between two of 400 rows


def test_no_frame_is_above_the_peak_and_all_swing(film, scanned):
    peak = max(part.peak_C for part in scanned.answer.temperature.values())
    T = np.stack([mesh.point_data["temperature_degC"] for _, mesh in frames(film)])
    assert T.max() <= peak + SINGLE
    assert np.ptp(T, axis=0).max() > 1  # K


def test_frames_hold_membrane_resist_and_section_of_solids(film, scanned):
    mesh = frames(film)[0][1]
    stack = scanned.outcome.scene.stack
    layer = mesh.cell_data["layer"][0]
    assert set(layer) == set(range(len(stack.layers))) - {stack.index("gap")}
    corners = mesh.points[mesh.cells[0].data]
    flat = np.ptp(corners[:, :, 2], axis=1) == 0
    one_x = np.ptp(corners[:, :, 0], axis=1) == 0
    assert (flat | one_x).all()
    assert (corners[flat & (layer == stack.index("resist"))][..., 2] == 0).all()  # its lit face
    area = np.prod(np.ptp(corners[flat], axis=1)[:, :2], axis=1).sum()
    outlines = [stack.layer(name).outline for name in ("membrane", "resist")]
    # boxes in single precision, at 1e-7 each
    assert area == pytest.approx(sum(o.width * o.height for o in outlines), rel=1e-5)


def test_files_are_small(film, short_film):
    sizes = [p.stat().st_size for folder in (film, short_film) for p in folder.iterdir()]
    assert max(sizes) < LARGEST


def test_an_exposure_over_before_it_settles_is_shown_from_cold_to_its_end(short_film, few):
    course, state = few.course, few.course.state
    node, level = watched_places(state)["resist"]
    series = exposure_series(course)
    shown = frames(short_film)
    assert [time for time, _ in shown] == pytest.approx(
        [course.dose.time * k / 12 for k in range(1, 13)]
    )
    for time, mesh in shown:
        rise = course.warm_up.at(np.array([time]), node, level)[0]
        want = course.dark[node, level] - ZERO_C + rise
        assert place(mesh, state, node, level) == pytest.approx(want, abs=SINGLE)
    assert series.time[-1] == pytest.approx(shown[-1][0])


def test_a_held_beam_has_no_film(tmp_path, held):
    write_cycle_fields(held, tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_viewer_library_plays_the_film(film, scanned):
    pyvista = pytest.importorskip("pyvista")
    reader = pyvista.get_reader(film / "cycle.pvd")
    assert len(reader.time_values) == PHASES
    reader.set_active_time_point(7)
    block = reader.read()[0]
    want = frames(film)[7][1].point_data["temperature_degC"]
    assert np.array_equal(block["temperature_degC"], want)
