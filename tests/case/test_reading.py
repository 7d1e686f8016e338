"""Reading a case: each wrong file gives its fault with the right line, and all faults at once."""

import hashlib
import os
import pickle
import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from thermo import case as room
from thermo.case import Case, read_case, starter_text
from thermo.case.positions import key_lines
from thermo.errors import CaseError, WarmstackError
from thermo.materials import material

BASE = """\
title = "Invented plate"
[ring]
energy = "1.9 GeV"
current = "150 mA"
field = "1.3 T"
[beam]
distance = "13 m"
width = "60 mm"
filters = [
    { material = "beryllium", thickness = "250 um" },
    { material = "polyimide", thickness = "25 um" },
]
[scan]
stroke = "70 mm"
speed = "20 mm/s"
acceleration = "0.5 m/s2"
[chamber]
gas = "helium"
pressure = "100 mbar"
temperature = "22 degC"
[mask.membrane]
material = "graphite"
thickness = "150 um"
width = "56 mm"
height = "56 mm"
[mask.absorber]
material = "gold"
thickness = "15 um"
width = "50 mm"
height = "50 mm"
coverage = [
    [0.4, 0.5],
    [0.3, 0.6],
]
surround = "bare"
[mask.frame]
material = "aluminium"
thickness = "8 mm"
border = "12 mm"
water = "20 degC"
held = "free"
[gap]
width = "120 um (100 .. 150)"
[sample]
width = "64 mm"
height = "64 mm"
held = "free"
layers = [
    { material = "PMMA", thickness = "500 um" },
    { material = "epoxy", thickness = "25 um", name = "glue" },
    { material = "resin", thickness = "1 mm" },
]
[sample.joint]
material = "tape"
thickness = "100 um"
[sample.holder]
material = "aluminium"
thickness = "12 mm"
width = "80 mm"
height = "80 mm"
film = "3000 W/(m2 K)"
water = "20 degC"
[sensors]
edge = { part = "resin", x = "30 mm", y = "0 mm" }
[dose]
bottom = "3.6 kJ/cm3"
[limits]
resist = "from dose"
placement = "1 um"
[materials.resin]
like = "epoxy"
conductivity = "0.25 W/(m K) (0.2 .. 0.3)"
"""  # invented, like every number in it
CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))


