"""The stack in 3D: true surfaces, a picture that says how it is drawn, one without libraries."""

import json
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import meshio
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.image import imread

from thermo.mesh import rectangle_plan
from thermo.show import cutaway as surfaces
from thermo.show import folder as room
from thermo.show import solid, stack_picture
from thermo.show.cutaway import CutawayError, read_cutaway
from thermo.show.fields import write_fields
from thermo.show.folder import write_results
from thermo.show.stack_picture import DRAWN, draw_stack
from thermo.show.stack_view import RIGHT, UP, frame_of, seen

CRASH = (sys.executable, "-c", "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)")
LINES = np.array([-0.9, -0.35, 0.2, 0.5, 0.8])  # m, no line at 0


@pytest.fixture(scope="module")
def folder(tmp_path_factory, scanned):
    """The files of a result that the picture is drawn from."""
    folder = tmp_path_factory.mktemp("stack")
    (folder / "answer.json").write_text(scanned.answer.to_json(), encoding="utf-8")
    write_fields(scanned, folder)
    return folder


@pytest.fixture(scope="module")
def cut(folder):
    return read_cutaway(folder)


@pytest.fixture(scope="module")
def drawn(folder):
    words = draw_stack(folder)
    return words, imread(folder / "stack.png")


@pytest.fixture
def stood_in(folder, monkeypatch):
    monkeypatch.setattr(stack_picture, "DRAWER", CRASH)
    return draw_stack(folder), imread(folder / "stack.png")


def volume(part):
    """Volume inside outward faces, by the divergence theorem, mm3."""
    a, b, c, d = np.moveaxis(part.points[part.faces], 1, 0)
    return sum(np.einsum("ni,ni->", a, np.cross(p, q)) / 6 for p, q in ((b, c), (c, d)))


def texts(monkeypatch, folder):
    """All words of the picture."""
    found = []

    def keep(figure, *_, **__):
        found.extend(t.get_text() for t in figure.findobj(lambda a: hasattr(a, "get_text")))

    monkeypatch.setattr(Figure, "savefig", keep)
    draw_stack(folder)
    return "\n".join(found)


def test_layers_have_their_names_thickness_and_hottest_places(cut, scanned):
    stack, hottest = scanned.outcome.scene.stack, scanned.answer.temperature
    assert [part.name for part in cut.parts] == [layer.name for layer in stack.layers]
    for part, layer in zip(cut.parts, stack.layers, strict=True):
        assert part.thickness == pytest.approx(layer.thickness)
        if layer.body == "gap":
            assert part.hottest is None
            assert not len(part.faces)
        else:
            assert part.hottest == pytest.approx(hottest[layer.name].peak_C)


def test_surfaces_enclose_the_half_of_sample_and_holder_and_the_quarter_of_the_mask(
    folder, scanned, monkeypatch
):
    monkeypatch.setattr(surfaces, "_even", lambda _: 0.0)  # without displacement
    for part, layer in zip(
        read_cutaway(folder).parts, scanned.outcome.scene.stack.layers, strict=True
    ):
        if layer.body == "gap":
            continue
        area = layer.outline.width * layer.outline.height
        if layer.opening is not None:
            area -= layer.opening.width * layer.opening.height
        share = 1 / 4 if layer.body == "mask" else 1 / 2
        want = share * 1e6 * area * (part.span[1] - part.span[0])
        assert volume(part) == pytest.approx(want, rel=1e-9)  # round-off


def test_layers_are_stacked_without_a_gap_and_stretched_as_told(cut):
    spans = [part.span for part in cut.parts]
    assert all(a[1] == b[0] for a, b in pairwise(spans))
    factors = [
        (part.span[1] - part.span[0]) / (1e3 * part.thickness)
        for part in cut.parts
        if part.hottest is not None
    ]
    assert cut.stretch == pytest.approx((min(factors), max(factors)))


