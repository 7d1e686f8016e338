"""The search for allowed ranges: on an invented case in closed form, and once on the real trials.

In closed form the fine mesh adds to every coarse value what changes along the setting, so that the
search has to find ends it cannot read off its coarse trials.
"""

from dataclasses import replace
from math import cos, inf, log, sin
from pathlib import Path
from types import SimpleNamespace

import pytest
from scipy.optimize import brentq

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.outcome import Judged, run_once
from thermo.answer.scene import describe, mesh
from thermo.case import read_case
from thermo.decide import size
from thermo.decide.chart import common_key
from thermo.decide.ranking import movers
from thermo.decide.setting import SettingError, setting_of
from thermo.decide.trial import Trial, Trials, by_name, near
from thermo.show.sizing import sizing_text
from thermo.units import to_unit

CASES = Path(__file__).parents[2] / "cases"
PER_END = 4  # fine trials: each is a whole solve
BESIDE = 0.01  # of a span: more than what is near moves any end below, even on flat curves


class Invented:
    """Stands in for trials: each value a formula of the case, invented.

    solved : name -> (value, what the fine mesh adds, limit, unit);  light : without the latter
    """

    moved = True  # nothing is known from derivatives
    still = False

    def __init__(self, case, solved, light=()):
        self.case = case
        self.solved = solved
        self.by_light = dict(light)
        self.base = self._trial(case, fine=False)
        self.asked = []

    def _lines(self, case, names):
        for name in names:
            value, limit, unit = self.by_light[name]
            yield Judged(name, "resist", unit, value(case), limit, "case")

    def _trial(self, case, fine):
        lines = [
            Judged(name, "mask", unit, value(case) + fine * more(case), limit, "case")
            for name, (value, more, limit, unit) in self.solved.items()
        ]
        lines += self._lines(case, self.by_light)
        return Trial(tuple(lines), (), SimpleNamespace(time=60.0, passes=3, ratio=1.5), 1.0, fine)

    def dose(self, case):
        lines = tuple(self._lines(case, self.by_light))
        return Trial(lines, (), SimpleNamespace(time=60.0, passes=3, ratio=1.5), 1.0, fine=False)

    def coarse(self, case, key):
        return self._trial(case, fine=False)

    def fine(self, case, key):
        return self.fine_at_once([case], key)[0]

    def fine_at_once(self, cases, key):
        self.asked += cases
        return [self._trial(case, fine=True) for case in cases]

    def excess(self, setting, value, name):
        """How far the fine value lies above its limit where a setting has a value."""
        return self._trial(setting.applied(self.case, value), fine=True).excess[name]


def amps(case):
    return case.ring.current.value


def kelvins(case):
    return case.sample.holder.water.value


def gap(case):
    return case.gap.width.value


def speed(case):
    return case.scan.speed.value


def nothing(_):
    return 0.0


def check_end(trials, found, end, is_high):
    """The limit that binds is kept there, by less than what is near, and broken just beyond."""
    line = by_name(end.trial.lines)[end.binds]
    assert end.trial.fine
    assert end.trial.holds
    assert -near(line) <= line.over <= 0
    assert trials.excess(found.setting, end.value, end.binds) == pytest.approx(line.over)
    width = (found.span.high - found.span.low) * BESIDE
    beyond = end.value + (width if is_high else -width)
    assert trials.excess(found.setting, beyond, end.binds) > 0


RISES = {
    "in step with the current": lambda c: 20 + 300 * amps(c),
    "ever faster": lambda c: 20 + 1200 * amps(c) ** 2 + 60 * amps(c),
    "ever slower": lambda c: 20 + 110 * amps(c) ** 0.5,
    "late and steeply": lambda c: 20 + 60 / (1 + (0.15 / amps(c)) ** 6),
}
ADDED = {
    "little": lambda _: 0.3,
    "more with the current": lambda c: 12 * amps(c),
    "less with the current": lambda c: 1.5 - 25 * amps(c),
    "in waves": lambda c: 1.2 * sin(40 * amps(c)),
}


@pytest.mark.parametrize("added", ADDED.values(), ids=ADDED)
@pytest.mark.parametrize("rises", RISES.values(), ids=RISES)
def test_the_highest_current_is_found_to_what_counts_as_near(small, rises, added):
    trials = Invented(small, {"mask": (rises, added, 65.0, "degC")})
    setting = setting_of(small, "current")
    found = size(trials, setting)
    [(low, high)] = found.ranges
    assert (low.value, low.binds) == (found.span.low, None)
    assert high.binds == "mask"
    check_end(trials, found, high, is_high=True)
    exact = brentq(lambda x: trials.excess(setting, x, "mask"), found.span.low, found.span.high)
    # where the fine value lies the 0.1 K that is near below the limit, or closer
    assert high.value <= exact
    inside = brentq(
        lambda x: trials.excess(setting, x, "mask") + 0.1, found.span.low, found.span.high
    )
    assert high.value >= inside
    assert len(trials.asked) <= PER_END
    assert (found.never, found.movers) == ((), ())


