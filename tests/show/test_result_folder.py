"""The result folder: whole or not at all, never over other people's files, and readable."""

import hashlib
import json

import meshio
import numpy as np
import pytest
from matplotlib.image import imread

from thermo.answer import Answer
from thermo.case.plan_file import PlanFile
from thermo.case.tables import NumberTable
from thermo.show import folder as room
from thermo.show.folder import FolderError, check_folder, write_results
from thermo.show.picture import write_section
from thermo.show.stack_picture import DRAWN
from thermo.show.text import answer_text

FILM = {"cycle.pvd", *(f"cycle_{phase:02d}.vtu" for phase in range(12))}
FILES = {
    "answer.json",
    "answer.txt",
    "case.toml",
    "cooling.csv",
    *FILM,
    "cycle.csv",
    "depth.csv",
    "dose.csv",
    "exposure.csv",
    "field.csv",
    "field.png",
    "field.svg",
    "manifest.json",
    "mask_displacement.vtu",
    "placement.png",
    "placement.svg",
    "placement_base.csv",
    "placement_middle.csv",
    "placement_top.csv",
    "report.html",
    "sample_displacement.vtu",
    "section.png",
    "section.svg",
    "sheet.html",
    "stack.png",
    "surfaces.npz",
    "temperature.vtu",
    "time.png",
    "time.svg",
}


@pytest.fixture(autouse=True)
def quickly_drawn(monkeypatch, written, written_held):
    """The stack in 3D is drawn once for each of both folders, not for what the tests write anew."""

    def draw(folder):
        (folder / "stack.png").write_bytes((written / "stack.png").read_bytes())
        return DRAWN

    monkeypatch.setattr(room, "draw_stack", draw)


@pytest.fixture(scope="module")
def written(tmp_path_factory, scanned, small):
    folder = tmp_path_factory.mktemp("whole") / "small results é"
    write_results(scanned, small, folder)
    return folder


@pytest.fixture(scope="module")
def written_held(tmp_path_factory, held, small):
    folder = tmp_path_factory.mktemp("whole") / "held"
    write_results(held, small, folder)
    return folder


def test_the_folder_holds_the_files_of_the_answer_and_nothing_is_left_beside_it(written):
    assert {p.name for p in written.iterdir()} == FILES
    assert [p.name for p in written.parent.iterdir()] == [written.name]


def test_a_held_beam_has_no_cycle(written_held):
    names = {p.name for p in written_held.iterdir()}
    assert names == FILES - {"cycle.csv"} - FILM


def test_the_manifest_holds_the_hash_of_every_other_file(written):
    manifest = json.loads((written / "manifest.json").read_text())["sha256"]
    assert manifest.keys() == FILES - {"manifest.json"}
    for name, digest in manifest.items():
        assert hashlib.sha256((written / name).read_bytes()).hexdigest() == digest


def test_answer_text_and_case_are_those_of_the_run(written, scanned, small):
    assert Answer.model_validate_json((written / "answer.json").read_text()) == scanned.answer
    assert (written / "answer.txt").read_text() == answer_text(scanned.answer)
    assert (written / "case.toml").read_text() == small.text


def test_temperatures_are_named_finite_and_hottest_where_the_answer_says(written, scanned):
    mesh = meshio.read(written / "temperature.vtu")
    assert mesh.point_data.keys() == {
        "mean_temperature_degC",
        "peak_temperature_degC",
        "printing_temperature_degC",
    }
    assert mesh.cell_data.keys() == {
        "layer",
        "heat_W_per_m3",
        "conductivity_in_plane_W_per_mK",
        "conductivity_across_W_per_mK",
    }
    assert all(np.isfinite(field).all() for field in mesh.point_data.values())
    peak = mesh.point_data["peak_temperature_degC"]
    hottest = max(part.peak_C for part in scanned.answer.temperature.values())
    assert peak.max() == pytest.approx(hottest)
    assert (peak >= mesh.point_data["mean_temperature_degC"]).all()
    assert len(mesh.points) == scanned.answer.mesh.unknowns
    assert sum(len(block) for block in mesh.cells) == scanned.answer.mesh.cells


def test_heat_in_the_field_file_sums_to_the_heat_of_the_answer(written, scanned):
    mesh = meshio.read(written / "temperature.vtu")
    corners = mesh.points[mesh.cells[0].data]
    volume = np.prod(corners.max(1) - corners.min(1), axis=1)  # the cells are boxes
    heat = (mesh.cell_data["heat_W_per_m3"][0] * volume).sum()
    stays = {"transmitted", "escaped", "beside"}
    told = sum(v for k, v in scanned.answer.heat_W.items() if k not in stays)
    assert heat == pytest.approx(told, rel=1e-9)  # round-off of the boxes


@pytest.mark.parametrize("body", ["mask", "sample"])
def test_displacements_are_named_and_have_three_components(written_held, body):
    mesh = meshio.read(written_held / f"{body}_displacement.vtu")
    u = mesh.point_data["displacement_m"]
    assert u.shape == (len(mesh.points), 3)
    assert np.isfinite(u).all()
    assert 1e-9 < np.abs(u).max() < 1e-5  # nanometres to micrometres: ppm of some 20 mm