def test_the_body_is_moved_by_its_displacement_times_what_is_told(folder, cut, monkeypatch):
    monkeypatch.setattr(surfaces, "_even", lambda _: 0.0)
    still = read_cutaway(folder)
    names = [part.name for part in cut.parts]
    mesh = meshio.read(folder / "mask_displacement.vtu")
    xyz, u = 1e3 * mesh.points, 1e6 * mesh.point_data["displacement_m"]
    number = names.index("membrane")
    moved, own = cut.parts[number], still.parts[number]
    top = np.isclose(own.points[:, 2], own.span[0])
    level = np.isclose(xyz[:, 2], -1e3 * sum(cut.parts[i].thickness for i in (1, 2, 3)))
    step = 1e3 * (moved.points - own.points)[top] / cut.moved  # um
    both = 0
    for at, found in zip(own.points[top], step, strict=True):
        near = level & np.isclose(xyz[:, 0], at[0]) & np.isclose(xyz[:, 1], at[1])
        if near.any():
            both += 1
            assert found == pytest.approx(u[near][0], abs=1e-6)  # um: round-off of mm
    assert both > 20
    holder = cut.parts[-1].points, still.parts[-1].points
    assert np.array_equal(*holder)


def test_no_displacement_closes_more_than_half_of_the_drawn_gap(cut):
    gap = cut.parts[surfaces.GAP].span
    resist = cut.parts[surfaces.GAP + 1].points[:, 2].min()
    absorber = cut.parts[surfaces.GAP - 1].points[:, 2].max()
    assert resist - absorber > 0
    assert gap[1] - gap[0] > 0
    assert cut.moved > 1


@pytest.mark.parametrize("angle", [0.0, 20.0, 33.0])
def test_a_cut_through_cells_halves_the_area_and_keeps_a_linear_field(angle):
    lines = np.concatenate([LINES, -LINES])
    plan = rectangle_plan(np.unique(lines), np.unique(lines))
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    x, y = np.array([[c, -s], [s, c]]) @ plan.points
    nodal, quads = surfaces._cut(np.stack([x, y, 3 * x - 2 * y + 1]), plan.quads, 0)
    x, y, T = nodal
    assert np.abs(T - (3 * x - 2 * y + 1)).max() < 1e-12  # round-off
    x, y = x[quads], y[quads]
    assert x.min() == 0
    area = (x * np.roll(y, -1, 0) - np.roll(x, -1, 0) * y).sum() / 2
    assert area == pytest.approx(plan.areas.sum() / 2)  # of a plan that is its own mirror image


def test_the_eye_sees_the_beam_come_from_above_and_nothing_mirrored():
    assert UP[2] < 0  # z is along the beam
    toward = np.cross(RIGHT, UP)
    assert toward[2] < 0  # the lit side
    assert toward[0] < 0  # the cut face, at x = 0
    assert np.linalg.norm(UP) == pytest.approx(1)


def test_all_of_the_stack_lies_inside_the_picture(cut):
    frame = frame_of(cut.points)
    u, v = seen(cut.points).T
    assert frame.left < u.min() < u.max() < frame.right
    assert frame.bottom < v.min() < v.max() < frame.top
    assert (frame.right - frame.left) / frame.height == pytest.approx(4 / 3)


def test_the_picture_has_its_size_and_is_drawn_in_three_dimensions(drawn):
    pytest.importorskip("pyvista")
    words, picture = drawn
    if words != DRAWN:
        pytest.skip(words)
    assert picture.shape[:2] == (900, 1200)
    assert picture[150:600, 100:800, :3].std() > 0.1  # not one colour


def test_the_picture_says_what_it_shows_and_how_it_is_drawn(folder, cut, monkeypatch):
    monkeypatch.setattr(stack_picture, "DRAWER", CRASH)
    found = texts(monkeypatch, folder)
    for words in (
        cut.title,
        "peak temperature, degC",
        f"drawn {cut.stretch[0]:.2g} to {float(f'{cut.stretch[1]:.2g}'):.0f} times as thick",
        f"drawn {cut.moved:g} times as large",
        "5 mm along x",
        "5 mm along y",
        "membrane, 150 um, ",
        "resist, 300 um, ",
        "gap, 100 um of gas",
        "drawn by matplotlib: 3D drawing is not available here",
    ):
        assert words in found


