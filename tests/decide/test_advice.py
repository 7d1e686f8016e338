"""Settings offered for the limit that is broken, and the search for the smallest that cures.

The search runs on a stand-in for the runs on the coarse mesh, with values that are known powers of
the settings, invented.
"""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from thermo.answer.scene import describe
from thermo.case import input_at, read_case
from thermo.decide.advice import advise
from thermo.decide.levers import levers_of

COLD = 20.0  # degC: what the powers leave


class Powers:
    """Rises above COLD as powers of settings; nothing else moves any value.

    coarser : what the coarse mesh adds to each rise, as a share
    lost : a key that, once changed, leaves the value of a limit unknown
    """

    def __init__(self, outcome, powers, coarser=0.0, lost=("", "")):
        self.outcome, self.powers = outcome, powers
        self.coarser, self.lost = coarser, lost
        self.rough = replace(outcome, judged=tuple(self._moved(j, None) for j in outcome.judged))
        self.tried = []

    def changed(self, case, key, far=False):
        self.tried.append(key)
        assert far
        judged = tuple(self._moved(j, case) for j in self.outcome.judged)
        return SimpleNamespace(judged=judged, dose=SimpleNamespace(time=60.0))

    def _moved(self, line, case):
        if line.value is None:
            return line
        base = self.outcome.scene.case
        cold = COLD if line.unit == "degC" else 0.0
        rise = (line.value - cold) * (1 + self.coarser)
        for key, power in self.powers.get(line.name, {}).items():
            old, new = (input_at(c, key).value for c in (base, case or base))
            rise *= (new / old) ** power
        key, name = self.lost
        gone = case and name == line.name and input_at(case, key) != input_at(base, key)
        return replace(line, value=None if gone else cold + rise)


def advised(scanned, limits, powers, current=None, **more):
    """Changes for values of 50 (resist) and 80 degC (mask) beside some limits."""
    known = {"resist": 50.0, "mask": 80.0}
    judged = tuple(
        replace(j, value=known.get(j.name, j.value), limit=limits.get(j.name, j.limit))
        for j in scanned.outcome.judged
    )
    outcome = replace(scanned.outcome, judged=judged)
    runs = Powers(outcome, powers, **more)
    return advise(outcome, runs, current), runs


def keys(scanned, *broken, current=0.04):
    return [v.setting.key for v in levers_of(scanned.outcome, None, current, broken)]


def test_pressure_and_gap_are_never_offered_for_a_resist_that_limits(scanned):
    found = keys(scanned, "resist")
    assert not {"chamber.pressure", "gap.width", "mask.frame.cooling"} & set(found)
    assert set(found) >= {"scan.speed", "beam.filters.1.thickness", "sample.joint.resistance"}


def test_pressure_and_gap_are_offered_for_a_mask_that_limits(scanned):
    assert {"chamber.pressure", "gap.width"} <= set(keys(scanned, "mask"))


def test_a_dose_ratio_is_mended_by_filters_alone(scanned):
    assert keys(scanned, "dose_ratio") == ["beam.filters.1.thickness"]


def test_spare_foils_are_offered_as_they_are(small_path):
    spare = '[{ material = "titanium", thickness = "50 um" }, ' + (
        '{ material = "beryllium", thickness = "100 um" }]'
    )
    text = small_path.read_text(encoding="utf-8").replace(
        "[scan]", f"spare_filters = {spare}\n[scan]"
    )
    path = small_path.parent / "spare.toml"
    path.write_text(text, encoding="utf-8")
    outcome = SimpleNamespace(scene=describe(read_case(path)))
    usual, titanium, more = levers_of(outcome, None, None, ["dose_ratio"])
    assert usual.far == pytest.approx(1e-3)
    assert titanium.value(0.3) == pytest.approx(50e-6)  # as it is, whatever share is asked for
    assert titanium.text(titanium.far) == "titanium filter 0 -> 50 um"
    assert more.far == pytest.approx(350e-6)  # on top of the 250 um there


def test_a_gap_that_closes_is_made_wider_not_narrower(scanned):
    (lever,) = levers_of(scanned.outcome, None, None, ["gap_closing"])
    assert lever.far > lever.setting.present
    (lever,) = (
        v for v in levers_of(scanned.outcome, None, None, ["mask"]) if v.setting.key == "gap.width"
    )
    assert lever.far < lever.setting.present


