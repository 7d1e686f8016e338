"""Tables, JSON and chart of sized settings: every number with its unit, no row too wide.

Trials and choices are made up; only the layout is looked at.
"""

import csv
import json
import re
from dataclasses import replace
from io import StringIO
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib import image

from thermo.answer.outcome import Judged
from thermo.decide.chart import GRID, Chart
from thermo.decide.curves import Curves
from thermo.decide.ranking import Mover
from thermo.decide.search import End
from thermo.decide.setting import Setting, Span
from thermo.decide.sizing import Sizing
from thermo.decide.stock import Choice
from thermo.decide.trial import Placed, Trial
from thermo.show.chart import chart_table, chart_text, write_chart
from thermo.show.sizing import sizing_json, sizing_text
from thermo.show.stock import stock_json, stock_text
from thermo.show.words import WIDTH

TITLE = "Made-up plate"
FEW = 31  # places along each setting at which these charts are drawn
SPEED = Setting("speed", "scan.speed", "mm/s", "speed", 0.02, even=False)
WATER = Setting("water", "sample.holder.water", "degC", "temperature", 293.15, even=True)
UNIT = {"mask": "degC", "resist": "degC", "dose_ratio": "", "dose_under_absorber": "J/cm3"}
LIMIT = {"mask": 65.0, "resist": 55.0, "dose_ratio": 5.0, "dose_under_absorber": 200.0}
DOSE = SimpleNamespace(time=4000.0, passes=1234, ratio=4.321, under_absorber=1.5e8)


@pytest.fixture(autouse=True)
def few_places(monkeypatch):
    monkeypatch.setattr("thermo.decide.chart.FINE", FEW)


def judged(name, value):
    return Judged(name, "part", UNIT[name], value, LIMIT[name], "case")


def trial(fine=False, own=(), **values):
    lines = tuple(judged(n, v) for n, v in values.items())
    return Trial(lines, own, DOSE, 423.0, fine)


def values_at(speed):
    """Falling with the speed (m/s): invented."""
    return {
        "mask": 90 - 1000 * speed,
        "resist": 50.0,
        "dose_ratio": 4.2,
        "dose_under_absorber": 150.0,
    }


def sized(ranges=True, never=(), shift=0.0):
    speeds = [0.01, 0.02, 0.03, 0.06]
    coarse = {SPEED.place(v): trial(**{**values_at(v), "resist": 50.0 + shift}) for v in speeds}
    ends = trial(fine=True, **{**values_at(0.02508), "resist": 50.0 + shift})
    low = End(0.02508, "mask", "", ends)
    high = End(
        0.06, None, "the stroke of 26 mm is too short; lengthen it", trial(**values_at(0.06))
    )
    curves = Curves(coarse, {}, {SPEED.place(0.02508): ends})
    mover = Mover("gap.width", "gap", "10 % more", dict.fromkeys(UNIT, 1.234), 5.0, ours=True)
    return Sizing(
        SPEED,
        Span(0.01, 0.06),
        ((low, high),) if ranges else (),
        curves,
        {"mask": (0.03,)},
        never,
        (mover,) if never else (),
    )


def no_row_is_too_wide(text):
    return max(map(len, text.splitlines())) <= WIDTH


def bare_numbers(line):
    """Numbers of a sentence behind which no unit stands, that are no times or counts."""
    kept = re.sub(
        r"\d+ passes|dose ratio [\d.]+|limit (of )?[\d.]+|[+-]?[\d.]+ "
        r"(mm/s|mm|degC|K|ppm|um|min|h|s|W/cm|%|J/cm3|m2 K/W|MPa)\b|[\d.]+%|10 % ",
        "",
        line,
    )
    return re.findall(r"(?<![\w.])[+-]?\d[\d.]*", kept)


def test_a_range_is_told_with_both_ends_what_binds_and_what_it_costs():
    text = sizing_text(sized(), TITLE)
    rows = text.splitlines()
    assert rows[0] == TITLE
    assert rows[1] == "scan.speed: every limit holds from 25.08 mm/s to 60 mm/s"
    assert "at 25.08 mm/s: mask binds, 64.92 degC at a limit of 65" in text
    assert "the case allows no more: the stroke of 26 mm is too short" in text
    assert "67 min, 1234 passes, dose ratio 4.32, 4.23 W/cm on the mask" in " ".join(text.split())
    assert no_row_is_too_wide(text)


def test_every_number_of_the_sentences_has_its_unit():
    for one in (sized(), sized(never=("resist",), shift=30.0), sized(ranges=False)):
        text = sizing_text(one, TITLE)
        head, _, rest = text.partition("\n\n")
        tail = rest.partition("\n\n")[2]
        assert bare_numbers(" ".join(f"{head} {tail}".split())) == []