def test_a_held_beam_has_a_steady_temperature(folder, cut):
    assert stack_picture.colour_words(cut) == "peak temperature, degC"
    assert stack_picture.colour_words(replace(cut, held=True)) == "steady temperature, degC"


def test_a_crash_of_the_graphics_library_is_told_and_a_plain_picture_stands_in(stood_in):
    words, picture = stood_in
    assert words == (
        "drawn by matplotlib: 3D drawing is not available here "
        "(the graphics library crashed, signal 11)"
    )
    assert picture.shape[:2] == (900, 1200)


def test_the_picture_that_stands_in_shows_the_same(drawn, stood_in):
    words, picture = drawn
    if words != DRAWN:
        pytest.skip(words)
    part = slice(60, 720), slice(0, 860)  # above the words below
    off = np.abs(picture[part][..., :3] - stood_in[1][part][..., :3])
    assert off.mean() < 0.02  # edges and smoothing within cells; one layer amiss is above 0.05


def test_a_machine_without_the_drawing_library_is_told_so(folder, tmp_path, monkeypatch):
    (tmp_path / "pyvista.py").write_text("raise ModuleNotFoundError(\"No module named 'vtk'\")\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    assert "(No module named 'vtk')" in draw_stack(folder)


@pytest.mark.parametrize(
    ("command", "reason"),
    [
        ((sys.executable, "-c", "import time; time.sleep(30)"), "took longer than 0.5 s"),
        ((sys.executable, "-c", "raise SystemExit(3)"), "exit code 3"),
        (("/nowhere/python",), "no process could be started: No such file"),
    ],
)
def test_other_faults_of_the_drawing_process_are_told(monkeypatch, command, reason):
    monkeypatch.setattr(stack_picture, "DRAWER", command)
    assert reason in stack_picture.run_drawer([], 0.5)


def test_the_drawing_process_has_a_minute():
    assert stack_picture.LONGEST == 60


def test_results_carry_the_picture_and_a_note_only_where_it_stood_in(
    tmp_path, scanned, small, monkeypatch
):
    others = ("write_section", "write_in_time", "write_placement", "write_cycle_fields")
    for write in others:
        monkeypatch.setattr(room, write, lambda *_: None)
    monkeypatch.setattr(room, "pages_of", lambda _: {})
    monkeypatch.setattr(stack_picture, "DRAWER", CRASH)
    note = write_results(scanned, small, tmp_path / "crashed")
    assert note.startswith("stack.png drawn by matplotlib: 3D drawing is not available here (")
    names = json.loads((tmp_path / "crashed" / "manifest.json").read_text())["sha256"]
    assert "stack.png" in names
    monkeypatch.setattr(room, "draw_stack", lambda _: DRAWN)
    assert write_results(scanned, small, tmp_path / "drawn") == ""


def test_a_click_in_the_window_tells_layer_temperature_and_place(cut):
    part = cut.parts[surfaces.GAP + 1]
    x, y = part.points[5, :2]
    want = f"resist: {part.T[5]:.1f} degC at x = {x:.1f}, y = {y:.1f} mm"
    assert solid.told(cut, part.points[5] + 1e-6) == want


@pytest.mark.parametrize("missing", ["answer.json", "temperature.vtu", "mask_displacement.vtu"])
def test_a_folder_that_is_no_result_is_refused_in_one_line(folder, tmp_path, missing):
    for file in folder.iterdir():
        if file.name != missing:
            (tmp_path / file.name).symlink_to(file)
    with pytest.raises(CutawayError, match=f"is no result folder, {missing} is missing") as caught:
        read_cutaway(tmp_path)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("damaged", ["answer.json", "temperature.vtu", "sample_displacement.vtu"])
def test_a_damaged_file_is_told_in_one_line(folder, tmp_path, damaged):
    for file in folder.iterdir():
        content = file.read_bytes()
        cut_short = content[: len(content) // 2] if file.name == damaged else content
        Path(tmp_path, file.name).write_bytes(cut_short)
    with pytest.raises(CutawayError, match="a file in it is damaged") as caught:
        read_cutaway(tmp_path)
    assert "\n" not in str(caught.value)
