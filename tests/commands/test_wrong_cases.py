"""Wrong case files of many kinds: every fault one line with its place, exit code 3, no trace."""

import re

import pytest

FAULT = re.compile(r"^[^\n]+?(:\d+)?: .+; .+$")  # what, allowed; the way out


def swap(old, new):
    return lambda text: text.replace(old, new, 1)


WRONG = {  # change of the small case, place and key of the fault
    "misspelt key": (swap("stroke =", "strok ="), "scan"),
    "no unit": (swap('"26 mm"', '"26"'), "scan.stroke"),
    "bare number": (swap('"26 mm"', "26"), "scan.stroke"),
    "decimal comma": (swap('"1.9 GeV"', '"1,9 GeV"'), "ring.energy"),
    "wrong kind": (swap('"26 mm"', '"26 s"'), "scan.stroke"),
    "outside its span": (swap('"100 mbar"', '"100 bar"'), "chamber.pressure"),
    "unknown material": (swap('"PMMA"', '"PNMA"'), "sample.layers.1.material"),
    "missing table": (swap('[gap]\nwidth = "100 um"\n', ""), "gap"),
    "no choice": (swap('held = "free"', 'held = "stuck"'), "sample.held"),
    "does not fit": (swap('width = "12 mm"', 'width = "50 mm"'), "mask.absorber.width"),
    "range upside down": (swap("(1e-4 .. 2e-3)", "(2e-3 .. 1e-4)"), "sample.joint.resistance"),
    "coverage above one": (swap('coverage = "0.5"', 'coverage = "1.5"'), "mask.absorber.coverage"),
    "broken TOML": (swap("[ring]", "[ring"), ""),
    "key twice": (swap('speed = "20 mm/s"', 'speed = "20 mm/s"\nspeed = "9 mm/s"'), ""),
    "too fast for its stroke": (swap('"20 mm/s"', '"900 mm/s"'), "scan.stroke"),
}


@pytest.mark.parametrize("command", ["check", "estimate"])
@pytest.mark.parametrize("kind", WRONG)
def test_a_wrong_case_ends_in_one_line_per_fault_and_writes_nothing(
    warmstack, small, tmp_path, kind, command
):
    change, key = WRONG[kind]
    path = tmp_path / "wrong.toml"
    text = change(small.text)
    assert text != small.text
    path.write_text(text, encoding="utf-8")
    code, out, err = warmstack(command, path.name)
    lines = err.splitlines()
    assert code == 3
    assert out == ""
    assert lines
    assert all(FAULT.match(line) and line.startswith("wrong.toml:") for line in lines)
    assert any(re.match(rf"wrong\.toml:\d+: {re.escape(key)}", line) for line in lines)
    assert [p.name for p in tmp_path.iterdir()] == ["wrong.toml"]


def test_every_fault_of_a_file_is_listed_at_once(warmstack, small, tmp_path):
    text = small.text.replace('"26 mm"', '"26"').replace('"PMMA"', '"PNMA"')
    (tmp_path / "wrong.toml").write_text(text.replace('"100 mbar"', '"1 bat"'), encoding="utf-8")
    _, _, err = warmstack("check", "wrong.toml")
    assert len(err.splitlines()) == 3


@pytest.mark.parametrize(
    "content",
    [b"", b"\x00\x01\x02", b"\xff\xfe\x00", bytes(range(256)), b"title = ", b"[" * 5000],
    ids=["empty", "zeros", "utf-16 mark", "every byte", "cut off", "deep"],
)
def test_what_is_no_case_file_ends_in_a_clear_line(warmstack, tmp_path, content):
    (tmp_path / "odd.toml").write_bytes(content)
    code, out, err = warmstack("check", "odd.toml")
    assert (code, out) == (3, "")
    assert all(line.startswith("odd.toml:") for line in err.splitlines())
    assert "Traceback" not in err


@pytest.mark.parametrize("name", ["missing.toml", ".", "", "no/such/folder.toml", "/dev/null"])
def test_what_is_no_file_ends_in_a_clear_line(warmstack, name):
    code, out, err = warmstack("check", name)
    assert (code, out) == (3, "")
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize("name", ["a b.toml", "-dash.toml", "$(x);y.toml", "größe µ.toml", "x"])
def test_odd_file_names_are_read(warmstack, small, tmp_path, name):
    (tmp_path / name).write_text(small.text, encoding="utf-8")
    code, out, _ = warmstack("check", "--", name)
    assert code == 0
    assert "Small invented plate" in out


@pytest.mark.parametrize(
    ("setting", "code", "word"),
    [
        ("scan.speed", 2, "KEY=VALUE"),
        ("=1", 2, "KEY=VALUE"),
        ("", 2, "KEY=VALUE"),
        ("scan.sped=1 mm/s", 3, "scan.sped"),
        ("nothing.here=1", 3, "nothing"),
        ("scan.speed=fast", 3, "--set: scan.speed"),
        ("scan.speed=", 3, "--set: scan.speed"),
        ("sample.layers.9.thickness=1 mm", 3, "1 .. 2"),
        ("sample.layers.0.thickness=1 mm", 3, "1 .. 2"),
        ("ring.energy=nan GeV", 3, "--set: ring.energy"),
        ("ring.energy=1e999 GeV", 3, "--set: ring.energy"),
    ],
)
def test_a_wrong_setting_ends_in_a_clear_line(warmstack, small_path, setting, code, word):
    found, out, err = warmstack("check", small_path, "--set", setting)
    assert (found, out) == (code, "")
    assert word in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("settings", "word"),
    [
        ({"ring.current": "0.01 mA"}, "lifetime"),
        ({"ring.energy": "0.1 GeV"}, "filters"),
        ({"ring.energy": "10 GeV", "ring.field": "10 T"}, "critical energy"),
    ],
)
def test_an_exposure_that_cannot_be_is_refused_with_the_way_out(
    warmstack, small_path, settings, word
):
    given = [part for key, value in settings.items() for part in ("--set", f"{key}={value}")]
    code, out, err = warmstack("dose", small_path, *given)
    assert (code, out) == (3, "")
    assert word in err
    assert "nan" not in err
    assert len(err.splitlines()) == 1