@pytest.mark.parametrize("name", ["section.png", "stack.png", "time.png"])
def test_the_pictures_are_pictures(written, name):
    picture = imread(written / name)
    assert min(picture.shape[:2]) > 600
    assert picture.std() > 0.05  # not one colour


def test_inputs_named_like_a_result_or_like_each_other_are_kept_beside_it(tmp_path, scanned, small):
    plan = PlanFile("plans/temperature.vtu", b"<VTKFile/>", "")
    named = {"ring.spectrum": "a/answer.txt", "scan.table": "b/answer.txt", "x": "manifest.json"}
    tables = {key: NumberTable(path, {}, "", f"text of {key}\n") for key, path in named.items()}
    case = small.model_copy(update={"plan": plan, "tables": tables})
    folder = tmp_path / "new"
    write_results(scanned, case, folder)
    assert (folder / "input-temperature.vtu").read_bytes() == plan.content
    assert (folder / "input-answer.txt").read_text() == "text of ring.spectrum\n"
    assert (folder / "input-input-answer.txt").read_text() == "text of scan.table\n"
    assert (folder / "input-manifest.json").read_text() == "text of x\n"
    assert (folder / "answer.txt").read_text() == answer_text(scanned.answer)
    assert len(meshio.read(folder / "temperature.vtu").points) == scanned.answer.mesh.unknowns
    write_results(scanned, small.model_copy(update={"plan": plan}), folder)
    assert {p.name for p in folder.iterdir()} == FILES | {"input-temperature.vtu"}


def test_other_inputs_keep_their_names_so_that_the_case_can_be_run_again(tmp_path, scanned, small):
    plan = PlanFile("plans/wafer.vtu", b"<VTKFile/>", "")
    write_results(scanned, small.model_copy(update={"plan": plan}), tmp_path / "new")
    assert (tmp_path / "new" / "wafer.vtu").read_bytes() == plan.content


def test_the_legend_says_the_limit_of_the_resist(tmp_path, scanned, monkeypatch):
    legends = []

    def keep(figure, *_, **__):
        legends.extend(t.get_text() for t in figure.axes[1].get_legend().get_texts())

    monkeypatch.setattr("matplotlib.figure.Figure.savefig", keep)
    write_section(scanned, tmp_path / "section.png")
    assert "resist limit 60 degC" in legends


def test_an_earlier_result_is_replaced_and_leaves_nothing_behind(written, scanned, small):
    (written / "answer.txt").write_text("old")
    write_results(scanned, small, written)
    assert (written / "answer.txt").read_text() != "old"
    assert [p.name for p in written.parent.iterdir()] == [written.name]


@pytest.mark.parametrize("stop", [RuntimeError, KeyboardInterrupt])
def test_a_run_that_stops_in_the_middle_leaves_nothing(tmp_path, scanned, small, monkeypatch, stop):
    def broken(*_):
        raise stop

    monkeypatch.setattr(room, "write_section", broken)
    with pytest.raises(stop):
        write_results(scanned, small, tmp_path / "new")
    assert list(tmp_path.iterdir()) == []


def test_a_run_that_stops_in_the_middle_leaves_the_earlier_result(
    written, scanned, small, monkeypatch
):
    before = {p.name: p.read_bytes() for p in written.iterdir()}

    def broken(*_):
        raise RuntimeError

    monkeypatch.setattr(room, "write_section", broken)
    with pytest.raises(RuntimeError):
        write_results(scanned, small, written)
    assert {p.name: p.read_bytes() for p in written.iterdir()} == before
    assert [p.name for p in written.parent.iterdir()] == [written.name]


def test_a_full_disk_is_told_in_one_line(tmp_path, scanned, small, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(room, "write_fields", full)
    with pytest.raises(FolderError, match="No space left") as caught:
        write_results(scanned, small, tmp_path / "new")
    assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_an_empty_folder_and_a_new_name_are_taken(tmp_path):
    check_folder(tmp_path)
    check_folder(tmp_path / "new")


def test_a_folder_with_other_files_is_refused(tmp_path):
    (tmp_path / "thesis.txt").write_text("mine")
    with pytest.raises(FolderError, match=r"thesis\.txt"):
        check_folder(tmp_path)


def test_an_earlier_result_with_notes_of_the_user_is_refused(tmp_path, scanned, small):
    folder = tmp_path / "result"
    write_results(scanned, small, folder)
    (folder / "notes.txt").write_text("mine")
    with pytest.raises(FolderError, match=r"notes\.txt"):
        write_results(scanned, small, folder)
    assert (folder / "notes.txt").read_text() == "mine"


@pytest.mark.parametrize("manifest", ["", "[]", "{}", '{"sha256": 1}', "\0"])
def test_a_foreign_manifest_claims_no_files(tmp_path, manifest):
    (tmp_path / "manifest.json").write_text(manifest)
    (tmp_path / "answer.json").write_text("{}")
    with pytest.raises(FolderError, match=r"answer\.json"):
        check_folder(tmp_path)


def test_a_file_and_a_place_that_does_not_exist_are_refused(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(FolderError, match="no folder"):
        check_folder(tmp_path / "file")
    with pytest.raises(FolderError, match="does not exist"):
        check_folder(tmp_path / "no" / "new")