def test_the_table_has_a_column_with_its_unit_and_limit_for_every_value():
    table = sizing_text(sized(), TITLE).split("\n\n")[1].splitlines()
    assert table[0].split() == [
        "speed",
        "mask",
        "resist",
        "dose",
        "ratio",
        "und.",
        "metal",
        "time",
    ]
    assert table[1].split() == ["degC", "degC", "J/cm3"]
    assert table[2].split() == ["limit", "65", "55", "5", "200"]
    rows = table[3:]
    speeds = [row.split()[0] for row in rows]
    assert speeds == ["10", "20", "25.08", "30", "60"]
    assert all("mm/s" in row and "min" in row for row in rows)
    assert [row.endswith("~") for row in rows] == [True, True, False, True, True]
    assert ["!" in row for row in rows] == [True, True, False, False, False]
    columns = [table[0].index(word) + len(word) for word in ("mask", "resist", "metal")]
    for end, limit in zip(columns, ("65", "55", "200"), strict=True):
        assert table[2][: end - 2].endswith(limit) or table[2][:end].rstrip().endswith(limit)


def test_a_value_that_is_not_known_and_a_value_that_is_missing_are_told_apart():
    one = sized()
    odd = replace(trial(mask=None, dose_ratio=4.0), fine=True)
    curves = replace(one.curves, fine={SPEED.place(0.04): odd})
    row = next(
        r for r in sizing_text(replace(one, curves=curves), TITLE).splitlines() if " 40 " in r
    )
    assert "not known" in row
    assert "kept" in row


def test_a_limit_that_cannot_be_kept_is_told_at_its_best_with_what_moves_it():
    one = sized(never=("resist",), shift=30.0)
    text = " ".join(sizing_text(one, TITLE).split())
    assert "no value in 10 mm/s .. 60 mm/s keeps every limit" in text
    assert "resist cannot be kept: 80 degC all along, limit 55 degC" in text
    assert "what moves it most of its usual levers: gap.width 10 % more +1.2 K" in text
    assert "the other limits hold from 25.08 mm/s to 60 mm/s" in text
    assert no_row_is_too_wide(sizing_text(one, TITLE))


def test_without_a_range_each_limit_says_where_it_holds_alone():
    text = sizing_text(sized(ranges=False), TITLE)
    assert re.search(r"mask alone holds in 25\.\d+ mm/s \.\. 60 mm/s", text)
    assert "resist alone holds in 10 mm/s .. 60 mm/s" in text


def test_a_turn_and_a_membrane_that_buckles_are_told():
    one = sized()
    load = Judged("buckling", "mask", "", 1.2, 1.0, "buckling", "past flat", beyond=True)
    low, high = one.ranges[0]
    buckled = replace(low, trial=replace(low.trial, own=(load,)))
    text = sizing_text(replace(one, ranges=((buckled, high),)), TITLE)
    assert "mask turns near 30 mm/s" in text
    assert "at 25.08 mm/s the membrane buckles: past flat" in text
    assert "buckles" not in sizing_text(one, TITLE)


def test_sizing_as_json_has_its_values_in_the_unit_of_the_case():
    body = json.loads(sizing_json(sized()))
    assert body.keys() == {
        "key", "unit", "looked_at", "ranges", "never_kept", "turns", "trials"
    }  # fmt: skip
    assert (body["key"], body["unit"]) == ("scan.speed", "mm/s")
    assert body["looked_at"] == pytest.approx([10.0, 60.0])
    [ends] = body["ranges"]
    assert ends["low"]["value"] == pytest.approx(25.08)
    assert (ends["low"]["binds"], ends["high"]["binds"]) == ("mask", None)
    assert ends["low"]["limits"]["mask"] == {
        "value": pytest.approx(64.92),
        "limit": 65.0,
        "unit": "degC",
    }
    assert ends["low"]["on_mask_W_per_cm"] == pytest.approx(4.23)
    assert [t["mesh"] for t in body["trials"]] == ["coarse", "coarse", "fine", "coarse", "coarse"]
    assert body["turns"] == {"mask": [pytest.approx(30.0)]}


def choice(name, broken=(), worst=-0.2, flat=True, **values):
    lines = tuple(judged(n, LIMIT[n] * (1 + (0.1 if n in broken else worst))) for n in UNIT)
    outcome = SimpleNamespace(dose=DOSE, judged=lines, membrane=SimpleNamespace(is_flat=flat))
    return Choice(name, outcome, tuple(broken), worst, 320.0, 330.0, tension=4e6, **values)


CHOICES = (
    choice("titanium 2.5 um 80 MPa", scale=2.34e-5, left=1.2e-7, blur=3e-8, split=4.5e-8),
    choice("graphite 150 um 5 MPa", ("mask",), 0.1, flat=False),
    Choice("diamond 2 um 100 MPa", None, (), 0.0, refused="the dose can never be reached"),
)


