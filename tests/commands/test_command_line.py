"""The command line: what each command prints and writes, and its exit codes."""

import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from time import perf_counter

import pytest

from thermo.answer import Answer
from thermo.errors import SolveError
from thermo.show.stack_picture import DRAWN

HEAVY = ("numpy", "scipy", "numba", "matplotlib", "pyamg", "xraylib", "meshio", "pydantic")


@pytest.fixture
def answered(monkeypatch, scanned):
    """The estimate command with the small plate's answer, solved once."""
    asked = []

    def run(case, refine, still, tell, photons, check_cycle):
        asked.append((case, refine, still, photons, check_cycle))
        return scanned

    def drawn(folder):  # the real one takes seconds
        (folder / "stack.png").write_bytes(b"")
        return DRAWN

    monkeypatch.setattr("thermo.decide.run", run)
    monkeypatch.setattr("thermo.show.folder.draw_stack", drawn)
    return asked


def test_estimate_prints_the_answer_and_writes_its_folder(warmstack, small_path, tmp_path):
    code, out, err = warmstack("estimate", small_path)
    assert code == 0
    assert "Verdict" in out
    assert "small.results" in err
    data = (tmp_path / "small.results" / "answer.json").read_text()
    assert Answer.model_validate_json(data).case.title == "Small invented plate"
    assert [p.name for p in tmp_path.iterdir()] == ["small.results"]


def test_estimate_passes_its_options_on(warmstack, answered, small_path, tmp_path):
    code, _, _ = warmstack(
        "estimate",
        small_path,
        "-o",
        "other",
        "--still",
        "--refine",
        2,
        "--photons",
        5000,
        "--check-cycle",
        "--set",
        "gap.width=99 um",
    )
    case, *asked = answered[0]
    assert (code, asked) == (0, [2, True, 5000, True])
    assert case.gap.width.value == pytest.approx(99e-6)
    assert (tmp_path / "other" / "answer.json").is_file()


def test_without_options_nothing_is_refined_held_followed_or_marched(
    warmstack, answered, small_path
):
    assert warmstack("estimate", small_path)[0] == 0
    assert answered[0][1:] == (0, False, 0, False)


def test_json_on_stdout_is_the_answer_and_nothing_else(warmstack, answered, small_path, scanned):
    code, out, _ = warmstack("estimate", small_path, "--json")
    assert code == 0
    assert Answer.model_validate_json(out) == scanned.answer


def test_strict_ends_with_5_where_a_limit_is_not_met_and_0_where_all_are(
    warmstack, answered, small_path, monkeypatch, scanned
):
    assert warmstack("estimate", small_path, "--strict")[0] == 0
    open_line = scanned.answer.limits[0].model_copy(update={"met": None})
    limits = (open_line, *scanned.answer.limits[1:])
    broken = replace(scanned, answer=scanned.answer.model_copy(update={"limits": limits}))
    monkeypatch.setattr("thermo.decide.run", lambda *_: broken)
    assert warmstack("estimate", small_path, "--strict")[0] == 5
    assert warmstack("estimate", small_path)[0] == 0


@pytest.mark.parametrize("command", ["check", "dose"])
def test_json_of_the_other_commands_parses(warmstack, small_path, tmp_path, command):
    code, out, err = warmstack(command, small_path, "--json")
    assert (code, err) == (0, "")
    assert json.loads(out)
    assert list(tmp_path.iterdir()) == []


def test_dose_prints_time_charge_and_dose_against_depth(warmstack, small_path):
    code, out, _ = warmstack("dose", small_path)
    assert code == 0
    assert all(word in out for word in ("Plan", "passes", "mA min per cm", "stroke", "depth um"))


def test_dose_of_a_short_stroke_says_so(warmstack, small_path):
    assert "TOO SHORT" in warmstack("dose", small_path, "--set", "scan.stroke=13 mm")[1]
    assert "TOO SHORT" not in warmstack("dose", small_path)[1]


def test_materials_lists_all_or_one(warmstack):
    assert "PMMA" in warmstack("materials")[1]
    assert json.loads(warmstack("materials", "Be", "--json")[1]).keys() == {"beryllium"}


def test_an_unknown_material_gives_a_hint(warmstack):
    code, out, err = warmstack("materials", "goldd")
    assert (code, out) == (3, "")
    assert "did you mean 'gold'" in err


def test_new_writes_a_case_that_checks_and_never_overwrites(warmstack, tmp_path):
    assert warmstack("new", "plate")[0] == 0
    assert warmstack("check", "plate.toml")[0] == 0
    before = (tmp_path / "plate.toml").read_bytes()
    for name in ("plate", "plate.toml"):
        code, out, err = warmstack("new", name)
        assert (code, out) == (2, "")
        assert "exists" in err
    assert (tmp_path / "plate.toml").read_bytes() == before


@pytest.mark.parametrize("name", ["", ".", "..", "no/such/place", "x/"])
def test_new_where_nothing_can_be_written_ends_in_one_line_or_a_file(warmstack, tmp_path, name):
    code, _, err = warmstack("new", name)
    assert "Traceback" not in err
    assert code in (0, 2)
    assert all(p.suffix == ".toml" for p in tmp_path.iterdir())


