"""Plan meshes in files: what comes back, and what is refused with one line."""

import hashlib
import importlib.util
import re
from contextlib import suppress
from pathlib import Path

import meshio
import numpy as np
import pytest

from thermo.case.plan_file import read_plan_file
from thermo.errors import CaseError, PhysicsError
from thermo.mesh import (
    cells_at,
    corner_angles,
    interpolation,
    read_plan,
    rectangle_plan,
    write_plan,
)

FOLDER = Path(__file__).parents[2] / "meshes"
PLAN = rectangle_plan(np.array([0.0, 0.01, 0.02, 0.03]), np.array([0.0, 0.01, 0.02, 0.03]))


def saved(folder, points, cells, **how):
    path = folder / "plan.vtu"
    meshio.Mesh(points, cells).write(path, file_format="vtu", **({"compression": None} | how))
    return path


def xyz(plan=PLAN):
    return np.vstack([plan.points, np.zeros(plan.points.shape[1])]).T


def refused(path):
    with pytest.raises(CaseError) as caught:
        read_plan(read_plan_file(path))
    (fault,) = caught.value.faults
    assert fault.file == str(path)
    assert fault.key == "mesh.plan"
    assert str(fault).isprintable()
    assert "Error" not in str(fault)
    return fault.text


def test_a_plan_comes_back_as_written_to_a_nanometre(tmp_path):
    path = tmp_path / "plan.vtu"
    write_plan(path, PLAN)
    file = read_plan_file(path)
    found = read_plan(file)
    assert found.points == pytest.approx(PLAN.points, abs=0.6e-9)
    assert found.quads.tolist() == PLAN.quads.tolist()
    assert file.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("binary", [True, False])
def test_lines_points_one_height_and_loose_nodes_do_no_harm(tmp_path, binary):
    """Mesh programs write them beside the quads."""
    points = np.vstack([xyz() + np.array([0, 0, 0.1]), [[9e-3, 9e-3, 0.1]]])
    cells = [("vertex", [[0]]), ("line", [[0, 1], [1, 2]]), ("quad", PLAN.quads.T)]
    found = read_plan(read_plan_file(saved(tmp_path, points, cells, binary=binary)))
    assert found.points == pytest.approx(PLAN.points)
    assert found.areas == pytest.approx(PLAN.areas)


def test_a_file_in_single_precision_reaches_the_edges_it_is_meant_to(tmp_path):
    """36 mm becomes 1.5 nm less: a place on the edge lies in it all the same."""
    points = np.array(1.2 * xyz(), np.float32)
    found = read_plan(read_plan_file(saved(tmp_path, points, [("quad", PLAN.quads.T)])))
    assert found.points.max() < 0.036 - 1e-9
    weights = interpolation(found, np.array([[0.036, 0.02], [0.036, 0.036]])).toarray()
    assert weights @ found.points[0] == pytest.approx([0.036, 0.02], abs=1e-8)
    with pytest.raises(PhysicsError, match="outside the plan"):
        cells_at(found, np.array([[0.036 + 1e-6], [0.0]]))


def moved(node, place):
    points = xyz()
    points[node] = place
    return points


QUADS = PLAN.quads.T
BAD = {
    "triangles": (
        xyz(),
        [("quad", QUADS), ("triangle", [[0, 1, 4]])],
        r"kind 'triangle' \(1 of them\); allowed: quads alone",
    ),
    "bricks": (
        xyz(),
        [("tetra", [[0, 1, 4, 5]])],
        r"kind 'tetra' \(1 of them\); allowed: quads alone",
    ),
    "nothing": (xyz(), [("line", [[0, 1]])], "has 0 quads; allowed: 1 to"),
    "clockwise": (xyz(), [("quad", QUADS[:, ::-1])], "turned over.*counter-clockwise"),
    "one turned over": (xyz(), [("quad", [*QUADS[:3], QUADS[3][::-1]])], "cell 3 is turned over"),
    "folded": (moved(5, (0.019, 0.019, 0)), [("quad", QUADS)], "folded.*below 175"),
    "nan": (moved(5, (np.nan, 0, 0)), [("quad", QUADS)], "coordinate of nan m"),
    "infinite": (moved(5, (np.inf, 0, 0)), [("quad", QUADS)], "coordinate of inf m"),
    "millimetres": (1e3 * xyz(), [("quad", QUADS)], "30 m; allowed: -10 .. 10 m.*in metres"),
    "not flat": (moved(5, (0.01, 0.01, 1e-3)), [("quad", QUADS)], "z differs by 1 mm"),
    "a hole": (xyz(), [("quad", np.delete(QUADS, 4, 0))], "hole.*near x = (10|20), y = (10|20)"),
    "two pieces": (xyz(), [("quad", QUADS[[0, 8]])], "gap"),
    "a corner only": (xyz(), [("quad", QUADS[[0, 4]])], "gap"),
    "one cell twice": (xyz(), [("quad", [*QUADS, QUADS[4]])], "overlap"),
    "doubled nodes": (
        np.vstack([xyz(), xyz()[[5]]]),
        [("quad", [[0, 1, 16, 4], *QUADS[1:]])],
        "join doubled nodes",
    ),
    "node that is not there": (xyz(), [("quad", [[0, 1, 99, 4]])], "nodes it does not hold"),
}


