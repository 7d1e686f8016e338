"""Tables of temperatures in time: units in the header, no gaps, and the figures of the answer."""

from types import SimpleNamespace

import numpy as np
import pytest

from thermo.show.in_time import write_in_time

RESULTS = ("scanned", "held", "few")
PLACES = ["resist", "mask", "corner_left_lower", "corner_right_upper", "sensor_edge", "sensor_base"]
HEADER = ",".join(["time_s", *(f"{place}_degC" for place in PLACES)])
CLOSE = 0.02  # K, of the answer's cycle and its decay
COARSE = 0.25  # K: of curves on the coarse mesh, twice what its peaks are off, and the cycle's


def table(path):
    return SimpleNamespace(
        header=path.read_text(encoding="utf-8").splitlines()[0],
        values=np.loadtxt(path, delimiter=",", skiprows=1),
    )


@pytest.fixture(scope="module")
def tables(request, tmp_path_factory):
    found = {}
    for name in RESULTS:
        folder = tmp_path_factory.mktemp(name)
        write_in_time(request.getfixturevalue(name), folder)
        found[name] = {p.stem: table(p) for p in sorted(folder.glob("*.csv"))}
    return found


def test_a_scan_has_three_tables_and_a_held_beam_no_cycle(tables):
    assert list(tables["scanned"]) == list(tables["few"]) == ["cooling", "cycle", "exposure"]
    assert list(tables["held"]) == ["cooling", "exposure"]


def test_every_column_names_its_unit_and_no_cell_is_empty(tables):
    for result in tables.values():
        for one in result.values():
            assert one.header == HEADER
            assert one.values.shape[1] == 1 + len(PLACES)
            assert len(one.values) > 100
            assert np.isfinite(one.values).all()


def test_times_rise_and_temperatures_are_between_the_sinks_and_the_hottest_place(tables, request):
    for name, result in tables.items():
        parts = request.getfixturevalue(name).answer.temperature.values()
        hottest = max(part.peak_C for part in parts)
        for kind, one in result.items():
            assert (np.diff(one.values[:, 0]) > 0).all()
            assert one.values[:, 1:].min() > 20 - COARSE
            if (name, kind) != ("few", "cycle"):  # which few passes do not reach
                assert one.values[:, 1:].max() < hottest + COARSE


def test_the_cycle_repeats_and_is_as_hot_as_the_answer_says(tables, scanned):
    """400 times a cycle: a peak as short as the stripe's 80 ms lacks 0.1 %."""
    one = tables["scanned"]["cycle"].values
    assert one[-1, 0] == pytest.approx(scanned.answer.cycle.period_s)
    assert one[-1, 1:] == pytest.approx(one[0, 1:], abs=1e-4)  # as many digits as are written
    parts, peaks = scanned.answer.temperature, one[:, 1:].max(0)
    assert peaks[:2] == pytest.approx([parts["resist"].peak_C, parts["membrane"].peak_C], abs=CLOSE)
    means = one[:-1, 1:].mean(0)
    assert means[:2] == pytest.approx([parts["resist"].mean_C, parts["membrane"].mean_C], abs=CLOSE)
    edge = scanned.answer.sensors["edge"]
    assert (means[4], peaks[4]) == pytest.approx((edge.mean_C, edge.peak_C), abs=0.1)  # next node


def test_few_passes_are_shown_from_cold_and_reach_what_the_answer_says(tables, few):
    one, parts = tables["few"]["exposure"].values, few.answer.temperature
    assert one[0, 1:] == pytest.approx(np.full(len(PLACES), 20), abs=CLOSE)
    assert one[-1, 0] == pytest.approx(few.answer.dose.time_s, rel=1e-5)
    peaks = one[:, 1:].max(0)
    assert peaks[:2] == pytest.approx([parts["resist"].peak_C, parts["membrane"].peak_C], abs=CLOSE)


def test_many_passes_are_shown_by_their_highest(tables, scanned):
    one = tables["scanned"]["exposure"].values
    assert one[0, 0] < 2 * scanned.answer.cycle.period_s
    assert one[-1, 0] == pytest.approx(scanned.answer.dose.time_s, rel=2e-3)  # within the last two
    worst = scanned.answer.course.resist_worst_C, scanned.answer.course.mask_worst_C
    assert one[:, 1:3].max(0) == pytest.approx(worst, abs=COARSE)


def test_a_held_beam_is_shown_from_cold_to_what_it_settles_at_as_the_ring_decays(tables, held):
    one, parts = tables["held"]["exposure"].values, held.answer.temperature
    assert one[0, 1:] == pytest.approx(np.full(len(PLACES), 20), abs=COARSE)
    assert one[:, 1].max() == pytest.approx(parts["resist"].peak_C, abs=COARSE)
    assert one[-1, 1] < one[:, 1].max()


def test_cooling_goes_on_where_the_exposure_of_a_held_beam_ends(tables):
    """One decay tells both: as many digits as are written."""
    exposure, cooling = (tables["held"][key].values for key in ("exposure", "cooling"))
    assert cooling[0, 0] == 0
    assert cooling[0, 1:] == pytest.approx(exposure[-1, 1:], abs=1e-3)


@pytest.mark.parametrize("name", RESULTS)
def test_cooling_only_falls_in_the_end_and_is_shown_until_little_is_left(tables, name):
    exposure, cooling = (tables[name][key].values for key in ("exposure", "cooling"))
    late = cooling[len(cooling) // 2 :, 1:]
    assert (np.diff(late, axis=0) <= 1e-4).all()
    assert (late[-1] - 20 < 0.5 * (exposure[:, 1:].max(0) - 20)).all()
