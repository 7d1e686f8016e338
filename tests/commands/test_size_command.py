"""`warmstack size` used wrongly: one clear line, exit 2 or 3, nothing solved, nothing written."""

import pytest

from thermo.answer.coarse_runs import CoarseRuns
from thermo.decide.trial import Trials

SETTING, CASE = 2, 3  # exit codes: wrong usage, wrong case


@pytest.fixture
def unsolved(monkeypatch, warmstack, tmp_path):
    """Run `warmstack size`, which must not solve anything nor leave anything behind."""

    def refuse(self, *_):
        pytest.fail("a case was solved")

    monkeypatch.setattr(CoarseRuns, "__init__", refuse)

    def call(*arguments):
        before = sorted(tmp_path.rglob("*"))
        code, out, err = warmstack("size", *arguments)
        assert out == ""
        assert "Traceback" not in err
        assert sorted(tmp_path.rglob("*")) == before
        return code, err

    return call


def told_in_a_line(err):
    return len(err.splitlines()) == 1 and len(err.strip()) > 0


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("--for", "nonsense"), SETTING, ("nonsense", "allowed: speed")),
        (("--for", ""), SETTING, ("allowed: speed",)),
        (("--for", "sample.held"), SETTING, ("sample.held", "no setting with a number")),
        (("--for", "filter:"), SETTING, ("names no material",)),
        (("--for", "filter:unobtainium"), CASE, ("unknown material 'unobtainium'",)),
        (("--for", "filter:helium"), CASE, ("is a gas", "choose another")),
        (
            ("--for", "speed", "--from", "50 mm/s", "--to", "10 mm/s"),
            SETTING,
            ("--from 50 mm/s", "--to 10 mm/s", "turn them round"),
        ),
        (("--for", "speed", "--from", "fast"), SETTING, ("--from", "'fast'")),
        (("--for", "speed", "--to", "20 mbar"), SETTING, ("--to", "unknown unit 'mbar'")),
        (("--for", "speed", "--from", "0 mm/s"), SETTING, ("above 0",)),
        (
            ("--for", "speed", "--from", "2 m/s", "--to", "3 m/s"),
            SETTING,
            ("outside the allowed", "1 m/s"),
        ),
        (("--from", "10 mm/s"), SETTING, ("--from", "--for")),
        (
            ("--for", "speed", "--among", "10 mm/s, 20 mm/s", "--to", "1 m/s"),
            SETTING,
            ("--to", "--for alone"),
        ),
        (("--for", "speed", "--among", "10 mm/s"), SETTING, ("1 choices", "allowed: 2")),
        (("--for", "speed", "--among", ""), SETTING, ("0 choices",)),
        (("--for", "speed", "--among", "10 mm/s, 10 mm/s"), SETTING, ("twice",)),
        (("--for", "speed", "--among", "10 mm/s, fast"), SETTING, ("--among", "'fast'")),
        (
            ("--for", "speed", "--among", "10 mm/s, 20 mm/s, 9 m/s"),
            CASE,
            ("--among 9 m/s", "1 m/s"),
        ),
        (("--among", "scan.speed, gap.width"), SETTING, ("no KEY=VALUE",)),
        (("--among", "scan.speed=10 mm/s, scan.sped=20 mm/s"), CASE, ("scan.sped",)),
        (("--for", "membrane", "--among", "titanium, graphite"), SETTING, ("no membrane",)),
        (
            ("--for", "filter:beryllium", "--among", ",".join(f"{n} um" for n in range(1, 26))),
            SETTING,
            ("25 choices", "24"),
        ),
        (("--map", "speed", "nonsense"), SETTING, ("nonsense", "allowed: speed")),
        (("--map", "speed", "filter:unobtainium"), CASE, ("unknown material",)),
        (("--map", "speed", "gap", "--for", "speed"), SETTING, ("--map", "leave out --for")),
        (("--map", "speed", "gap", "--among", "a,b"), SETTING, ("--map", "--among")),
        (("--for", "speed", "-o", "there"), SETTING, ("-o", "--map")),
        (("-o", "there"), SETTING, ("-o", "--map")),
        (("--map", "speed", "gap", "-o", "no/such/place"), SETTING, ("does not exist",)),
        (("--for", "speed", "--set", "scan.speed"), SETTING, ("--set", "KEY=VALUE")),
        (("--for", "speed", "--set", "scan.speed=-1 mm/s"), CASE, ("scan.speed",)),
    ],
)
def test_wrong_usage_ends_in_one_clear_line(unsolved, small_path, arguments, code, words):
    found, err = unsolved(small_path, *arguments)
    assert found == code
    assert told_in_a_line(err)
    assert all(word in err for word in words), err


@pytest.mark.parametrize(
    "arguments", [("--for", "speed"), ("--map", "speed", "gap"), ()], ids=["for", "map", "none"]
)
def test_a_case_without_limits_is_asked_for_one(unsolved, small_path, tmp_path, arguments):
    text = small_path.read_text(encoding="utf-8")
    path = tmp_path / "free.toml"
    path.write_text(text[: text.index("[limits]")], encoding="utf-8")
    code, err = unsolved(path, *arguments)
    assert code == SETTING
    assert told_in_a_line(err)
    assert "give one under [limits]" in err


@pytest.mark.parametrize("other", ["speed", "scan.speed"])
def test_a_setting_against_itself_is_no_chart(unsolved, small_path, monkeypatch, other):
    """The trials are a stand-in without any solve."""
    monkeypatch.setattr(Trials, "__init__", lambda self, case, still: setattr(self, "case", case))
    code, err = unsolved(small_path, "--map", "speed", other)
    assert code == SETTING
    assert told_in_a_line(err.split("\r")[-1])
    assert "scan.speed against itself; name two settings" in err


def test_a_case_that_is_no_file_is_named(unsolved, tmp_path):
    code, err = unsolved(tmp_path / "none.toml", "--for", "speed")
    assert code in (SETTING, CASE)
    assert "none.toml" in err


def test_a_chart_never_goes_into_a_folder_with_other_things(unsolved, small_path, tmp_path):
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "notes.txt").write_text("mine", encoding="utf-8")
    code, err = unsolved(small_path, "--map", "speed", "gap", "-o", "there")
    assert code == SETTING
    assert told_in_a_line(err)
    assert "holds other files, as notes.txt" in err