@pytest.mark.parametrize(
    "arguments",
    [
        ("bogus",),
        ("estimate",),
        ("estimate", "a.toml", "b.toml"),
        ("check", "a.toml", "--bogus"),
        ("estimate", "a.toml", "--refine", "x"),
        ("estimate", "a.toml", "--refine", "-1"),
        ("estimate", "a.toml", "--refine", "4"),
        ("estimate", "a.toml", "-o"),
    ],
)
def test_wrong_usage_ends_with_2(warmstack, tmp_path, arguments):
    code, out, err = warmstack(*arguments)
    assert (code, out) == (2, "")
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("place", ["no/such/folder", "file", "full"])
def test_results_that_cannot_go_where_they_are_told_are_refused_before_the_solve(
    warmstack, answered, small_path, tmp_path, place
):
    (tmp_path / "file").write_text("mine")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "thesis.txt").write_text("mine")
    code, out, err = warmstack("estimate", small_path, "-o", place)
    assert (code, out, answered) == (2, "", [])
    assert len(err.splitlines()) == 1
    assert (tmp_path / "full" / "thesis.txt").read_text() == "mine"


def test_a_failed_solve_ends_with_4_and_writes_nothing(
    warmstack, small_path, tmp_path, monkeypatch
):
    def fails(*_):
        raise SolveError("heat balance is off")

    monkeypatch.setattr("thermo.decide.run", fails)
    code, out, err = warmstack("estimate", small_path)
    assert (code, out, err) == (4, "", "heat balance is off\n")
    assert list(tmp_path.iterdir()) == []


def test_stopping_by_hand_ends_with_130_and_writes_nothing(
    warmstack, small_path, tmp_path, monkeypatch
):
    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("thermo.decide.run", stopped)
    code, out, err = warmstack("estimate", small_path)
    assert (code, out) == (130, "")
    assert err == "stopped; nothing was written\n"
    assert list(tmp_path.iterdir()) == []


# ---- as a process of its own ----

PROGRAM = [sys.executable, "-c", "from thermo.commands.main import run; run()"]


def process(*arguments, **environment):
    return subprocess.run(
        [*PROGRAM, *map(str, arguments)],
        capture_output=True,
        env=os.environ | environment,
        check=False,
    )


def test_help_comes_at_once_and_loads_nothing_heavy():
    start = perf_counter()
    done = process("--help")
    assert done.returncode == 0
    assert perf_counter() - start < 1.5  # 0.3 s on an idle core
    code = (
        "import sys; sys.argv = ['warmstack', '--help']\n"
        "from thermo.commands.main import run\n"
        "try: run()\n"
        "except SystemExit: pass\n"
        f"print([m for m in {HEAVY} if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.splitlines()[-1] == "[]"


def test_version_is_printed():
    assert process("--version").stdout.split() == [b"warmstack", version("warmstack").encode()]


def test_a_title_the_terminal_cannot_show_is_printed_as_well_as_it_goes(small, tmp_path):
    path = tmp_path / "case.toml"
    path.write_text(small.text.replace("Small", "Größe 微"), encoding="utf-8")
    done = process("dose", path, PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert b"Gr??e ? invented plate" in done.stdout


def test_a_fault_has_no_traceback_and_a_reader_that_leaves_no_noise(tmp_path):
    done = process("check", tmp_path / "missing.toml")
    assert done.returncode == 3
    assert b"Traceback" not in done.stderr
    read, write = os.pipe()
    os.close(read)
    left = subprocess.run(
        [*PROGRAM, "materials"], stdout=write, stderr=subprocess.PIPE, check=False
    )
    os.close(write)
    assert b"Traceback" not in left.stderr


def test_the_command_is_installed():
    assert shutil.which("warmstack", path=Path(sys.executable).parent)


def test_quiet_prints_the_verdict_alone(warmstack, answered, small_path):
    code, out, err = warmstack("estimate", small_path, "-q")
    assert (code, err) == (0, "")
    assert out.count("\n") == 1
    assert out.startswith(("GO", "CHANGE", "NO", "CANNOT TELL"))
    assert len(answered) == 1


WORKING = """
import os, signal, sys, threading, time
from thermo.commands.main import run
from thermo.solve import at_once
from thermo.show import selfcheck

def work():
    threading.Timer(0.5, os.kill, (os.getpid(), signal.SIGINT)).start()
    return at_once(time.sleep, [30.0, 30.0])

signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background ignores it
selfcheck.self_check = work
sys.argv = ["warmstack", "selfcheck"]
run()
"""


def test_an_interrupt_ends_the_process_though_solves_are_under_way():
    """Two of 30 s: it must not wait for them."""
    found = subprocess.run(
        [sys.executable, "-c", WORKING], capture_output=True, text=True, timeout=25, check=False
    )
    assert found.returncode == 130
    assert found.stderr.endswith("stopped; nothing was written\n")