@pytest.mark.parametrize("kind", BAD)
def test_a_bad_plan_is_refused_with_what_is_wrong(tmp_path, kind):
    points, cells, words = BAD[kind]
    text = refused(saved(tmp_path, points, cells))
    assert re.search(words, text)
    assert "allowed: " in text


def test_a_hanging_node_is_found(tmp_path):
    """Two small cells beside a large one: their middle node hangs on its side."""
    points = np.array([[0, 0], [2, 0], [2, 2], [0, 2], [3, 0], [3, 1], [2, 1], [3, 2]]) * 1e-2
    quads = [[0, 1, 2, 3], [1, 4, 5, 6], [6, 5, 7, 2]]
    text = refused(saved(tmp_path, np.column_stack([points, np.zeros(8)]), [("quad", quads)]))
    assert "hanging node" in text


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is no .vtu file"),
        (b"x,y\n0,1\n", "is no .vtu file"),
        (
            b'<?xml version="1.0"?><VTKFile type="UnstructuredGrid"><Uns',
            "is damaged or cut short; allowed",
        ),
        (
            b'<VTKFile type="UnstructuredGrid" version="0.1"></VTKFile>',
            "cannot be read, it is damaged",
        ),
        (b'<VTKFile type="PolyData" version="0.1"></VTKFile>', "cannot be read, it is damaged"),
        (b'<!DOCTYPE a [<!ENTITY b "c">]><VTKFile></VTKFile>', "XML entities"),
        (b'<VTKFile type="U" compressor="vtkZLibDataCompressor"></VTKFile>', "is compressed"),
    ],
)
def test_what_is_no_plain_vtu_file_is_refused(tmp_path, content, words):
    path = tmp_path / "plan.vtu"
    path.write_bytes(content)
    assert words in refused(path)


def test_damaged_files_are_refused_or_read_but_never_break(tmp_path):
    """Bytes changed at random places of a good file."""
    path = tmp_path / "plan.vtu"
    write_plan(path, PLAN)
    good = path.read_bytes()
    random = np.random.default_rng(8)
    for _ in range(60):
        bad = bytearray(good)
        for place in random.integers(0, len(bad), 3):
            bad[place] = random.integers(32, 127)
        path.write_bytes(bytes(bad))
        with suppress(CaseError):
            assert (read_plan(read_plan_file(path)).areas > 0).all()


def test_too_large_and_missing_files_are_refused(tmp_path, monkeypatch):
    assert "no such file; check the name" in refused(tmp_path / "none.vtu")
    path = tmp_path / "plan.vtu"
    path.write_bytes(b" " * 16_000_001)
    assert "larger than 16 MB" in refused(path)
    monkeypatch.setattr("thermo.mesh.plan_files.MOST_CELLS", 8)
    write_plan(path, PLAN)
    assert "has 9 quads; allowed: 1 to 8" in refused(path)


def script():
    spec = importlib.util.spec_from_file_location("make_meshes", FOLDER / "make.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_shipped_plans_are_made_by_their_command_byte_for_byte(tmp_path):
    """Rerun twice: equal bytes; as shipped to 2 nm, what libraries may round differently."""
    first, second = tmp_path / "first", tmp_path / "second"
    for folder in (first, second):
        folder.mkdir()
        script().main(folder)
    names = {path.name for path in FOLDER.glob("*.vtu")}
    assert names == {path.name for path in first.iterdir()} == {"wafer-rings.vtu", "wafer-free.vtu"}
    for name in names:
        assert (first / name).read_bytes() == (second / name).read_bytes()
        made, shipped = (read_plan(read_plan_file(f / name)) for f in (first, FOLDER))
        assert made.points == pytest.approx(shipped.points, abs=2e-9)
        assert made.quads.tolist() == shipped.quads.tolist()


@pytest.mark.parametrize("name", ["wafer-rings", "wafer-free"])
def test_the_shipped_plans_are_small_well_shaped_and_follow_circles_and_field(name):
    """0.3 %: chords of the coarsest circle; angles as measured, far from 0 and 180."""
    plan = read_plan(read_plan_file(FOLDER / f"{name}.vtu"))
    assert 1000 < plan.quads.shape[1] < 3000
    assert corner_angles(plan).min() > 25
    assert corner_angles(plan).max() < 150
    for diameter in (0.070, 0.090, 0.100, 0.110):
        inside = plan.areas[np.hypot(*plan.centres) < diameter / 2].sum()
        assert inside == pytest.approx(np.pi * diameter**2 / 4, rel=3e-3)
    x, y = plan.centres
    assert plan.areas[np.maximum(np.abs(x), np.abs(y)) < 0.022].sum() == pytest.approx(0.044**2)
    quarter = (x > 0) & (y > 0) & (x < 0.022) & (y < 0.022)
    assert plan.areas[quarter].sum() == pytest.approx(0.022**2)