def test_both_ends_are_found_where_different_limits_bind(small):
    """Resist from below (solved), mask from above."""
    solved = {
        "mask": (lambda c: 20 + 300 * amps(c), lambda c: 3 * cos(20 * amps(c)), 65.0, "degC"),
        "resist": (lambda c: 40 + 1 / amps(c), lambda c: 20 * amps(c), 55.0, "degC"),
    }
    trials = Invented(small, solved)
    found = size(trials, setting_of(small, "current"))
    [(low, high)] = found.ranges
    assert (low.binds, high.binds) == ("resist", "mask")
    check_end(trials, found, low, is_high=False)
    check_end(trials, found, high, is_high=True)
    assert len(trials.asked) <= 2 * PER_END


def test_an_end_by_the_light_alone_is_found_too(small):
    light = {"exposure_time": (lambda c: 3.0 / amps(c), 40.0, "min")}
    solved = {"mask": (lambda c: 20 + 250 * amps(c), lambda c: 9 * amps(c), 65.0, "degC")}
    trials = Invented(small, solved, light)
    found = size(trials, setting_of(small, "current"))
    [(low, high)] = found.ranges
    assert (low.binds, high.binds) == ("exposure_time", "mask")
    check_end(trials, found, low, is_high=False)
    assert low.value == pytest.approx(3.0 / 40, rel=1.1e-3)  # a thousandth of the limit is near
    check_end(trials, found, high, is_high=True)
    assert len(trials.asked) <= 2 * PER_END


@pytest.mark.parametrize("zero", [281.0, 284.0, 290.8, 295.6, 300.4, 318.7, 327.0, 330.0])
def test_a_limit_shaped_like_a_kink_is_found_though_all_first_trials_break_it(small, zero):
    """Placement over water: |k (T - T0)|, kept for 4 K of a span of 55 K."""
    slope = 0.05  # um/K
    solved = {
        "placement": (
            lambda c: slope * abs(kelvins(c) - zero),
            lambda c: slope * (abs(kelvins(c) - zero - 0.6) - abs(kelvins(c) - zero)),
            0.1,
            "um",
        )
    }
    trials = Invented(small, solved)
    found = size(trials, setting_of(small, "water"))
    first = sorted(found.curves.coarse)
    [(low, high)] = found.ranges
    assert first[0] == pytest.approx(278.15)
    for end, is_high in ((low, False), (high, True)):
        assert end.binds == "placement"
        check_end(trials, found, end, is_high)
    exact = zero + 0.6
    assert (low.value, high.value) == pytest.approx((exact - 2, exact + 2), abs=1e-3 / slope)
    assert len(trials.asked) <= 2 * PER_END
    assert set(found.turns) == {"placement"}


def test_a_present_value_far_beyond_a_limit_does_not_hide_where_it_is_kept(small):
    """The mesh adds 5 % everywhere: at the present value, six times the limit, 0.06 um."""

    def placement(c):
        return (0.18**2 + (0.06 * (kelvins(c) - 313)) ** 2) ** 0.5

    solved = {"placement": (placement, lambda c: 0.05 * placement(c), 0.2, "um")}
    trials = Invented(small, solved)
    found = size(trials, setting_of(small, "water"))
    [(low, high)] = found.ranges
    check_end(trials, found, low, is_high=False)
    check_end(trials, found, high, is_high=True)
    assert found.never == ()


@pytest.mark.parametrize("half", [0.002, 0.3])
def test_a_narrow_range_is_found_though_both_ends_break_it_at_first(small, half):
    """A V that the fine mesh lifts by half of what is allowed at its tip, K wide to either side."""
    slope = 0.5  # um/K
    solved = {
        "placement": (
            lambda c: slope * abs(kelvins(c) - 301.0) + 0.1 - half * slope,
            lambda _: 0.5 * half * slope,
            0.1,
            "um",
        )
    }
    trials = Invented(small, solved)
    found = size(trials, setting_of(small, "water"))
    [(low, high)] = found.ranges
    check_end(trials, found, low, is_high=False)
    check_end(trials, found, high, is_high=True)


def test_a_hump_leaves_two_ranges_with_all_four_ends(small):
    def hump(c):
        return 64 + 6 * (1 - (log(gap(c) / 100e-6) / log(2.5)) ** 2)

    trials = Invented(small, {"mask": (hump, lambda c: 4000 * gap(c), 65.0, "degC")})
    found = size(trials, setting_of(small, "gap"))
    (first, low), (high, last) = found.ranges
    assert (first.binds, last.binds) == (None, None)
    assert (low.binds, high.binds) == ("mask", "mask")
    check_end(trials, found, low, is_high=True)
    check_end(trials, found, high, is_high=False)
    assert found.turns["mask"] == pytest.approx((100e-6,), rel=0.25)  # to the next trial
    assert len(trials.asked) <= 4 * PER_END