def test_a_faster_scan_keeps_the_overscan_that_an_even_dose_needs(scanned):
    lever = next(iter(levers_of(scanned.outcome, None, None, ["resist"])))
    motion = replace(scanned.outcome.scene.motion, speed=lever.far)
    assert lever.setting.key == "scan.speed"
    assert 0.020 < lever.far <= 0.080
    assert 0.012 + 6 * scanned.outcome.scene.sigma + 2 * motion.turn <= 0.026


@pytest.mark.parametrize("current", [None, 0.06])
def test_a_current_is_offered_only_where_a_lower_one_is_known_to_do(scanned, current):
    assert "ring.current" in keys(scanned, "resist")
    assert "ring.current" not in keys(scanned, "resist", current=current)


def test_a_share_of_the_reach_is_rounded_to_two_digits_away_from_the_present(scanned):
    levers = {v.setting.key: v for v in levers_of(scanned.outcome, None, None, ["resist", "mask"])}
    foil, gap = levers["beam.filters.1.thickness"], levers["gap.width"]
    assert foil.value(0.5) == pytest.approx(500e-6)  # 250 um, reach 4: exact
    assert foil.value(0.51) == pytest.approx(510e-6)  # 507
    assert gap.value(0.5) == pytest.approx(57e-6)  # 100 um, reach 1/3: 57.7
    assert gap.value(1.0) == gap.far


def test_nothing_is_tried_where_every_limit_is_kept(scanned):
    found, runs = advised(scanned, {}, {})
    assert (found, runs.tried) == ([], [])


def test_the_smallest_change_that_cures_is_found_and_comes_first(scanned):
    """A rise of 30 K to bring to 24: a speed by 1.5625, a foil by 1.25 at these powers."""
    powers = {"resist": {"scan.speed": -0.5, "beam.filters.1.thickness": -1.0}}
    found, _ = advised(scanned, {"resist": 44.0}, powers)
    foil = found[0]
    assert foil.cures
    assert foil.levers[0].setting.key == "beam.filters.1.thickness"
    used = foil.levers[0].value(foil.share) / 250e-6
    assert 1.25 <= used < 1.25 * 1.08  # two digits and the room inside the limit
    assert foil.values["resist"] <= 44.0
    assert [c.cures for c in found] == sorted((c.cures for c in found), reverse=True)
    assert sum(c.cures for c in found) == 2  # joint and water do nothing here


def test_what_one_cannot_do_two_do_together_with_no_more_than_needed(scanned):
    """The mask's 60 K to 10 K: the gap alone leaves 20, the foil 15, both at their ends 5."""
    powers = {"mask": {"gap.width": 1.0, "beam.filters.1.thickness": -1.0}}
    found, _ = advised(scanned, {"mask": 30.0}, powers)
    first = found[0]
    assert first.cures
    assert {v.setting.key for v in first.levers} == set(powers["mask"])
    assert not any(c.cures for c in found[1:])
    assert 27.5 < first.values["mask"] <= 30.0
    assert "together" in first.text


def test_three_are_turned_together_where_two_do_not_do(scanned):
    powers = {"mask": {"gap.width": 1.0, "beam.filters.1.thickness": -1.0, "scan.speed": -1.0}}
    found, _ = advised(scanned, {"mask": 23.5}, powers)  # 60 K / 3 / 4 leaves 5
    assert found[0].cures
    assert len(found[0].levers) == 3


def test_a_change_that_breaks_the_dose_plan_cures_nothing(scanned):
    """The foil that cools the mask makes the metal let too much through."""
    powers = {
        "mask": {"beam.filters.1.thickness": -1.0},
        "dose_under_absorber": {"beam.filters.1.thickness": 1.0},
    }
    under = next(j for j in scanned.outcome.judged if j.name == "dose_under_absorber")
    limits = {"mask": 40.0, "dose_under_absorber": 1.3 * under.value}
    found, _ = advised(scanned, limits, powers)
    assert found
    assert not any(c.cures for c in found)


