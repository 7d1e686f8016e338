"""Result folders side by side: what is shown and marked, and how wrong folders end."""

import json
import shutil
from unicodedata import east_asian_width

import pytest

from thermo.answer import Answer
from thermo.show.columns import folded


@pytest.fixture(scope="module")
def folder(scanned, small, tmp_path_factory):
    """The two files of a result folder that are read."""
    made = tmp_path_factory.mktemp("results") / "one"
    made.mkdir()
    (made / "answer.json").write_text(scanned.answer.to_json(), encoding="utf-8")
    (made / "case.toml").write_text(small.text, encoding="utf-8")
    return made


@pytest.fixture
def copy(folder, tmp_path):
    """A copy of the folder under another name, its answer and case changed."""

    def make(name, change=lambda data: None, case=lambda text: text):
        path = tmp_path / name
        shutil.copytree(folder, path)
        data = json.loads((path / "answer.json").read_text())
        change(data)
        (path / "answer.json").write_text(json.dumps(data))
        text = (path / "case.toml").read_text(encoding="utf-8")
        (path / "case.toml").write_text(case(text), encoding="utf-8")
        return path

    return make


def hotter(data):
    data["temperature"]["resist"]["peak_C"] = 71.25
    data["limits"][0].update(value=71.25, low=70.0, high=73.0, met=False)
    data["verdict"].update(word="no", limited_by="resist")
    data["placement"]["base"]["magnification_ppm"] = -87.0
    data["dose"]["time_s"] = 7200.0


def faster(text):
    return text.replace('speed = "20 mm/s"', 'speed = "25 mm/s"')


def row(text, label):
    """The first row of a label: whether it is marked, and its cells."""
    line = next(x for x in text.splitlines() if x[2:].startswith(label + " "))
    return line[0] == "*", [
        part.strip() for part in line[2 + len(label) :].split("  ") if part.strip()
    ]


def test_what_answers_say_stands_side_by_side_and_what_differs_is_marked(
    warmstack, folder, copy, scanned
):
    code, out, err = warmstack("compare", folder, copy("two", hotter, faster))
    assert (code, err) == (0, "")
    a = scanned.answer
    assert row(out, "verdict") == (True, ["GO", "NO"])
    assert row(out, "resist, peak") == (
        True,
        [f"{a.temperature['resist'].peak_C:.4g} degC", "71.25 degC"],
    )
    assert row(out, "printed scale")[1][1] == "-87 ppm"
    assert row(out, "exposure time")[1][1] == "2.0 h"
    power = f"{a.beam.on_mask_W_per_cm:.3g} W/cm"
    assert row(out, "power on the mask") == (False, [power, power])
    assert row(out, "resist, degC")[1][1] == "71.25 BROKEN"
    assert row(out, "  band")[1][1] == "70 .. 73"
    assert row(out, "  limit") == (False, ["60", "60"])
    assert row(out, "scan.speed") == (True, ["20 mm/s", "25 mm/s"])
    assert "scan.stroke" not in out


def test_a_folder_beside_its_copy_has_no_mark_and_no_differing_key(warmstack, folder, copy):
    _, out, _ = warmstack("compare", folder, copy("same"))
    assert not [line for line in out.splitlines() if line.startswith("*")]
    assert "The case files differ in no key" in out


def test_the_largest_over_the_depths_is_shown_whatever_its_sign(warmstack, folder, copy):
    def change(data):
        for depth, scale, blur in (("top", 3.0, 10.0), ("middle", -9.0, 40.0), ("base", 5.0, None)):
            values = {"residual_max_nm": 2.0, "up_down_split_nm": None}
            values |= {"magnification_ppm": scale, "blur_max_nm": blur}
            data["placement"][depth].update(values)

    _, out, _ = warmstack("compare", folder, copy("two", change))
    cells = [row(out, x)[1][1] for x in ("printed scale", "after scale", "blur", "up/down split")]
    assert cells == ["-9 ppm", "2 nm", "40 nm", "-"]


def test_the_mask_is_the_hotter_of_its_parts_and_the_resist_what_lies_behind_the_gap(
    warmstack, folder, copy
):
    def change(data):
        data["temperature"]["membrane"]["peak_C"] = 91.0
        data["temperature"]["absorber"]["peak_C"] = 93.0
        data["temperature"]["mould"] = data["temperature"].pop("resist") | {"peak_C": 55.5}
        at = [line["name"] for line in data["path"]].index("resist")
        data["path"][at]["name"] = "mould"

    _, out, _ = warmstack("compare", folder, copy("two", change))
    assert row(out, "mask, peak")[1][1] == "93 degC"
    assert row(out, "resist, peak")[1][1] == "55.5 degC"


