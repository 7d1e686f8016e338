"""`warmstack view`: a window where there is a screen, else one line with the way out."""

import sys

import pytest

from thermo.commands import view
from thermo.show import stack_picture
from thermo.show.fields import write_fields

CRASH = (sys.executable, "-c", "import os, signal; os.kill(os.getpid(), signal.SIGABRT)")


@pytest.fixture(scope="module")
def folder(tmp_path_factory, scanned):
    folder = tmp_path_factory.mktemp("viewed")
    (folder / "answer.json").write_text(scanned.answer.to_json(), encoding="utf-8")
    write_fields(scanned, folder)
    return folder


@pytest.fixture
def screen(monkeypatch):
    monkeypatch.setenv("DISPLAY", ":0")


@pytest.fixture
def no_screen(monkeypatch):
    monkeypatch.setattr(sys, "platform", "linux")
    for name in view.SCREENS:
        monkeypatch.delenv(name, raising=False)


def one_line(err):
    assert err.count("\n") == 1
    assert "Traceback" not in err
    assert "any VTK viewer" in err
    assert "stack.png" in err
    return err


@pytest.mark.usefixtures("no_screen")
def test_without_a_screen_one_line_names_the_pictures_and_the_files(warmstack, folder):
    code, out, err = warmstack("view", folder)
    assert (code, out) == (2, "")
    assert "no screen here (DISPLAY and WAYLAND_DISPLAY are not set)" in one_line(err)
    assert str(folder / "temperature.vtu") in err


@pytest.mark.usefixtures("screen")
def test_the_window_is_a_process_of_its_own_that_is_waited_for(
    warmstack, folder, monkeypatch, tmp_path
):
    note = f"import sys; open({str(tmp_path / 'asked')!r}, 'w').write(sys.argv[1])"
    monkeypatch.setattr(stack_picture, "DRAWER", (sys.executable, "-c", note))
    assert warmstack("view", folder) == (0, "", "")
    assert (tmp_path / "asked").read_text() == str(folder.resolve())


@pytest.mark.usefixtures("screen")
def test_without_the_library_one_line_names_the_way_out(warmstack, folder, monkeypatch, tmp_path):
    hidden = tmp_path / "hidden"
    hidden.mkdir()
    (hidden / "pyvista.py").write_text("raise ModuleNotFoundError(\"No module named 'pyvista'\")\n")
    monkeypatch.setenv("PYTHONPATH", str(hidden))
    code, out, err = warmstack("view", folder)
    assert (code, out) == (2, "")
    assert "no window could be opened: No module named 'pyvista'" in one_line(err)


@pytest.mark.usefixtures("screen")
def test_a_crash_of_the_window_is_one_line(warmstack, folder, monkeypatch):
    monkeypatch.setattr(stack_picture, "DRAWER", CRASH)
    code, _, err = warmstack("view", folder)
    assert code == 2
    assert "crashed, signal 6" in one_line(err)


def test_a_screen_that_is_named_but_not_there_is_one_line(warmstack, folder, monkeypatch):
    pytest.importorskip("pyvista")
    monkeypatch.setenv("DISPLAY", ":4711")
    code, _, err = warmstack("view", folder)
    assert code == 2
    assert "no window could be opened" in one_line(err)


def test_a_folder_that_is_no_result_is_refused(warmstack, tmp_path):
    (tmp_path / "empty").mkdir()
    for name in ("empty", "nowhere"):
        code, out, err = warmstack("view", name)
        assert (code, out) == (2, "")
        assert "is no result folder, answer.json is missing" in err
        assert err.count("\n") == 1
