"""The check of an installation: what it tells, what is a fault, and that it sees wrong numbers."""

import json
import math
import subprocess
import sys
from importlib.metadata import PackageNotFoundError

import numpy as np
import pytest

import thermo
from thermo.answer import closed_forms
from thermo.answer.closed_forms import CLOSED_FORMS
from thermo.beam import BendingMagnet
from thermo.errors import SolveError
from thermo.show import selfcheck

FORMS = {form.what: form for form in CLOSED_FORMS}


@pytest.fixture
def no_child(monkeypatch):
    """Pictures of solids are not tried: seconds each time."""
    monkeypatch.setitem(selfcheck.LOOKS, "solid pictures", lambda: ("not tried", ""))


@pytest.fixture
def whole(monkeypatch, no_child):
    """An installation on which nothing is wrong, whatever this one is."""
    monkeypatch.setitem(selfcheck.LOOKS, f"import {selfcheck.NAME}", lambda: ("ours", ""))


def line(out, what):
    return next(x for x in out.splitlines() if x.startswith(f"  {what}"))


def test_a_whole_installation_ends_with_0_and_tells_versions_and_numbers():
    """As a process of its own: 5 s measured, 14 s where loops are compiled first."""
    program = "import sys; sys.argv = ['warmstack', 'selfcheck']\n"
    program += "from thermo.commands.main import run; run()"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=120, check=False
    )
    out = done.stdout
    assert (done.returncode, done.stderr) == (0, ""), out
    for name in ("python", "warmstack", "numpy", "scipy", "numba", "xraylib", "matplotlib"):
        assert any(c.isdigit() for c in line(out, name))
    for what in ("import thermo", "memory", "compiled loops", "pictures", "solid pictures"):
        assert line(out, what)
    assert out.count("  ok\n") == len(CLOSED_FORMS)
    assert "NOT OK" not in out
    assert max(map(len, out.splitlines())) <= 100


def test_json_holds_the_same(warmstack, whole):
    code, out, err = warmstack("selfcheck", "--json")
    data = json.loads(out)
    assert (code, err) == (0, "")
    assert all(one["ok"] for one in data["installed"] + data["numbers"])
    assert {n["what"] for n in data["numbers"]} == set(FORMS)
    assert all(n["source"] for n in data["numbers"])


def test_numbers_by_hand_are_those_of_their_sources():
    """The formulas once more with numbers put in; 1e-5: digits written here."""
    known = {
        "critical energy, 2.5 GeV, 1.2 T": 4.9875,
        "lit face of a wall of three layers, rise": 0.5 + 0.00337838 + 0.333333 + 1.25,
        "middle of a lit sheet with a cooled rim, rise": 5 + 10 / (4.472136 * 0.806884),
        "growth of a free plate of 50 mm, 1 K": 130.0,
        "stress of a clamped plate, 10 K": -130e3 * 2.6e-5 / 0.72,
    }
    for what, value in known.items():
        assert FORMS[what].expected == pytest.approx(value, rel=1e-5)


BROKEN = {  # closed form -> what is broken, by the share that is left
    "critical energy": (BendingMagnet, "critical_energy"),
    "power below": (BendingMagnet, "critical_energy"),
    "attenuation of PMMA": (closed_forms, "mass_attenuation"),
    "attenuation of gold": (closed_forms, "mass_attenuation"),
    "lit face": (closed_forms, "Fields"),
    "middle of a lit sheet": (closed_forms, "Fields"),
    "growth of a free plate": (closed_forms, "Solid"),
    "stress of a clamped plate": (closed_forms, "Solid"),
}
SHARES = {"power below": 1.01}  # of the energy at which a half lies below; others are seen sooner