def test_a_limit_that_one_answer_lacks_or_does_not_know_is_shown_as_such(warmstack, folder, copy):
    def change(data):
        data["limits"][1].update(value=None, low=None, high=None, met=None, margin=None)
        del data["limits"][0]

    _, out, _ = warmstack("compare", folder, copy("two", change))
    assert row(out, "resist, degC")[1][1] == "-"
    assert row(out, "mask, degC")[1][1] == "unknown open"


def test_keys_that_only_one_case_has_are_rows_with_a_dash(warmstack, folder, copy):
    def case(text):
        return text.replace('lifetime = "12 h"\n', "").replace(
            'thickness = "250 um" }]', 'thickness = "250 um" }, { material = "polyimide" }]'
        )

    _, out, _ = warmstack("compare", folder, copy("two", case=case))
    assert row(out, "ring.lifetime") == (True, ["12 h", "-"])
    assert row(out, "beam.filters.2.material") == (True, ["-", "polyimide"])
    assert row(out, "beam.filters.2.material")[0]


def test_an_answer_that_knows_more_than_its_case_file_is_named(warmstack, folder, copy):
    def change(data):
        data["case"]["sha256"] = "0" * 64

    assert "answered with --set" not in warmstack("compare", folder, copy("two"))[1]
    out = warmstack("compare", folder, copy("three", change))[1]
    assert "  2: answered with --set" in out


@pytest.mark.parametrize("count", [2, 3, 4, 7, 12])
def test_any_number_of_folders_fits_into_100_columns_and_each_has_its_cells(
    warmstack, folder, copy, count
):
    def case(number):
        return lambda text: faster(text).replace("25 mm/s", f"{number}.5 mm/s")

    more = [copy(f"folder {i}", hotter, case(i)) for i in range(2, count + 1)]
    code, out, _ = warmstack("compare", folder, *more)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 100
    rows = [line.split()[2:] for line in out.splitlines() if line[2:].startswith("scan.speed ")]
    speeds = [cell for cells in rows for cell in cells if cell != "mm/s"]
    assert speeds == ["20", *(f"{i}.5" for i in range(2, count + 1))]


def test_json_holds_the_same_with_units_in_its_keys(warmstack, folder, copy, scanned):
    two = copy("two", hotter, faster)
    code, out, err = warmstack("compare", folder, two, "--json")
    data = json.loads(out)
    assert (code, err) == (0, "")
    assert [f["folder"] for f in data["folders"]] == [str(folder), str(two)]
    assert [f["more_than_case_file"] for f in data["folders"]] == [False, True]
    peak = data["quantities"]["resist_peak_C"]
    assert peak == {"values": [scanned.answer.temperature["resist"].peak_C, 71.25], "differs": True}
    assert not data["quantities"]["on_mask_W_per_cm"]["differs"]
    limit = data["limits"]["resist_C"]["values"][1]
    assert [limit[key] for key in ("value", "low", "high", "limit", "met")] == [
        71.25,
        70,
        73,
        60,
        False,
    ]
    assert data["limits"]["dose_top_kJ_per_cm3"]["differs"] is False
    assert data["case"] == {"scan.speed": {"values": ["20 mm/s", "25 mm/s"], "differs": True}}


def test_fewer_than_two_folders_are_refused_in_one_line(warmstack, folder):
    for given in ((), (folder,)):
        code, out, err = warmstack("compare", *given)
        assert (code, out) == (2, "")
        assert len(err.splitlines()) == 1
        assert "2 or more" in err


def write(path, content):
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(content)


WRONG = {  # file of the second folder, its content, a word of the message
    "no answer": ("answer.json", None, "no result folder"),
    "no case": ("case.toml", None, "no such file"),
    "empty": ("answer.json", b"", "no JSON"),
    "half": ("answer.json", b'{"schema": 1, "case": {', "no JSON"),
    "no object": ("answer.json", b"[1, 2]", "has schema None, allowed: 1"),
    "another schema": ("answer.json", b'{"schema": 7}', "has schema 7, allowed: 1"),
    "keys missing": ("answer.json", b'{"schema": 1}', "Field required"),
    "deep": ("answer.json", b"[" * 200_000, "no JSON"),
    "long integer": ("answer.json", b'{"schema": ' + b"9" * 5000 + b"}", "no JSON"),
    "no text": ("answer.json", b'{"schema": "\xff"}', "no UTF-8"),
    "NUL": ("answer.json", b"\0\0", "NUL"),
    "hostile schema": (
        "answer.json",
        b'{"schema": "\\u001b[2J' + b"x" * 500 + b'"}',
        "schema ?[2J",
    ),
    "hostile key": ("answer.json", b'{"schema": 1, "\\u001b[2J": 1}', "Field required"),
    "broken case": ("case.toml", b"[ring", "TOML"),
    "hostile case": ("case.toml", b"a = \x1b[2J", "TOML"),
    "endless case": ("case.toml", b"#" * 300_000, "larger than"),
}