def test_where_every_value_keeps_every_limit_the_span_is_the_range(small):
    trials = Invented(small, {"mask": (lambda c: 20 + 10 * amps(c), nothing, 65.0, "degC")})
    found = size(trials, setting_of(small, "current"), "30 mA", "90 mA")
    [(low, high)] = found.ranges
    assert (low.value, high.value) == (0.03, 0.09)
    assert (low.binds, high.binds, low.why, high.why) == (None, None, "", "")
    assert trials.asked == []  # so much room that the fine mesh changes nothing


def test_an_end_of_the_span_close_to_a_limit_is_tried_on_the_fine_mesh(small):
    """Coarse all along below its limit by a kelvin, fine above it at the upper end."""
    solved = {"mask": (lambda c: 34 + 300 * amps(c), lambda c: 20 * amps(c), 65.0, "degC")}
    trials = Invented(small, solved)
    found = size(trials, setting_of(small, "current"), "50 mA", "100 mA")
    [(_, high)] = found.ranges
    assert high.binds == "mask"
    check_end(trials, found, high, is_high=True)
    assert high.value == pytest.approx(31 / 320, abs=0.1 / 320)


def test_a_span_that_the_case_ends_says_why(small):
    trials = Invented(small, {"mask": (lambda _: 30.0, nothing, 65.0, "degC")})
    found = size(trials, setting_of(small, "speed"), None, "500 mm/s")
    [(_, high)] = found.ranges
    assert high.binds is None
    assert "too short to reach" in high.why


def test_a_limit_no_value_keeps_is_named_and_the_range_of_the_others_given(small):
    solved = {
        "mask": (lambda c: 20 + 300 * amps(c), lambda c: 12 * amps(c), 65.0, "degC"),
        "resist": (lambda c: 80 + 100 * amps(c) + 250 * speed(c), nothing, 55.0, "degC"),
    }
    trials = Invented(small, solved)
    found = size(trials, setting_of(small, "current"))
    assert found.never == ("resist",)
    [(low, high)] = found.ranges
    assert (low.binds, high.binds) == (None, "mask")
    assert high.value == pytest.approx(45 / 312, abs=0.1 / 312 + 1e-6)
    at, line = found.nearest("resist")
    assert at == pytest.approx(found.span.low)
    assert line.value == pytest.approx(80 + 1.0 + 5.0, abs=0.1)  # what is near
    moves = {m.key: m.changes["resist"] for m in found.movers}
    assert "ring.current" not in moves  # the setting itself is not offered beside it
    assert moves["scan.speed"] == pytest.approx(250 * 2e-3)  # a tenth more
    assert len(trials.asked) <= PER_END


def test_with_every_limit_hopeless_there_is_no_binding_end(small):
    solved = {"resist": (lambda c: 90 + 100 * amps(c), nothing, 55.0, "degC")}
    found = size(Invented(small, solved), setting_of(small, "current"))
    assert found.never == ("resist",)
    assert all(end.binds is None for ends in found.ranges for end in ends)


@pytest.mark.parametrize(("more", "never"), [(-2.0, ()), (0.2, ("mask",))])
def test_the_fine_mesh_has_a_say_in_what_no_value_keeps(small, more, never):
    """The coarse value lies 0.5 K above its limit at best."""
    solved = {"mask": (lambda c: 64.5 + 100 * amps(c), lambda _: more, 65.0, "degC")}
    trials = Invented(small, solved)
    found = size(trials, setting_of(small, "current"))
    assert found.never == never
    assert trials.asked
    if not never:
        [(_, high)] = found.ranges
        assert high.value == pytest.approx(2.5 / 100, abs=0.1 / 100)


def test_of_foils_the_last_and_the_spare_ones_are_offered_not_the_window(small_path, tmp_path):
    """The resist's rise falls by 1 K for every 10 um of any foil."""
    foil = '{ material = "titanium", thickness = "40 um" }'
    window = 'filters = [{ material = "beryllium", thickness = "250 um" }'
    text = small_path.read_text()
    assert f"{window}]" in text
    path = tmp_path / "foils.toml"
    path.write_text(text.replace(f"{window}]", f"{window}, {foil}]\nspare_filters = [{foil}]"))
    case = read_case(path)

    def resist(c):
        return 80 - 1e5 * sum(f.thickness.value for f in c.beam.filters)

    trials = Invented(case, {"resist": (resist, nothing, 55.0, "degC")})
    found = movers(trials, among=frozenset({"filter:"}))
    told = [(m.name, m.step, m.changes["resist"], m.ours) for m in found]
    assert told == [
        ("filter:titanium", "10 % more", pytest.approx(-0.4), True),
        ("filter:titanium", "40 um added", pytest.approx(-4.0), True),
    ]
    assert len(movers(trials, among=frozenset({"scan.speed"}))) == 1