@pytest.mark.parametrize("start", BROKEN)
def test_each_number_sees_a_broken_formula(monkeypatch, start):
    """One part in a thousand and a half; a hundredth where the spectrum is flat."""
    holder, name = BROKEN[start]
    share = SHARES.get(start, 1.0015)
    form = next(form for what, form in FORMS.items() if what.startswith(start))
    assert form.holds(form.found())
    right = getattr(holder, name)
    if holder is BendingMagnet:
        wrong = property(lambda magnet: share * right.fget(magnet))
    elif name == "Fields":

        def wrong(in_plane, across, capacity):
            return right(share * in_plane, share * across, capacity)

    elif name == "Solid":

        def wrong(*parts):
            *most, alpha, tension = parts
            return right(*most, share * alpha, tension)

    else:

        def wrong(*given):
            return share * right(*given)

    monkeypatch.setattr(holder, name, wrong)
    assert not form.holds(form.found())


def test_a_wrong_number_ends_with_4_and_says_to_trust_nothing(warmstack, whole, monkeypatch):
    right = closed_forms.mass_attenuation
    monkeypatch.setattr(closed_forms, "mass_attenuation", lambda *a: 1.01 * right(*a))
    code, out, err = warmstack("selfcheck")
    assert (code, err) == (4, "")
    assert out.count("NOT OK") == 2
    assert "NIST SRD 126" in out
    assert "trust no answer" in out
    assert warmstack("selfcheck", "--json")[0] == 4


@pytest.mark.parametrize("error", [SolveError("residual is off"), AttributeError("gone"), None])
def test_a_solve_that_fails_or_gives_nan_is_a_line_and_no_traceback(
    warmstack, whole, monkeypatch, error
):
    def fails(*_):
        if error is None:
            return np.array([math.nan])
        raise error

    monkeypatch.setattr(closed_forms, "mass_attenuation", fails)
    code, out, err = warmstack("selfcheck")
    assert (code, err) == (4, "")
    assert out.count("NOT OK") == 2
    assert error is None or str(error) in out
    code, out, _ = warmstack("selfcheck", "--json")
    numbers = json.loads(out, parse_constant=pytest.fail)["numbers"]
    assert [n["ok"] for n in numbers].count(False) == 2


def test_a_missing_package_is_a_wrong_installation_and_a_missing_extra_is_none(
    warmstack, whole, monkeypatch
):
    right = selfcheck.installed

    def without(*names):
        def find(name):
            if name in names:
                raise PackageNotFoundError(name)
            return right(name)

        return find

    monkeypatch.setattr(selfcheck, "installed", without("pyvista"))
    code, out, _ = warmstack("selfcheck")
    assert code == 0
    assert "not installed" in line(out, "pyvista")
    monkeypatch.setattr(selfcheck, "installed", without("scipy"))
    code, out, _ = warmstack("selfcheck")
    assert code == 2
    assert "NOT OK: " in line(out, "scipy")
    assert "environment of its own" in out


def test_numbers_that_cannot_be_loaded_are_a_wrong_installation(warmstack, whole, monkeypatch):
    monkeypatch.setitem(sys.modules, "thermo.answer.closed_forms", None)
    code, out, err = warmstack("selfcheck")
    assert (code, err) == (2, "")
    assert "NOT OK: " in line(out, "numbers")