@pytest.fixture
def write(tmp_path):
    def write(content, name="case.toml"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


@pytest.fixture
def base(write):
    return write(BASE)


def with_line(number, new):
    """BASE with one line (counted from 1) replaced."""
    lines = BASE.splitlines(keepends=True)
    lines[number - 1] = new + "\n" if new else ""
    return "".join(lines)


def faults_of(path, chosen=None):
    with pytest.raises(CaseError) as caught:
        read_case(path, chosen or {})
    assert caught.value.exit_code == 3
    for line in str(caught.value).splitlines():
        assert line.isprintable()
    return caught.value.faults


def test_the_base_of_these_tests_is_right(base):
    assert read_case(base).title == "Invented plate"


WRONG = [  # line replaced, by what, line of the fault, its key, words of its message
    (1, "", 1, "title", "missing"),
    (1, "title = 5", 1, "title", "'5' is no text"),
    (1, 'title = ""', 1, "title", "1 to 200 printable"),
    (1, 'title = "a\\u0007"', 1, "title", "1 to 200 printable"),
    (1, f'title = "{"a" * 201}"', 1, "title", "at most 200"),
    (1, 'title = "a"\ngas = "helium"', 2, "gas", "unknown key.*did you mean|check the spelling"),
    (2, "[rings]", 2, "rings", "unknown key.*did you mean 'ring'"),
    (2, "ring = 5\n[limits.x]", 2, "ring", "'5' is no table.*energy, current"),
    (3, 'energy = "1.9 GV"', 3, "ring.energy", "unknown unit 'GV'.*did you mean 'GeV'"),
    (3, 'energy = "1,9 GeV"', 3, "ring.energy", "decimal comma"),
    (3, 'enregy = "1.9 GeV"', 3, "ring.enregy", "unknown key.*did you mean 'energy'"),
    (3, "", 2, "ring.energy", "missing.*0.1 GeV .. 10 GeV"),
    (3, "energy = 1.9", 3, "ring.energy", "'1.9' has no unit"),
    (3, 'energy = "1.9 GeV"\none = 1', 4, "ring.one", "unknown key"),
    (3, 'energy = "1.9 GeV"\ncoverage = 1', 4, "ring.coverage", "unknown key"),
    (4, "current = true", 4, "ring.current", "true or false"),
    (4, "current = 2020-01-01", 4, "ring.current", "date or time"),
    (4, "current = 12:30:00", 4, "ring.current", "date or time"),
    (4, "current = inf", 4, "ring.current", "no unit"),
    (4, 'current = "nan mA"', 4, "ring.current", "not finite"),
    (4, 'current = "inf mA"', 4, "ring.current", "not finite"),
    (4, 'current = "1e400 mA"', 4, "ring.current", "not finite"),
    (4, 'current = "3 A"', 4, "ring.current", "'3 A' is outside the allowed 0.01 mA .. 2 A"),
    (4, 'current = "-150 mA"', 4, "ring.current", "outside the allowed"),
    (4, 'current = "1 A (0.5 .. 3)"', 4, "ring.current", "outside the allowed"),
    (4, 'current = "1 A (2 .. 3)"', 4, "ring.current", "low <= value <= high"),
    (4, 'current = ["1 A"]', 4, "ring.current", "no quantity"),
    (9, "filters = 5\nnone = [", 9, "beam.filters", "no list"),
    (10, '{ material = "berylium", thickness = "1 mm" },', 10, "beam.filters.1.material", "beryl"),
    (11, '{ material = "helium", thickness = "1 mm" },', 11, "beam.filters.2.material", "is a gas"),
    (11, '{ material = "polyimide" },', 11, "beam.filters.2.thickness", "missing"),
    (11, "5,", 11, "beam.filters.2", "'5' is no table.*material, thickness"),
    (14, 'stroke = "0.7 mm"', 14, "scan.stroke", "at least v2/a = 0.8 mm"),
    (15, "", 13, "scan.speed", "missing"),
    (17, "[chambre]", 17, "chambre", "unknown key.*did you mean 'chamber'"),
    (18, 'gas = "copper"', 18, "chamber.gas", "is a solid; allowed: a gas"),
    (18, "gas = 5", 18, "chamber.gas", "name of a material in quotes"),
    (19, 'pressure = "3 bar"', 19, "chamber.pressure", r"outside.*1e-6 mbar \.\. 2 bar"),
    (20, 'temperature = "900 degC"', 20, "chamber.temperature", "-50 degC .. 500 degC"),
    (20, 'temperature = "22 C"', 20, "chamber.temperature", "unknown unit 'C'"),
    (
        20,
        'temperature = "22 degC"\naccommodation_mask = "1.2"',
        21,
        "chamber.accommodation_mask",
        "",
    ),
    (22, 'material = "copper"', 21, "mask.membrane.tension", "no initial tension is assumed"),
    (23, 'thickness = "0 um"', 23, "mask.membrane.thickness", "1 nm .. 10 cm"),
    (29, 'width = "57 mm"', 29, "mask.absorber.width", "larger than mask.membrane.width.*56 mm"),
    (30, 'height = "57 mm"', 30, "mask.absorber.height", "clear opening"),
    (8, 'width = "49 mm"', 29, "mask.absorber.width", "larger than beam.width"),
    (32, "[0.4, 1.5],", 32, "mask.absorber.coverage.1.2", "outside the allowed 0 .. 1"),
    (33, "[0.3, 0.6, 0.7],", 33, "mask.absorber.coverage.2", "3 values; allowed: 2"),
    (33, '[0.3,\n"0.6 (0.5 .. 0.7)"],', 34, "mask.absorber.coverage.2.2", "has a range"),
    (33, "[],", 33, "mask.absorber.coverage.2", "empty|0 values"),
    (33, "[0.3, nan],", 33, "mask.absorber.coverage.2.2", "not finite"),
    (33, "0.3,", 33, "mask.absorber.coverage.2", "'0.3' is no list"),
    (35, 'surround = "naked"', 35, "mask.absorber.surround", '"bare", "covered"'),
    (35, "", 26, "mask.absorber.surround", 'missing; allowed: "bare", "covered"'),
    (35, 'surround = "bare"\nkind = "conected"', 36, "mask.absorber.kind", "mean 'connected'"),
    (36, "[mask.frme]", 36, "mask.frme", "unknown key.*did you mean 'frame'"),
    (40, "", 36, "mask.frame.water", "missing for a cooled frame"),
    (40, 'water = "20 degC"\ncooling = "some"', 41, "mask.frame.cooling", "or say 'none'"),
    (41, 'held = "stuck"', 41, "mask.frame.held", '"free", "clamped"'),
    (43, 'width = "0 um"', 43, "gap.width", "1 um .. 10 mm"),
    (45, 'width = "81 mm"', 45, "sample.width", "larger than sample.holder.width"),
    (46, 'height = "49 mm"', 30, "mask.absorber.height", "lies on the sample"),
    (46, 'height = "81 mm"', 46, "sample.height", "larger than sample.holder.height"),
    (
        50,
        '{ material = "gold", thickness = "1 um", name = "glue" },\n'
        '{ material = "gold", thickness = "1 um", name = "glue" },',
        51,
        "sample.layers.3.name",
        "'glue' is taken",
    ),
    (47, 'held = "taped"', 44, "sample.patch", "missing for a taped sample"),
    (47, 'held = "free"\npatch = "5 mm"', 48, "sample.patch", "does not go with"),
    (47, 'held = "taped"\npatch = "40 mm"', 48, "sample.patch", "overlap.*32 mm"),
    (48, "layers = []\n[x]\ny = [", 48, "sample.layers", "empty; allowed: at least one"),
    (50, '{ material = "epoxi", thickness = "1 um" },', 50, "sample.layers.2.material", "'epoxy'"),
    (
        50,
        '{ material = "gold", thickness = "1 um", name = "holder" },',
        50,
        "sample.layers.2.name",
        "taken",
    ),
    (
        50,
        '{ material = "gold", thickness = "1 um", name = "a/b" },',
        50,
        "sample.layers.2.name",
        "letters",
    ),
    (54, "", 53, "sample.joint.material", "together or neither"),
    (55, "", 53, "sample.joint.thickness", "together or neither"),
    (64, 'edge = { part = "resn", x = "30 mm", y = "0 mm" }', 64, "sensors.edge.part", "'resin'"),
    (
        64,
        'edge = { part = "resin", x = "40 mm", y = "0 mm" }',
        64,
        "sensors.edge.x",
        "off the resin",
    ),
    (64, 'edge = { part = "resin", x = "30 mm" }', 64, "sensors.edge.y", "missing"),
    (64, "edge = 5", 64, "sensors.edge", "no table"),
    (64, '"a/b" = { part = "resin", x = "3 mm", y = "0 mm" }', 64, "sensors.a/b", "letters"),
    (66, "", 65, "dose.bottom", "missing"),
    (66, 'bottom = "3.6 kJ"', 66, "dose.bottom", "unknown unit 'kJ'"),
    (68, 'resist = "from does"', 68, "limits.resist", "or say 'from dose'"),
    (68, 'mask = "from dose"', 68, "limits.mask", "for the resist alone"),
    (49, '{ material = "SU-8", thickness = "1 mm" },', 68, "limits.resist", "PMMA alone"),
    (69, 'placement = "1 um (0.5 .. 2)"', 69, "limits.placement", "has a range"),
    (69, 'time = "0.9 s"', 69, "limits.time", r"1 s \.\. 1000 h"),
    (69, 'time = "1001 h"', 69, "limits.time", r"1 s \.\. 1000 h"),
    (69, 'time = "3 h (2 .. 4)"', 69, "limits.time", "has a range"),
    (69, 'time = "3"', 69, "limits.time", "has no unit"),
    (69, 'dose_unevenness = "0 %"', 69, "limits.dose_unevenness", r"1e-4 % \.\. 100 %"),
    (69, 'dose_unevenness = "1.1"', 69, "limits.dose_unevenness", r"1e-4 % \.\. 100 %"),
    (69, 'dose_unevenness = "2 % (1 .. 3)"', 69, "limits.dose_unevenness", "has a range"),
    (69, 'placemnt = "1 um"', 69, "limits.placemnt", "did you mean 'placement'"),
    (71, "", 70, "materials.resin", "lacks formula, density, heat_capacity"),
    (71, 'like = "epoxyd"', 71, "materials.resin.like", "did you mean 'epoxy'"),
    (71, 'like = "helium"', 71, "materials.resin.like", "is a gas"),
    (71, 'like = "epoxy"\nformula = "Qq2"', 70, "materials.resin", "unknown element"),
    (72, 'colour = "red"', 72, "materials.resin.colour", "unknown key"),
    (70, '[materials.PMMA]\nlike="PMMA"\n[materials.resin]', 70, "materials.PMMA", "of the table"),
    (70, '[materials."a/b"]\nlike="PMMA"\n[materials.resin]', 70, "materials.a/b", "letters"),
]


@pytest.mark.parametrize(("number", "new", "line", "key", "words"), WRONG)
def test_a_wrong_file_gives_its_fault_with_line_and_key(write, number, new, line, key, words):
    path = write(with_line(number, new))
    faults = faults_of(path)
    found = [fault for fault in faults if (fault.line, fault.key) == (line, key)]
    assert found, faults
    assert found[0].file == str(path)
    assert re.search(words, found[0].text), found[0].text


ALONE = [row for row in WRONG if "[" not in row[1][:20] and row[0] != 9]


@pytest.mark.parametrize(("number", "new", "line", "key", "words"), ALONE)
def test_one_mistake_gives_one_fault(write, number, new, line, key, words):
    assert len(faults_of(write(with_line(number, new)))) == 1


def test_many_faults_are_all_listed_in_order_of_their_lines(write):
    text = BASE.replace('"1.9 GeV"', '"19 GeV"').replace('"beryllium"', '"berylium"')
    text = text.replace('"20 mm/s"', '"600 mm/s"').replace("[0.4, 0.5]", "[0.4]")
    text = text.replace('"PMMA"', '"PMA"').replace('bottom = "3.6 kJ/cm3"\n', "")
    text = text.replace('like = "epoxy"', 'lik = "epoxy"').replace("[gap]", "[gapp]")
    faults = faults_of(write(text))
    assert [(fault.line, fault.key) for fault in faults] == [
        (3, "ring.energy"),
        (10, "beam.filters.1.material"),
        (14, "scan.stroke"),
        (33, "mask.absorber.coverage.2"),
        (42, "gapp"),
        (49, "sample.layers.1.material"),
        (65, "dose.bottom"),
        (70, "materials.resin.lik"),
    ]


def test_a_fault_reads_file_line_key_what_value_allowed_way_out(write):
    path = write(with_line(43, 'width = "0 um"'))
    with pytest.raises(CaseError) as caught:
        read_case(path)
    assert str(caught.value) == (
        f"{path}:43: gap.width: length '0 um' is outside the allowed 1 um .. 10 mm; "
        "check number and unit"
    )


@pytest.mark.parametrize(
    ("content", "line", "words"),
    [
        (b"", 1, "the table is missing"),
        (b"a = 1\nb = [1,\n", 3, "not readable as TOML"),
        (b"a = 1\n\nb = = 2\n", 3, "not readable as TOML"),
        (b"a = 1\na = 2\n", 2, "not readable as TOML: Cannot overwrite"),
        (b"[ring]\n[ring]\n", 2, "not readable as TOML"),
        (b"[a]\nb = {c = 1, c = 2}\n", 2, "not readable as TOML"),
        (b"a = 2020-13-45\n", 1, "not readable as TOML"),
        (b"a = 1\nb = " + b"9" * 5000, 2, "not readable as TOML"),
        (b"title = 'x'\x00\n", 1, "NUL byte"),
        (b"\x7fELF\x02\x01\n\x00\x00", 2, "NUL byte"),
        ('title = "caf\xe9"\n'.encode("latin-1"), 1, "byte 0xE9 is no UTF-8 text"),
        (b"a = 1\nb = '\xff'", 2, "byte 0xFF is no UTF-8 text"),
        ("title = 'x'\n".encode("utf-16"), 1, "NUL byte"),
        (b"#" * 256_001, 0, "larger than 256 kB"),
        (b"a = 1\nb = " + b"[" * 33 + b"]" * 33, 2, "deeper than 32"),
        (b"a = 1\nb = " + b"[" * 200_000, 2, "deeper than 32"),
        (b"a = " + b"{a = " * 40, 1, "deeper than 32"),
        (b"a = " + b"]" * 50 + b"[" * 40, 1, "deeper than 32"),
        (b"\n" + b".".join([b"a"] * 17) + b" = 1", 2, "more than 16 parts"),
        (b"\n[" + b".".join([b"'a'"] * 17) + b"]", 2, "more than 16 parts"),
        (b".".join([b"a"] * 100_000) + b" = 1", 1, "more than 16 parts"),
        (b'a = """' + b'\\"""' * 60_000, 1, "not readable as TOML"),
    ],
    ids=lambda value: repr(value[:24]) if isinstance(value, bytes) else None,
)
def test_what_is_no_case_at_all_is_one_clear_fault(write, content, line, words):
    faults = faults_of(write(content))
    assert faults[0].line == line or content == b""
    assert re.search(words, faults[0].text)
    assert len(faults) == 1 or content == b""


@pytest.mark.parametrize(
    "content",
    [
        BASE.encode() + b"#" * (256_000 - len(BASE.encode())),
        b"\xef\xbb\xbf" + BASE.encode(),
        BASE.replace("\n", "\r\n").encode(),
        BASE.replace("plate", "plåte # \U0001f600 [[[" + "[" * 40).encode(),
    ],
    ids=["largest", "byte order mark", "carriage returns", "brackets in a text"],
)
def test_what_is_unusual_but_right_is_read(write, content):
    assert read_case(write(content)).ring.current.value == 0.15


def test_what_is_no_plain_file_is_one_line(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path, words in [
        (tmp_path, "no plain file"),
        (tmp_path / "none.toml", "no such file"),
        (tmp_path / "pipe", "no plain file"),
        ("/dev/zero", "no plain file"),
        ("a\0b", "cannot be read|no such file"),
        ("a" * 5000, "cannot be read|no such file"),
        ("", "no plain file"),
    ]:
        (fault,) = faults_of(path)
        assert re.search(words, fault.text), fault


def test_a_file_of_faults_is_answered_in_seconds(write):
    text = "[ring]\n" + "".join(f'energz{i:04} = "1 GeV"\n' for i in range(9_000))
    assert len(faults_of(write(text))) > 9_000


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_case_with_anything_written_over_it_is_read_or_refused(tmp_path, data):
    start = data.draw(st.integers(0, len(BASE)))
    end = data.draw(st.integers(start, min(len(BASE), start + 30)))
    junk = data.draw(st.text(max_size=12) | st.sampled_from(["[", "[[", "}", '"', "\n", "=", "'"]))
    path = tmp_path / "junk.toml"
    path.write_text(BASE[:start] + junk + BASE[end:], encoding="utf-8", errors="replace")
    try:
        case = read_case(path)
    except CaseError as error:
        case = error
    assert isinstance(case, (Case, CaseError))


ODD = ["5", "true", "nan", "2020-01-01", '"x"', "[]", "{}", "[[]]", "[{}]", "[[{}]]", '[""]', "[5]"]


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.sampled_from(sorted(key_lines(BASE), key=str)),
    st.sampled_from([*ODD, "{one = 1, rows = 2}", "{coverage = 1}", "[[1, 2], 3]"]),
    st.sampled_from(["", ".one", ".rows", ".coverage", ".1", ".name"]),
)
def test_a_case_with_an_odd_value_anywhere_is_read_or_refused(base, path, value, below):
    key = ".".join(str(part + 1 if isinstance(part, int) else part) for part in path) + below
    try:
        case = read_case(base, {key: value})
    except CaseError as error:
        case = error
    assert isinstance(case, (Case, CaseError))


# settings beside the file


def test_settings_replace_what_the_file_says(base):
    case = read_case(
        base,
        {
            "gap.width": "60 um (45 .. 80)",
            "beam.filters.2.thickness": "50 um",
            "mask.absorber.coverage": "[[0.1, 0.2]]",
            "sample.layers.1.thickness": '"0.6 mm"',
            "limits.dose_ratio": "5",
            "chamber.accommodation_mask": "0.5",
            'materials."resin".density': "1200 kg/m3",
            "title": "2020-01-01",
        },
    )
    assert case.gap.width.bounds == (45e-6, 80e-6)
    assert [foil.thickness.value for foil in case.beam.filters] == [250e-6, 50e-6]
    assert case.mask.absorber.rows == ((0.1, 0.2),)
    assert case.sample.layers[0].thickness.value == 0.6e-3
    assert case.limits.dose_ratio.value == 5
    assert case.chamber.accommodation_mask.value == 0.5
    assert case.materials["resin"].density(300) == 1200
    assert case.title == "2020-01-01"


@pytest.mark.parametrize(
    ("key", "value", "fault_key", "words"),
    [
        ("gap.width", "0 um", "gap.width", "1 um .. 10 mm"),
        ("gap.widht", "60 um", "gap.widht", "did you mean 'width'"),
        ("gap", "60 um", "gap", "no table"),
        ("gap.width.value", "1", "gap.width.value", "holds no keys"),
        ("beam.filters.0.thickness", "1 um", "beam.filters.0", r"allowed: 1 \.\. 2"),
        ("beam.filters.3.thickness", "1 um", "beam.filters.3", r"allowed: 1 \.\. 2"),
        ("beam.filters.first", "1 um", "beam.filters.first", r"allowed: 1 \.\. 2"),
        ("beam.filters.2.material", "gould", "beam.filters.2.material", "did you mean 'gold'"),
        ("scan.speed", "600 mm/s", "scan.stroke", "too short"),
        ("ring.current", "true", "ring.current", "true or false"),
        ("ring.current", "1\nring.energy = 2", "ring.current", "unknown unit"),
        ("ring.current", "[" * 50_000, "ring.current", "longer than 200"),
        ("a..b", "1", "a..b", "is no key"),
        ("", "1", "", "is no key"),
        ("x\x1b[31m = 1", "1", "x?[31m = 1", "is no key"),
        ("ring", "{energy = '1 GeV', current = '1 A', field = '1 T', x = 1}", "ring.x", "unknown"),
    ],
)
def test_a_wrong_setting_is_a_fault_of_the_setting(base, key, value, fault_key, words):
    faults = faults_of(base, {key: value})
    found = [fault for fault in faults if fault.key == fault_key]
    assert found, faults
    assert re.search(words, found[0].text), found[0].text
    if fault_key != "scan.stroke":  # the fault lies between two keys; the file holds this one
        assert str(found[0]).startswith("--set: ")


def test_faults_of_file_and_settings_come_together(write):
    faults = faults_of(write(with_line(3, 'energy = "19 GeV"')), {"gap.width": "0 um"})
    assert [fault.file == "--set" for fault in faults] == [True, False]


# what is read


def test_values_are_si_and_lists_keep_the_beams_order(base):
    case = read_case(base)
    assert case.ring.energy.value == pytest.approx(1.9e9 * 1.602176634e-19, rel=1e-15)
    assert case.chamber.temperature.value == 295.15
    assert case.chamber.pressure.value == 1e4
    assert [foil.material for foil in case.beam.filters] == ["beryllium", "polyimide"]
    assert [layer.name for layer in case.sample.layers] == ["resist", "glue", "resin"]
    assert case.mask.absorber.rows == ((0.4, 0.5), (0.3, 0.6))
    assert case.limits.resist == "from dose"
    assert case.limits.blur is None
    assert case.sensors["edge"].x.value == 0.03
    assert case.text == BASE
    assert case.path == str(base)


def test_limits_of_time_and_evenness_are_si_and_may_be_left_out(write):
    limits = read_case(write(with_line(69, 'time = "3 h"\ndose_unevenness = "2 %"'))).limits
    assert (limits.time.value, limits.dose_unevenness.value) == (10800, 0.02)
    limits = read_case(write(BASE)).limits
    assert limits.time is limits.dose_unevenness is None


def test_one_share_of_coverage_is_a_pattern_of_one_row(write):
    text = BASE.replace("coverage = [\n    [0.4, 0.5],\n    [0.3, 0.6],\n]", "coverage = 0.45")
    absorber = read_case(write(text)).mask.absorber
    assert absorber.coverage.value == 0.45
    assert absorber.rows == ((0.45,),)


def test_without_a_scan_table_nothing_moves(write):
    text = BASE.replace(BASE[BASE.index("[scan]") : BASE.index("[chamber]")], "")
    assert read_case(write(text)).scan is None


def test_the_fastest_scan_that_can_turn_round_is_read_and_a_faster_one_refused(write):
    # sqrt(a L) = sqrt(0.5 m/s2 x 70 mm) = 187.08 mm/s
    assert read_case(write(with_line(15, 'speed = "187.0 mm/s"'))).scan.speed.value == 0.187
    (fault,) = faults_of(write(with_line(15, 'speed = "187.1 mm/s"')))
    assert fault.key == "scan.stroke"


def test_the_unfavourable_end_of_a_range_must_fit(write):
    (fault,) = faults_of(write(with_line(15, 'speed = "20 mm/s (10 .. 200)"')))
    assert fault.key == "scan.stroke"
    (fault,) = faults_of(write(with_line(29, 'width = "50 mm (45 .. 57)"')))
    assert (fault.line, fault.key) == (29, "mask.absorber.width")


def test_the_pattern_field_must_lie_on_the_sample(write):
    faults = faults_of(write(with_line(45, 'width = "49 mm"')))
    (fault,) = (fault for fault in faults if fault.key == "mask.absorber.width")
    assert "larger than sample.width" in fault.text


def test_a_glued_sample_needs_the_layer_that_holds_it(write):
    text = with_line(47, 'held = "glued"')
    assert read_case(write(text)).sample.held == "glued"
    text = text.replace('material = "tape"\nthickness = "100 um"\n', "")
    (fault,) = faults_of(write(text))
    assert (fault.line, fault.key) == (47, "sample.held")
    assert "sample.joint.material" in fault.text


def test_a_sensor_sits_on_the_frame_or_the_joint_if_there_is_one(write):
    frame = with_line(64, 'edge = { part = "frame", x = "39 mm", y = "0 mm" }')
    assert read_case(write(frame)).sensors["edge"].part == "frame"
    joint = with_line(64, 'edge = { part = "joint", x = "0 mm", y = "0 mm" }')
    assert read_case(write(joint)).sensors["edge"].part == "joint"
    bare = joint.replace('material = "tape"\nthickness = "100 um"\n', "")
    (fault,) = faults_of(write(bare))
    assert fault.key == "sensors.edge.part"


def test_a_sensor_on_the_frame_is_not_in_its_opening(write):
    """There is no frame there, so nothing that it could read."""
    opening = with_line(64, 'edge = { part = "frame", x = "20 mm", y = "0 mm" }')
    (fault,) = faults_of(write(opening))
    assert fault.key.startswith("sensors.edge")
    assert "frame" in fault.text


def test_layers_of_one_material_get_different_names(write):
    text = with_line(50, '{ material = "resin", thickness = "25 um" },')
    case = read_case(write(text.replace('part = "resin"', 'part = "resin 2"')))
    assert [layer.name for layer in case.sample.layers] == ["resist", "resin", "resin 2"]


def test_a_frame_may_be_uncooled_and_then_needs_no_water(write):
    frame = read_case(write(with_line(40, 'cooling = "none"'))).mask.frame
    assert (frame.cooling, frame.water) == (None, None)


def test_every_material_is_found_by_the_name_written(write):
    case = read_case(write(with_line(27, 'material = "Au"')))
    assert case.materials["Au"] == material("gold")
    assert set(case.materials) >= {"PMMA", "resin", "helium", "beryllium", "tape", "graphite"}


def test_a_material_of_ones_own_is_like_another_but_for_what_is_given(base):
    resin, epoxy = read_case(base).materials["resin"], material("epoxy")
    assert resin.conductivity.low_high == (0.2, 0.3)
    assert resin.density == epoxy.density
    assert resin.name == "resin"


def test_a_material_of_ones_own_may_be_given_in_full(write):
    full = """formula = "C5H8O2"
density = "1.2 g/cm3"
heat_capacity = "1.4 J/(g K)"
youngs_modulus = "3 GPa"
poisson_ratio = "0.35"
expansion = "60 ppm/K (50 .. 70)"
strength = "45 MPa (30 .. 60)\""""
    resin = read_case(write(with_line(71, full))).materials["resin"]
    assert resin.kind == "solid"
    assert resin.density(293) == 1200
    assert resin.expansion.low_high == (50e-6, 70e-6)
    assert resin.strength.low_high == (30e6, 60e6)


def test_what_the_case_leaves_out_is_listed_as_assumed(base):
    case = read_case(base)
    keys = [entry.key for entry in case.assumed]
    assert keys[:10] == [
        "chamber.outer_film",
        "chamber.accommodation_mask",
        "chamber.accommodation_sample",
        "mask.measured_at",
        "mask.membrane.tension",
        "mask.absorber.kind",
        "mask.frame.contact",
        "mask.frame.cooling",
        "sample.measured_at",
        "sample.joint.resistance",
    ]
    assert "materials.PMMA.conductivity" in keys
    assert "materials.resin.expansion" in keys
    assert "materials.resin.conductivity" not in keys  # given in the case
    assert all(entry.source for entry in case.assumed)
    tension = next(entry for entry in case.assumed if entry.key == "mask.membrane.tension")
    assert (tension.value, tension.unit) == (case.mask.membrane.tension.value, "Pa")


def test_what_the_case_gives_is_not_assumed(write):
    text = with_line(20, 'temperature = "22 degC"\nouter_film = "9 W/(m2 K)"')
    assert "chamber.outer_film" not in [entry.key for entry in read_case(write(text)).assumed]


def test_the_accommodation_assumed_is_that_of_the_gas(write):
    nitrogen = read_case(write(with_line(18, 'gas = "nitrogen"')))
    assert nitrogen.chamber.accommodation_mask.value == 0.8
    assert nitrogen.chamber.accommodation_sample.value == 0.85


def test_a_case_without_a_joint_table_gets_the_usual_contact(write):
    text = BASE.replace(BASE[BASE.index("[sample.joint]") : BASE.index("[sample.holder]")], "")
    case = read_case(write(text))
    assert case.sample.joint.material is None
    assert case.sample.joint.resistance.bounds == (1e-4, 4e-3)


def test_the_hash_is_that_of_the_file_and_settings_change_it(base):
    plain = read_case(base)
    assert plain.sha256 == hashlib.sha256(base.read_bytes()).hexdigest()
    assert read_case(base, {"gap.width": "120 um"}).sha256 != plain.sha256


def test_a_case_cannot_be_changed(base):
    case = read_case(base)
    with pytest.raises(ValidationError):
        case.ring.current = case.ring.energy
    with pytest.raises(ValidationError):
        case.ring = None


def test_a_case_survives_the_way_between_processes(base):
    case = read_case(base)
    assert pickle.loads(pickle.dumps(case)) == case


# the starter and the shipped cases


@pytest.mark.parametrize(
    "title", ["Plate", 'a "b" \\ c', "", "x\x1b[31m\n", "å\U0001f600", "t" * 500]
)
def test_the_starter_is_right_whatever_its_title(write, title):
    text = starter_text(title)
    case = read_case(write(text))
    assert case.title
    if title == 'a "b" \\ c':
        assert case.title == title
    assert "INVENTED" in text
    assert all(len(line) <= 90 for line in text.splitlines() if not line.startswith("title"))


def test_what_the_starter_leaves_out_may_be_written_as_it_says(write):
    """Every line of the starter that is commented out is right when it is let in."""
    lines = starter_text("x").splitlines()
    commented = re.compile(r"^# (\[\w+(\.[\w-]+)?\]|[\w]+ = .*)")
    let_in = [line[2:] if commented.match(line) else line for line in lines]
    rows = next(line for line in let_in if line.startswith("coverage = [["))
    let_in.remove(rows)  # instead of the share, not beside it
    case = read_case(write("\n".join(let_in)))
    assert [e.key for e in case.assumed if not e.key.startswith("materials.")] == []
    assert case.sensors["edge"].part == "copper"
    share = next(line for line in lines if line.startswith("coverage = "))
    swapped = "\n".join(lines).replace(share, rows)
    assert read_case(write(swapped)).mask.absorber.rows == ((0.4, 0.5), (0.4, 0.6))


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_every_shipped_case_is_right_and_says_what_it_is(path):
    head = path.read_text(encoding="utf-8").split("\n\n")[0]
    for word in ("Question:", "Expected:", "INVENTED"):
        assert word in head
    case = read_case(path)
    assert [entry.key for entry in case.assumed if not entry.key.startswith("materials.")] == []


def test_the_cured_mould_differs_from_the_mould_by_its_cures_alone():
    one, other = (
        path.read_text(encoding="utf-8").splitlines()
        for path in (
            next(p for p in CASES if p.stem == "tall-mould"),
            next(p for p in CASES if p.stem == "tall-mould-cured"),
        )
    )
    changed = [new for old, new in zip(one, other, strict=True) if old != new and "#" not in new]
    assert [line.strip(" ,") for line in changed if "title" not in line] == [
        '{ material = "aluminium", thickness = "30 um" }',
        'speed = "25 mm/s"',
        'pressure = "120 mbar"',
        'width = "150 um"',
    ]


# the room


def test_the_room_shows_just_its_public_names():
    assert set(room.__all__) == {
        "Assumed",
        "Case",
        "Filter",
        "GasPath",
        "Range",
        "foil_number",
        "input_at",
        "ranges",
        "read_case",
        "starter_text",
        "with_filter",
        "with_value",
    }
    assert all(hasattr(room, name) for name in room.__all__)


def test_reading_a_case_loads_no_heavy_library():
    heavy = {"numba", "meshio", "matplotlib", "typer", "rich", "xraylib", "pyamg", "scipy"}
    code = "import sys, thermo.case; print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split()
    assert heavy.isdisjoint(loaded)


def test_a_case_error_is_one_of_the_package():
    assert issubclass(CaseError, WarmstackError)