def test_a_limit_the_setting_does_not_move_is_flat(small):
    solved = {
        "mask": (lambda c: 20 + 300 * amps(c), nothing, 65.0, "degC"),
        "resist": (lambda _: 56.0, nothing, 55.0, "degC"),
    }
    found = size(Invented(small, solved), setting_of(small, "current"))
    assert found.is_flat("resist")
    assert not found.is_flat("mask")
    assert "resist cannot be kept: 56 degC all along, limit 55 degC" in sizing_text(found, "")


def test_limits_that_are_kept_in_different_places_leave_no_range_but_tell_where_each_holds(small):
    solved = {
        "mask": (lambda c: 20 + 600 * amps(c), nothing, 65.0, "degC"),  # up to 75 mA
        "resist": (lambda c: 75 - 200 * amps(c), nothing, 55.0, "degC"),  # from 100 mA
    }
    found = size(Invented(small, solved), setting_of(small, "current"))
    assert (found.ranges, found.never) == ((), ())
    [(low, high)] = found.alone("mask")
    assert (low, high) == pytest.approx((found.span.low, 0.075), rel=5e-3)
    [(low, high)] = found.alone("resist")
    assert (low, high) == pytest.approx((0.1, found.span.high), rel=5e-3)


def test_a_case_without_limits_is_refused_before_any_trial(small):
    none = small.limits.model_copy(update=dict.fromkeys(dict(small.limits)))
    trials = Invented(small.model_copy(update={"limits": none}), {})
    with pytest.raises(SettingError, match="names no limit"):
        size(trials, setting_of(small, "current"))


def test_progress_only_grows_and_ends_at_one(small):
    told = [(-inf, "")]
    trials = Invented(small, {"mask": (RISES["ever faster"], nothing, 65.0, "degC")})
    size(trials, setting_of(small, "current"), tell=lambda text, share: told.append((share, text)))
    shares = [share for share, _ in told]
    assert shares == sorted(shares)
    assert told[-1] == (1.0, "done")


@pytest.mark.long
def test_the_highest_current_of_the_round_wafer_is_that_of_an_estimate():
    case = read_case(CASES / "round-wafer.toml")
    trials = Trials(case)
    setting = setting_of(case, "ring.current")
    found = size(trials, setting, "300 mA", "400 mA")
    [(low, high)] = found.ranges
    assert (to_unit(low.value, "mA", "current"), high.binds) == (pytest.approx(300.0), "mask")
    line = by_name(high.trial.lines)["mask"]
    assert -0.1 <= line.over <= 0  # K below 65 degC: what counts as near
    more = trials.fine(setting.applied(case, 1.005 * high.value), setting.key)
    assert by_name(more.lines)["mask"].over > 0  # 0.5 % of 45 K are 0.2 K
    changed = setting.applied(case, high.value)
    runs = CoarseRuns(changed, still=False)
    scene = replace(describe(changed), gap_change=runs.gap_change)
    outcome = run_once(*runs.fine(scene, mesh(scene)))
    values = {judged.name: judged.value for judged in outcome.judged}
    for name, one in by_name(high.trial.lines).items():
        if one.unit == "degC":  # the state's own tolerance, from another start
            assert values[name] == pytest.approx(one.value, abs=0.05)
    assert values["dose_ratio"] == pytest.approx(by_name(high.trial.lines)["dose_ratio"].value)


@pytest.mark.parametrize("words", [("scale", "water"), ("current", "mask.measured_at")])
def test_two_settings_of_a_chart_are_both_felt(small_path, words):
    """Each as the case that is told nothing of what was changed; one leaves the heat alone."""
    case = read_case(small_path, {"limits.placement": "1 um"})
    trials = Trials(case)
    values = {"scale": 1e-4, "water": 298.15, "current": 0.075, "mask.measured_at": 298.15}
    first, second = ((setting_of(case, word), values[word]) for word in words)
    key = common_key(first[0], second[0])
    both = second[0].applied(first[0].applied(case, first[1]), second[1])
    found, whole = trials.coarse(both, key), trials.coarse(both, "")
    assert found.excess == pytest.approx(whole.excess, rel=1e-3, abs=1e-3)
    assert found.placed.load == pytest.approx(whole.placed.load, rel=1e-3)


def test_a_chart_knows_when_heat_alone_is_changed(small):
    water, current, scale = (setting_of(small, w) for w in ("water", "current", "scale"))
    assert common_key(water, current) == water.key
    assert common_key(water, scale) == common_key(scale, water) == ""