def other(place, name, record="", top=""):
    """An installed distribution of another name, as pip leaves it."""
    folder = place / f"{name}-1.0.dist-info"
    folder.mkdir()
    (folder / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n")
    (folder / "RECORD").write_text(record)
    if top:
        (folder / "top_level.txt").write_text(top)


@pytest.mark.parametrize(
    ("record", "top"),
    [
        ("thermo/__init__.py,,\nthermo/chemical.py,,\n", ""),
        ("thermo.py,,\n", ""),
        ("elsewhere.py,,\n", "elsewhere\nthermo\n"),
    ],
)
def test_another_distribution_with_the_same_import_name_is_told(
    warmstack, no_child, monkeypatch, tmp_path, record, top
):
    other(tmp_path, "Heat-Tables", record, top)
    monkeypatch.syspath_prepend(tmp_path)
    code, out, err = warmstack("selfcheck")
    assert (code, err) == (2, "")
    assert "Heat-Tables puts a package 'thermo' here too" in line(out, "import thermo")
    assert "environment of its own" in out


def test_a_distribution_with_a_like_name_or_a_broken_one_is_no_fault(
    warmstack, no_child, monkeypatch, tmp_path
):
    other(tmp_path, "thermostat", "thermostat/__init__.py,,\nthermo-1.0.dist-info/METADATA,,\n")
    other(tmp_path, "Warmstack", "thermo/__init__.py,,\n")  # an older one of ours
    (tmp_path / "broken-1.0.dist-info").mkdir()
    ours = selfcheck.distribution(selfcheck.OURS)
    monkeypatch.setattr(selfcheck, "distribution", lambda _: ours)
    monkeypatch.syspath_prepend(tmp_path)
    code, out, _ = warmstack("selfcheck")
    assert code == 0
    assert "of warmstack" in line(out, "import thermo")


def test_a_package_from_another_folder_is_told(warmstack, no_child, monkeypatch, tmp_path):
    monkeypatch.setattr(thermo, "__file__", str(tmp_path / "thermo" / "__init__.py"))
    code, out, _ = warmstack("selfcheck")
    assert code == 2
    assert "is not of warmstack" in " ".join(out.split())
    assert "PYTHONPATH" in out


@pytest.mark.parametrize(
    "origin", ["", "{}", '{"url": "file:///elsewhere", "dir_info": {"editable": false}}']
)
def test_an_origin_that_is_no_editable_one_gives_the_installed_place_alone(tmp_path, origin):
    class Ours:
        def locate_file(self, name):
            return tmp_path / name

        def read_text(self, name):
            assert name == "direct_url.json"
            return origin or None

    assert selfcheck._homes(Ours()) == {tmp_path.resolve() / "thermo"}


class Loop:
    def __init__(self, **parts):
        self.__dict__.update(parts)


@pytest.mark.parametrize(
    ("loop", "words"),
    [
        (Loop(stats=Loop(cache_path="/some/where")), "kept in /some/where"),
        (Loop(stats=Loop(cache_path=None)), "set NUMBA_CACHE_DIR"),
        (Loop(), "NUMBA_DISABLE_JIT"),
    ],
)
def test_where_compiled_loops_are_kept_is_told_and_no_fault(monkeypatch, loop, words):
    monkeypatch.setattr("thermo.solve.loops.times", loop)
    found, way_out = selfcheck._loops()
    assert words in found
    assert not way_out


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ("pass", "drawn off screen by pyvista"),
        ("raise SystemExit(3)", "(exit 3): matplotlib stands in"),
        ("import os; os.abort()", "(exit -6): matplotlib stands in"),
        ("import time; time.sleep(60)", "within 0.5 s: matplotlib stands in"),
        ("import no_such_package_at_all", "(exit 1): matplotlib stands in"),
    ],
)
def test_a_graphics_library_that_fails_ends_or_hangs_is_stood_in_for(monkeypatch, script, words):
    monkeypatch.setattr(selfcheck, "installed", lambda name: "1.0")
    monkeypatch.setattr(selfcheck, "SOLID", script)
    monkeypatch.setattr(selfcheck, "PATIENCE", 0.5 if "sleep" in script else 20.0)
    found, way_out = selfcheck._solid_pictures()
    assert words in found
    assert not way_out


def test_a_picture_that_cannot_be_drawn_is_a_wrong_installation(warmstack, whole, monkeypatch):
    def fails(*_, **__):
        raise RuntimeError("no font\x1b[2J")

    monkeypatch.setattr("matplotlib.figure.Figure.savefig", fails)
    code, out, err = warmstack("selfcheck")
    assert (code, err) == (2, "")
    assert "NOT OK: " in line(out, "pictures")
    assert "no font?[2J" in out
