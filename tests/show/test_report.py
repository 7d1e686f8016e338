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

from thermo.show.folder import write_results
from thermo.show.report import read_results, report_page, sheet_page
from thermo.show.report.charts import charts, drawn_depths
from thermo.show.report.contents import ResultsError
from thermo.show.report.headline import headlines

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
    places = [a for t, a in page.tags if a.get("role") == "img"]
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
        ("answer.json", "{}", "has schema None, allowed: 1"),
        ("depth.csv", "layer\n", "damaged"),
        ("manifest.json", "[]", "damaged"),
        ("surfaces.npz", "none", "damaged"),
        ("section.svg", None, "has no section.svg"),
    ],
)
def test_a_folder_that_is_not_whole_is_refused_in_one_line(folder, tmp_path, name, content, said):
    shutil.copytree(folder, tmp_path / "r")
    if content is None:
        (tmp_path / "r" / name).unlink()
    else:
        (tmp_path / "r" / name).write_text(content, encoding="utf-8")
    with pytest.raises(ResultsError, match=said) as error:
        report_page(read_results(tmp_path / "r"))
    assert "\n" not in str(error.value)


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
    complaints = [line for line in found.stderr.splitlines() if ":CONSOLE" in line]
    assert [c for c in complaints if "willReadFrequently" not in c] == []