def test_where_nothing_helps_nothing_cures_and_no_pair_is_tried(scanned):
    found, runs = advised(scanned, {"resist": 44.0, "mask": 70.0}, {})
    assert found
    assert not any(c.cures for c in found)
    assert len(runs.tried) == len(found)


def test_what_halves_the_coarse_rise_halves_the_fine_one(scanned):
    """A coarse mesh that makes every rise a third too high: the cure is that of the fine one."""
    powers = {"mask": {"gap.width": 1.0}}
    for coarser in (-0.25, 0.0, 1 / 3):
        found, _ = advised(scanned, {"mask": 50.0}, powers, coarser=coarser)
        assert found[0].cures
        assert found[0].levers[0].value(found[0].share) == pytest.approx(49e-6)  # 30 K of 60 left
        assert found[0].values["mask"] == pytest.approx(COLD + 60 * 0.49)


def test_a_value_that_is_no_longer_known_is_not_kept(scanned):
    powers = {"mask": {"beam.filters.1.thickness": -1.0}}
    found, _ = advised(scanned, {"mask": 40.0}, powers)
    assert found[0].cures
    lost = ("beam.filters.1.thickness", "resist")
    found, _ = advised(scanned, {"mask": 40.0}, powers, lost=lost)
    assert not any(c.cures for c in found)


def test_a_limit_with_hardly_any_room_that_nothing_moves_does_not_stop_the_search(scanned):
    top = next(j for j in scanned.outcome.judged if j.name == "dose_top")
    powers = {"mask": {"beam.filters.1.thickness": -1.0}}
    wide, _ = advised(scanned, {"mask": 70.0}, powers)
    tight, _ = advised(scanned, {"mask": 70.0, "dose_top": 1.001 * top.value}, powers)
    assert tight[0].cures
    assert tight[0].share == wide[0].share


def test_a_cure_in_the_middle_of_a_reach_is_found(scanned):
    """A foil 1.5 times as thick cures the mask; at its end it lets 16 times too much under gold."""
    under = next(j for j in scanned.outcome.judged if j.name == "dose_under_absorber")
    powers = {
        "mask": {"beam.filters.1.thickness": -1.0},
        "dose_under_absorber": {"beam.filters.1.thickness": 2.0},
    }
    limits = {"mask": 60.5, "dose_under_absorber": 3 * under.value}
    found, _ = advised(scanned, limits, powers)
    assert found[0].cures
    assert 1.48 < found[0].levers[0].value(found[0].share) / 250e-6 < 1.73


def test_levers_that_work_against_each_other_on_one_value_are_tried_together(scanned):
    """The foil halves what the gap adds to the resist: more than their sum says."""
    powers = {
        "resist": {"gap.width": -0.2, "beam.filters.1.thickness": -0.5},
        "mask": {"gap.width": 1.0, "beam.filters.1.thickness": -0.5},
    }
    found, _ = advised(scanned, {"resist": 40.0, "mask": 31.0}, powers)
    assert found[0].cures
    assert {v.what for v in found[0].levers} == {"gap.width", "beryllium"}


def test_what_stands_for_several_levers_is_one_that_leaves_the_bodies_or_none(scanned):
    powers = {"mask": {"gap.width": 1.0, "beam.filters.1.thickness": -1.0}}
    _, runs = advised(scanned, {"mask": 30.0}, powers)
    assert runs.tried[-1] == ""  # a gap moves a body
    powers = {"mask": {"scan.speed": -1.0, "beam.filters.1.thickness": -1.0}}
    _, runs = advised(scanned, {"mask": 30.0}, powers)
    assert runs.tried[-1] in ("scan.speed", "beam.filters.1.thickness")


def test_a_held_beam_has_no_stroke_to_change(held):
    assert list(levers_of(held.outcome, None, None, ["exposure_time"])) == []


def test_a_foil_of_a_micrometre_is_found_in_the_beam(small_path):
    case = read_case(small_path, {"beam.filters.1.thickness": "1 um"})
    outcome = SimpleNamespace(scene=describe(case))
    (lever,) = levers_of(outcome, None, None, ["dose_ratio"])
    assert (lever.setting.key, lever.setting.present) == ("beam.filters.1.thickness", 1e-6)
    assert lever.value(0.5) == pytest.approx(2e-6)