def test_every_choice_has_a_row_with_a_unit_in_its_cell_or_column_and_a_verdict():
    text = stock_text(CHOICES, TITLE)
    rows = text.splitlines()
    assert rows[0] == TITLE
    heads, units = rows[2], rows[3]
    assert all(word in heads for word in ("time", "resist", "mask", "scale", "blur", "tension"))
    assert " ".join(units.split()) == "ratio degC degC ppm scale split left,MPa J/cm3"
    blocks = [block.splitlines() for block in text.split("\n\n")[2:5]]
    first, broken, refused = blocks
    for cell in ("67 min", "4.32", "46.9", "56.9", "+23.4", "120nm", "30nm", "45nm", " 4 ", "150"):
        assert cell in f"{first[-1]} "
    assert "keeps every limit" in first[1]
    assert "breaks mask 71.5, limit 65 degC; the membrane buckles" in " ".join(broken)
    assert "not possible: the dose can never be reached" in " ".join(refused)
    assert refused[-1].split() == ["-"] * 10


def test_the_table_of_choices_stays_within_its_width_whatever_their_names():
    long = replace(CHOICES[0], name=" + ".join(["beam.filters.3.thickness=30 um"] * 5))
    rows = stock_text((long, CHOICES[1]), TITLE).splitlines()
    assert max(map(len, rows)) <= 100
    assert len(rows[2]) == len(rows[3])


def test_choices_as_json_have_all_keys_whether_worked_out_or_not():
    body = json.loads(stock_json(CHOICES))["choices"]
    assert [c["choice"] for c in body] == [c.name for c in CHOICES]
    assert body[0].keys() == body[1].keys() == body[2].keys()
    best, broken, refused = body
    assert (best["holds"], broken["holds"], refused["holds"]) == (True, False, False)
    assert best["resist_peak_C"] == pytest.approx(46.85)
    assert best["scale_ppm"] == pytest.approx(23.4)
    assert best["after_scale_nm"] == pytest.approx(120)
    assert best["under_absorber_J_per_cm3"] == pytest.approx(150)
    assert best["tension_left_MPa"] == pytest.approx(4)
    assert (broken["scale_ppm"], broken["broken"]) == (None, ["mask"])
    assert (refused["time_s"], refused["refused"]) == (None, "the dose can never be reached")


def charted(hotter=0.0, refused=()):
    """Speed against water, invented: the mask falls with one, the resist rises with the other."""
    places = (np.log(np.linspace(0.01, 0.06, 2)), np.array([283.15, 313.15]))
    places = tuple(np.linspace(p[0], p[-1], GRID) for p in places)
    found = {}
    for i, j in np.ndindex(GRID, GRID):
        speed, water = float(np.exp(places[0][i])), float(places[1][j]) - 273.15
        values = {"mask": hotter + 90 - 1000 * speed, "resist": 30.0 + water}
        found[i, j] = None if (i, j) in refused else trial(**values)
    spans = (Span(0.01, 0.06), Span(283.15, 313.15))
    off = {"mask": 0.123, "resist": 0.0456}
    return Chart((SPEED, WATER), spans, places, found, {(0, 0): None}, {"mask": 0.5}, off)


def placed_chart(load=0.5, refused=()):
    """Where the printed scale is 50 ppm/K (T - T0), T0 falling with the speed: a V with its tip
    between the lines of the grid."""
    x = np.array([[0.02, 0.0], [-0.02, 0.01]])  # m
    chart, trials = charted(refused=refused), {}
    for at, one in chart.trials.items():
        if one is None:
            trials[at] = None
            continue
        scale = scale_at(chart.places[0][at[0]], chart.places[1][at[1]])
        aligned = scale * np.stack([x, 0.5 * x, 0.2 * x])
        largest = 1e6 * float(np.hypot(*aligned[0].T).max())
        known = load + 0.1 * at[1] < 1  # it buckles where the water is warm
        lines = (
            Judged("placement", "pattern", "um", largest if known else None, 2.0, "case"),
            Judged("magnification", "pattern", "ppm", 1e6 * abs(scale), 300.0, "case"),
            judged("resist", 30.0),
        )
        own = Placed(aligned, np.full(3, scale), 1e-7, load + 0.1 * at[1])
        trials[at] = replace(one, lines=lines, placed=own)
    return replace(chart, trials=trials, shift={}, off={"placement": 0.5, "resist": 0.1})


def scale_at(place, water):
    return 50e-6 * (water - 296.0 + 2 * (place + 4))


