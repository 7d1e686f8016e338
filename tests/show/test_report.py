"""The report: whole, escaped, closed to the network, and the same bytes each time."""

import base64
import hashlib
import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from thermo.case import read_case
from thermo.show.folder import FolderError, check_folder, write_report, write_results
from thermo.show.reading import ResultsError
from thermo.show.report import read_results, report_page, sheet_page
from thermo.show.report.charts import charts, drawn_depths
from thermo.show.report.headline import headlines
from thermo.show.report.maps import map_charts
from thermo.show.report.sheet import settings_of
from thermo.show.report.solid import solid_view

SECTIONS = {
    *("verdict", "stack", "heat", "through", "time", "maps", "placement"),
    *("dose-part", "assumed", "checks", "origin", "cautions"),
}
HOSTILE = "<script>alert(1)</script> \"quotes' & \u202eright to left " + "long " * 50
MOST = 8e6  # bytes of a report


class Page(HTMLParser):
    """Tags with their attributes, ids, and the text of each script."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.scripts, self.words = [], [], []
        self.inside = None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self.inside = tag
        if tag == "script":
            self.scripts.append("")

    def handle_endtag(self, tag):
        self.inside = None

    def handle_data(self, data):
        if self.inside == "script":
            self.scripts[-1] += data
        else:
            self.words.append(data)

    @property
    def ids(self):
        return {attrs["id"] for _, attrs in self.tags if "id" in attrs}


@pytest.fixture(scope="module")
def folder(scanned, small, tmp_path_factory):
    path = tmp_path_factory.mktemp("report") / "small.results"
    write_results(scanned, small, path)
    return path


@pytest.fixture(scope="module")
def found(folder):
    return read_results(folder)


@pytest.fixture(scope="module")
def text(found):
    return report_page(found)


@pytest.fixture(scope="module")
def page(text):
    return Page(text)


def test_every_section_is_there(page):
    assert page.ids >= SECTIONS


def test_the_page_asks_for_nothing_from_elsewhere(page):
    for tag, attrs in page.tags:
        assert not ({"href", "src", "srcset", "action", "data"} & attrs.keys()) or (
            attrs.get("href", "#").startswith("#") and attrs.get("src", "data:").startswith("data:")
        ), tag
    policy = next(a["content"] for t, a in page.tags if "http-equiv" in a)
    assert policy.startswith("default-src 'none'")
    assert "unsafe-eval" not in policy
    assert "http" not in policy


def test_only_the_scripts_on_the_page_may_run(page):
    policy = next(a["content"] for t, a in page.tags if "http-equiv" in a)
    runs = [s for s, (_, a) in zip(page.scripts, _scripts(page), strict=True) if "type" not in a]
    sums = [base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in runs]
    assert re.findall("sha256-([^']+)", policy) == sums
    assert not any(name.startswith("on") for _, attrs in page.tags for name in attrs)


def _scripts(page):
    return [(t, a) for t, a in page.tags if t == "script"]


def test_the_page_is_small_enough_to_send_and_the_same_each_time(text, found):
    assert len(text.encode()) <= MOST
    assert report_page(found) == text


def test_every_picture_is_described_and_every_chart_has_its_place(page, found):
    pictures = [a for t, a in page.tags if t == "img"]
    assert pictures
    assert all(len(a["alt"]) > 20 for a in pictures)
    places = [a for t, a in page.tags if a.get("class") == "live"]
    assert all(a["tabindex"] == "0" for a in places)
    assert all(len(a["aria-label"]) > 20 for a in places)
    assert {a["id"] for a in places} == {*charts(found), "solid-view"}


def test_the_five_numbers_stand_first_with_value_band_and_limit(scanned, text):
    five = headlines(scanned.answer)
    assert [h.name for h in five][:2] == ["resist, highest", "mask, highest"]
    assert len(five) == 5
    line = next(j for j in scanned.answer.limits if j.name == "resist")
    assert five[0].value == f"{line.value:.3g} degC"
    assert five[0].band == f"{line.low:.3g} .. {line.high:.3g}"
    assert five[0].limit == "60 degC"
    assert "no limit" in {h.state for h in five}
    for h in five:
        assert text.index(h.value) < text.index('id="stack"')


def test_a_hostile_title_stands_escaped_everywhere(scanned, small, tmp_path):
    block = scanned.answer.case.model_copy(update={"title": HOSTILE})
    answer = scanned.answer.model_copy(update={"case": block})
    write_results(replace(scanned, answer=answer), small, tmp_path / "r")
    found = read_results(tmp_path / "r")
    for text in (report_page(found), sheet_page(found)):
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert" in text
        assert "<bdi>&lt;script" in text  # the mark turns nothing outside the title round
        assert "alert(1)" not in "".join(Page(text).scripts)


def test_a_sheet_is_page_one_with_settings_and_what_to_watch_and_no_script(found):
    sheet = Page(sheet_page(found))
    assert {"verdict", "settings", "log", "cautions"} <= sheet.ids
    assert sheet.scripts == []
    words = " ".join(sheet.words)
    for said in ("ring.current", "50 mA", "stroke needed", "edge on silicon", "interlock"):
        assert said in words


def test_a_held_beam_has_a_report_without_a_cycle(held, small, tmp_path):
    write_results(held, small, tmp_path / "held")
    page = Page(report_page(read_results(tmp_path / "held")))
    assert "cycle" not in page.ids
    assert page.ids >= SECTIONS


def test_layers_are_drawn_in_order_each_by_its_own_thickness():
    layers = ["thin", "thin", "thick", "thick", "thick"]
    z = drawn_depths(layers, np.array([0.0, 0.002, 0.002, 5.0, 10.0]))
    assert z.tolist() == pytest.approx([0.0, 0.35, 0.35, 0.85, 1.35], abs=1e-3)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("answer.json", None, "answer.json: no such file"),
        ("answer.json", b"{}", "has schema None, allowed: 1"),
        ("answer.json", b"[" * 100_000, "is no JSON"),
        ("case.toml", b"\xff", "UTF-8"),
        ("case.toml", b"= 1", "TOML"),
        ("depth.csv", b"layer\n", "damaged"),
        ("depth.csv", b"layer,z_mm\nfilm,1\n", "has no column lowest_degC"),
        ("cycle.csv", b"time_s,resist_degC,mask_degC\n0,nan,1\n", "damaged"),
        ("field.csv", b"x_mm,y_mm,resist_peak_degC,mask_peak_degC\n0,0,1,2\n0,0,1,2\n", "damaged"),
        ("dose.csv", b"depth_um,dose_J_per_cm3\n0,hot\n", "damaged"),
        ("manifest.json", b"[]", "damaged"),
        ("manifest.json", b'{"sha256": []}', "damaged"),
        ("manifest.json", b'{"sha256": {"../../etc/passwd": ""}}', "damaged"),
        ("manifest.json", b"[" * 100_000, "damaged"),
        ("surfaces.npz", b"none", "damaged"),
        ("section.svg", None, "section.svg: no such file"),
    ],
)
def test_a_folder_that_is_not_whole_is_refused_in_one_line(folder, tmp_path, name, content, said):
    shutil.copytree(folder, tmp_path / "r")
    (tmp_path / "r" / name).unlink()
    if content is not None:
        (tmp_path / "r" / name).write_bytes(content)
    with pytest.raises(ResultsError, match=said) as error:
        write_report(tmp_path / "r")
    assert "\n" not in str(error.value)


@pytest.mark.parametrize("wrong", ["lacks", "nan", "shape", "nodes", "cut"])
def test_surfaces_that_do_not_fit_are_refused(folder, tmp_path, wrong):
    shutil.copytree(folder, tmp_path / "r")
    path = tmp_path / "r" / "surfaces.npz"
    with np.load(path) as stored:
        arrays = {key: stored[key] for key in stored.files}
    if wrong == "lacks":
        del arrays["mask_levels"]
    elif wrong == "nan":
        arrays["sample_peak"][0, 0] = np.nan
    elif wrong == "shape":
        arrays["mask_moved"] = arrays["mask_moved"][:1]
    elif wrong == "nodes":
        arrays["mask_quads"] = arrays["mask_quads"] + 60_000
    np.savez_compressed(path, **arrays)
    if wrong == "cut":
        path.write_bytes(path.read_bytes()[:-100])
    with pytest.raises(ResultsError, match="damaged"):
        write_report(tmp_path / "r")


def test_a_report_made_anew_is_the_same_and_blesses_nothing_else(folder, tmp_path):
    shutil.copytree(folder, tmp_path / "r")
    before = (tmp_path / "r" / "report.html").read_bytes()
    write_report(tmp_path / "r")
    assert (tmp_path / "r" / "report.html").read_bytes() == before
    (tmp_path / "r" / "my-notes.txt").write_text("mine", encoding="utf-8")
    with (tmp_path / "r" / "dose.csv").open("a", encoding="utf-8") as file:
        file.write("9999,1\n")
    for _ in range(2):
        write_report(tmp_path / "r")
        assert "changed since" in (tmp_path / "r" / "report.html").read_text(encoding="utf-8")
    with pytest.raises(FolderError, match="my-notes"):
        check_folder(tmp_path / "r")
    assert not list((tmp_path / "r").glob(".*"))


def test_what_was_set_beside_the_file_stands_on_sheet_and_report(scanned, small_path, tmp_path):
    case = read_case(small_path, {"ring.current": "77 mA"})
    block = scanned.answer.case.model_copy(update={"settings": dict(case.settings)})
    answer = scanned.answer.model_copy(update={"case": block})
    write_results(replace(scanned, answer=answer), case, tmp_path / "r")
    found = read_results(tmp_path / "r")
    assert dict(settings_of(found))["ring.current"] == "77 mA"
    assert "ring.current = 77 mA" in report_page(found)


def test_maps_lie_as_the_field_does(found):
    """x to the right, y upwards, and the largest values are those of the answer."""
    tables = {n: dict(columns) for n, columns in found.tables.items()}
    for name in ("field", "placement_middle"):
        x, y = (np.array(tables[name][f"{c}_mm"]) for c in "xy")
        for column in tables[name]:
            if column not in ("x_mm", "y_mm"):
                tables[name][column] = (3 * x + y + 100).tolist()
    turned = replace(found, tables=tables)
    for name in ("resist-map", "mask-map", "blur-map"):
        heat = map_charts(turned)[name]["data"][0]
        z, side = np.array(heat["z"]), len(heat["x"])
        assert heat["x"][0] < heat["x"][-1]
        assert heat["y"][0] < heat["y"][-1]
        if name != "blur-map":
            assert z[0, side - 1] - z[0, 0] == pytest.approx(3 * np.ptp(heat["x"]), rel=1e-3)
            assert z[side - 1, 0] - z[0, 0] == pytest.approx(np.ptp(heat["y"]), rel=1e-3)


def test_the_largest_of_each_map_is_that_of_the_answer(found):
    made, middle = map_charts(found), found.answer.placement.middle
    highest = {name: np.max(chart["data"][0]["z"]) for name, chart in made.items()}
    assert highest["placement-map"] == pytest.approx(middle.residual_max_nm, rel=1e-3)
    assert highest["blur-map"] == pytest.approx(middle.blur_max_nm, rel=1e-3)
    assert highest["split-map"] == pytest.approx(middle.up_down_split_nm, rel=1e-3)
    assert highest["resist-map"] == pytest.approx(found.answer.resist_peak_C, abs=0.05)
    assert highest["mask-map"] == pytest.approx(found.answer.mask_peak_C, abs=0.05)
    limit = next(j.limit for j in found.answer.limits if j.name == "resist")
    room = np.min(made["margin-map"]["data"][0]["z"])
    assert room == pytest.approx(limit - highest["resist-map"], abs=0.01)


def test_curves_are_those_of_their_columns(found):
    made = charts(found)
    lines = {line["name"]: line for line in made["depth"]["data"]}
    for name, column in (("mean", "mean"), ("while printing", "printing"), ("peak", "peak")):
        told = [x for x in lines[name]["x"] if x is not None]
        assert told == found.numbers("depth", f"{column}_degC")
    assert lines["resist limit 60 degC"]["x"] == [60.0, 60.0]
    cooling = made["cooling"]["data"][0]
    assert cooling["y"] == found.numbers("cooling", "resist_degC")
    dose = made["dose"]["data"][0]["y"]
    assert max(dose) == pytest.approx(found.answer.dose.resist_top_J_per_cm3 / 1e3, rel=2e-3)


def test_the_stack_is_drawn_as_the_words_say(found):
    """Drawn over true heights and displacement; bodies that move most do not meet."""
    made, s = solid_view(found), found.surfaces
    factors = []
    for body in made.data["bodies"]:
        drawn, true = np.diff(body["drawn"]), np.diff(s[f"{body['name']}_levels"])
        assert (drawn < 0).all()
        factors += (-drawn / true).tolist()
    assert made.thicker == pytest.approx((min(factors), max(factors)))
    mask, sample = made.data["bodies"]
    gap = mask["drawn"][-1] - sample["drawn"][0]
    most = max(np.linalg.norm(s[f"{b}_moved"], axis=0).max() for b in ("mask", "sample"))
    assert made.data["bent"] * most == pytest.approx(0.45 * gap)
    assert made.bent == pytest.approx(1e3 * made.data["bent"])  # um drawn as mm
    low, high = made.data["span"]
    peaks = [t.peak_C for n, t in found.answer.temperature.items() if n not in ("joint", "holder")]
    assert high == pytest.approx(max(peaks), abs=0.05)
    assert low >= 20.0 - 1e-6  # no colder than the water
    assert [*mask["layers"], *sample["layers"]] == [
        "frame", "membrane", "absorber", "resist", "silicon",
    ]  # fmt: skip


def test_every_part_stands_in_the_table_with_its_own_numbers(found, text):
    cells = re.findall(r"<td>([^<]*)</td>", text)
    for part in found.answer.temperature.values():
        row = [f"{T:.1f}" for T in (part.mean_C, part.dose_weighted_C, part.peak_C)]
        at = [i for i in range(len(cells)) if cells[i : i + 3] == row]
        assert at


def test_ink_stands_out_from_its_ground_as_wcag_asks(text):
    """Contrast of at least 4.5 for text: WCAG 2.2, success criterion 1.4.3 (W3C, 2023)."""
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6})", text))
    for ink in ("ink", "soft"):
        for ground in ("ground", "tint"):
            assert _contrast(colours[ink], colours[ground]) >= 4.5


def _contrast(one, other):
    """(L1 + 0.05)/(L2 + 0.05) of relative luminances, WCAG 2.2."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(colour):
    digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.mark.skipif(CHROMIUM is None, reason="no browser on this machine")
def test_a_browser_without_network_draws_everything_without_a_complaint(text, tmp_path):
    path = tmp_path / "report.html"
    path.write_text(text, encoding="utf-8")
    found = subprocess.run(
        [
            CHROMIUM,
            "--headless",
            "--no-sandbox",
            "--disable-background-networking",
            "--disable-component-update",
            "--host-resolver-rules=MAP * ~NOTFOUND",
            "--use-angle=swiftshader",
            "--enable-unsafe-swiftshader",
            "--enable-logging=stderr",
            f"--user-data-dir={tmp_path / 'profile'}",
            "--virtual-time-budget=60000",
            "--dump-dom",
            path.as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=240,
        check=True,
    )
    assert 'data-drawn="yes"' in found.stdout[:2000]
    assert "no-script" not in found.stdout[:2000].split("<style")[0]
    complaints = [line for line in found.stderr.splitlines() if ":CONSOLE" in line]
    assert [c for c in complaints if "willReadFrequently" not in c] == []