@pytest.mark.parametrize("kind", WRONG)
def test_a_folder_that_cannot_be_read_ends_in_one_line_with_its_place(
    warmstack, folder, copy, kind
):
    name, content, word = WRONG[kind]
    path = copy("wrong")
    if content is None:
        (path / name).unlink()
    else:
        write(path / name, content)
    code, out, err = warmstack("compare", folder, path)
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert err.startswith(str(path / name))
    assert word in err
    assert ";" in err
    assert err.rstrip("\n").isprintable()
    assert len(err) < 800


def test_all_wrong_folders_are_told_at_once(warmstack, folder, copy, tmp_path):
    other = copy("other", lambda data: data.update(schema=2))
    (tmp_path / "file").write_text("mine")
    again = folder.parent / "." / folder.name
    link = tmp_path / "link"
    link.symlink_to(folder)
    absent, long = tmp_path / "absent", tmp_path / ("x" * 300)
    code, out, err = warmstack(
        "compare", folder, absent, tmp_path / "file", other, again, link, long, "a\x1b[2Jb"
    )
    lines = err.splitlines()
    assert (code, out, len(lines)) == (2, "", 7)
    assert all(line.isprintable() for line in lines)
    assert sum("given twice" in line for line in lines) == 2
    assert sum("no such folder" in line for line in lines) == 4
    assert "has schema 2" in lines[2]


def test_numbers_that_are_none_are_refused(warmstack, folder, copy):
    path = copy("two")
    text = (path / "answer.json").read_text()
    Answer.model_validate_json(text)
    (path / "answer.json").write_text(text.replace('"settle_s": ', '"settle_s": NaN, "x": ', 1))
    code, _, err = warmstack("compare", folder, path)
    assert code == 2
    assert len(err.splitlines()) == 1


def places(line):
    return sum(2 if east_asian_width(letter) in "WF" else 1 for letter in line)


TITLES = {
    "control": "a\x1b[2J\r\n\x07b",
    "long": "x" * 300,
    "wide": "微" * 200,
    "marks": "\u202e\u200fabc\u2066 \ufeff",
    "blanks": " " * 200 + "x",
}


@pytest.mark.parametrize("kind", TITLES)
def test_a_hostile_title_folder_or_value_does_not_disturb_the_terminal(
    warmstack, folder, copy, kind
):
    title = TITLES[kind]

    def change(data):
        data["case"]["title"] = title
        data["verdict"]["limited_by"] = title
        data["placement"]["reason"] = title
        data["limits"][0]["name"] = title
        data["limits"][1]["unit"] = title
        data["dose"].update(time_s=1e300, ratio=-1e-300, passes=10**300)
        data["placement"]["top"]["blur_max_nm"] = 1e300

    escaped = "".join(f"\\U{ord(letter):08X}" for letter in title)

    def case(text):
        return f'"{escaped}" = "{escaped}"\n' + text

    hostile = copy("微 \u202e" + "y" * 60, change, case)
    code, out, err = warmstack("compare", folder, hostile)
    assert (code, err) == (0, "")
    lines = out.split("\n")
    assert all(line.isprintable() for line in lines)
    assert max(map(places, lines)) <= 100
    code, out, err = warmstack("compare", folder, hostile, "--json")
    assert (code, err) == (0, "")
    assert out.isascii()
    assert json.loads(out)["folders"][1]["title"] == title


def test_values_that_differ_beyond_what_is_shown_still_show_apart(warmstack, folder, copy):
    def case(end):
        return lambda text: text.replace("Small", "x" * 150 + end)

    first, second = copy("a", case=case("p\\u001b")), copy("b", case=case("p\\u0007"))
    _, out, _ = warmstack("compare", first, second)
    assert row(out, "title") == (True, ["...'\\x1b invented plate'", "...'\\x07 invented plate'"])


def test_folding_keeps_every_letter_within_its_width():
    for text in ("", "a", "a b c d", "abcdefgh ij", "微微微 微a", "a" * 23):
        lines = folded(text, 5)
        assert max(map(places, lines)) <= 5
        assert "".join(lines).replace(" ", "") == text.replace(" ", "")