def test_a_limit_shaped_like_a_v_is_charted_where_it_is_kept_between_the_trials():
    """The printed error is linear in both, so it is exact; its size is not, at the kink."""
    chart = placed_chart()
    first, second = chart.drawn()
    wanted = np.array([[scale_at(a, b) for b in second] for a in first])
    reach = np.hypot(0.02, 0.01)
    placement = 1e6 * np.abs(wanted) * reach - 2
    assert chart.excess("placement", first, second) == pytest.approx(placement, abs=1e-6)
    magnification = 1e6 * np.abs(wanted) - 300
    assert chart.excess("magnification", first, second) == pytest.approx(magnification, abs=1e-6)
    room, _ = chart.binding()
    kept = (placement <= 0) & (magnification <= 0)
    assert kept.any()
    assert np.array_equal(room <= 0, kept)
    text = " ".join(chart_text(chart, TITLE).split())
    assert "that is much for placement: look closer with --for" in text


def test_what_the_fine_mesh_adds_is_added_to_what_is_printed_not_to_its_size():
    """5 % more everywhere at the present point: there right on either side of the V."""
    chart = placed_chart()
    first, second = chart.drawn()
    here = 50e-6 * 4  # the present scale
    x = np.array([[0.02, 0.0], [-0.02, 0.01]])
    more = {"placement": 1e6 * 0.05 * here * np.stack([x, 0.5 * x, 0.2 * x])}
    found = replace(chart, shift=more).excess("placement", first, second)
    scale = np.array([[scale_at(a, b) for b in second] for a in first]) + 0.05 * here
    wanted = 1e6 * np.abs(scale) * np.hypot(0.02, 0.01) - 2
    assert found == pytest.approx(wanted, abs=1e-6)


def test_where_nothing_at_all_is_known_no_place_is_called_least_broken(tmp_path):
    chart = placed_chart(load=1.2)
    text = chart_text(chart, TITLE)
    assert "least broken" not in text
    assert "not known in 100%" in text
    write_chart(chart, TITLE, tmp_path / "map.png")


def test_past_the_flat_state_nothing_printed_is_known_but_a_hot_resist_is_broken(tmp_path):
    chart = placed_chart(load=0.75, refused=((0, 5),))
    share = chart.unknown.mean()
    assert share == pytest.approx(0.5, abs=0.05)  # load 1 half way up
    room, number = chart.binding()
    lost = chart.unknown & ~chart.refused()
    assert np.array_equal(number == -1, lost)
    assert lost.sum() < chart.unknown.sum()
    assert np.isinf(room[lost]).all()
    assert "not known in" in chart_text(chart, TITLE)
    hot = {
        at: t and replace(t, lines=(*t.lines[:2], judged("resist", 60.0)))
        for at, t in chart.trials.items()
    }
    _, number = replace(chart, trials=hot).binding()
    assert not (number == -1).any()
    write_chart(chart, TITLE, tmp_path / "map.png")


def test_a_chart_in_words_tells_what_share_holds_what_binds_and_how_far_it_is_off():
    text = chart_text(charted(), TITLE)
    assert re.search(r"scan.speed against sample.holder.water: every limit holds in \d+% of", text)
    assert re.search(r"mask is broken most in \d+%", text)
    assert "off by up to: mask 0.12 degC, resist 0.046 degC" in text
    assert "that is much" not in text
    nothing = chart_text(replace(charted(), off={}), TITLE)
    assert "off by up to: not known; typical values" in nothing
    assert no_row_is_too_wide(text)


def test_a_chart_in_which_nothing_holds_tells_where_least_is_broken():
    text = chart_text(charted(hotter=50.0), TITLE)
    assert "holds in 0% of the chart" in text
    assert "least broken at 60 mm/s and" in text
    assert "degC, by mask" in text


@pytest.mark.parametrize("refused", [(), ((5, 0), (5, 1))])
def test_the_table_of_a_chart_has_a_row_for_every_trial_and_a_unit_in_every_head(refused):
    heads, *rows = csv.reader(StringIO(chart_table(charted(refused=refused))))
    assert heads == [
        "scan.speed, mm/s",
        "sample.holder.water, degC",
        "mask, degC",
        "resist, degC",
        "exposure time, s",
    ]
    assert len(rows) == GRID**2
    assert all(len(row) == len(heads) for row in rows)
    assert [float(cell) for cell in rows[0]] == pytest.approx([10, 10, 80, 40, 4000])
    assert sum(row[2] == "" for row in rows) == len(refused)


@pytest.mark.parametrize("hotter", [0.0, 50.0, -50.0])
def test_a_chart_is_written_as_a_picture(tmp_path, hotter):
    path = tmp_path / "map.png"
    write_chart(charted(hotter, refused=((5, 0),)), TITLE, path)
    assert path.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    seen = image.imread(path)
    assert min(seen.shape[:2]) > 600
    assert float(seen[..., :3].std()) > 0.05  # something is drawn
