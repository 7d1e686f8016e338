"""Curves through made-up trials: where limits hold, kinks between trials, turns, what is left out.

All values are invented; the curves are checked against the formulas they are taken from.
"""

import numpy as np
import pytest

from thermo.answer.outcome import Judged
from thermo.decide.curves import Curves
from thermo.decide.search import AIM, allowed
from thermo.decide.trial import Trial

LIMIT = 65.0  # degC
NEAR = 0.1  # degC: what counts as at a limit of that unit
PLACES = np.linspace(0.0, 10.0, 11)


def judged(name, value, limit=LIMIT, unit="degC"):
    return Judged(name, "mask", unit, value, limit, "case")


def trial(fine=False, **values):
    return Trial(tuple(judged(n, v) for n, v in values.items()), (), None, 0.0, fine)


def curves_of(places=PLACES, light=None, **formulas):
    """Coarse trials at some places, each value by its formula."""
    coarse = {
        float(p): trial(**{name: float(f(p)) for name, f in formulas.items()}) for p in places
    }
    return Curves(coarse, light or {})


def ranges(curves):
    return allowed(curves, curves.places)


def test_a_value_that_rises_through_its_limit_allows_what_lies_below():
    curves = curves_of(mask=lambda p: LIMIT + 4 * (p - 6.3))
    [(low, high)] = ranges(curves)
    assert low == 0.0
    inside = AIM * NEAR / 4  # how far inside the end is put; a straight line is met exactly
    assert high == pytest.approx(6.3 - inside, abs=1e-9)


def test_two_limits_from_both_sides_allow_what_lies_between():
    curves = curves_of(mask=lambda p: LIMIT + 4 * (p - 7), resist=lambda p: LIMIT - 2 * (p - 3))
    [(low, high)] = ranges(curves)
    assert (low, high) == pytest.approx((3 + AIM * NEAR / 2, 7 - AIM * NEAR / 4), abs=1e-9)


def test_a_hump_in_the_middle_leaves_two_ranges():
    curves = curves_of(mask=lambda p: LIMIT + 4 - (p - 5) ** 2)
    (low, first), (second, high) = ranges(curves)
    assert (low, high) == (0.0, 10.0)
    # +-2 of the middle are broken; a cubic through trials one apart is off by far less than 0.1
    assert (first, second) == pytest.approx((3.0, 7.0), abs=0.1)


def test_a_value_above_its_limit_everywhere_allows_nothing():
    assert ranges(curves_of(mask=lambda p: LIMIT + 1 + p)) == []


def test_a_value_below_its_limit_everywhere_allows_the_whole_span():
    assert ranges(curves_of(mask=lambda p: LIMIT - 1 - p)) == [(0.0, 10.0)]


def test_a_value_only_just_inside_its_limit_is_not_enough():
    """An end is aimed at a part of what is near inside the limit, for the fine mesh to keep it."""
    assert ranges(curves_of(mask=lambda _: LIMIT - 0.9 * AIM * NEAR)) == []
    assert ranges(curves_of(mask=lambda _: LIMIT - 1.1 * AIM * NEAR)) == [(0.0, 10.0)]


def test_a_value_that_is_not_known_is_not_allowed():
    coarse = {p: trial(mask=None if p > 5 else 20.0) for p in PLACES.tolist()}
    [(low, high)] = ranges(Curves(coarse, {}))
    assert low == 0.0
    assert 5.0 <= high < 6.0


@pytest.mark.parametrize("kink", [3.5, 5.2, 6.75])
def test_the_tip_of_a_kink_between_coarse_trials_is_found(kink):
    """|p - a| - 0.1: every trial breaks the limit, the tip keeps it."""
    curves = curves_of(mask=lambda p: LIMIT + abs(p - kink) - 0.1)
    assert curves.tips("mask") == pytest.approx([kink], abs=1e-9)  # both arms are straight


def test_the_tip_of_a_kink_with_unlike_arms_is_found():
    curves = curves_of(mask=lambda p: LIMIT + max(3 * (4.4 - p), 0.5 * (p - 4.4)) - 0.1)
    assert curves.tips("mask") == pytest.approx([4.4], abs=1e-9)


def test_there_is_no_tip_where_the_value_stays_above_its_limit():
    assert curves_of(mask=lambda p: LIMIT + abs(p - 5.2) + 0.1).tips("mask") == []
    assert curves_of(mask=lambda p: LIMIT + 1 + 0.5 * (p - 5.2) ** 2).tips("mask") == []


def test_there_is_no_tip_where_trials_keep_the_limit_or_nothing_turns():
    assert curves_of(mask=lambda p: LIMIT + abs(p - 5) - 2).tips("mask") == []
    assert curves_of(mask=lambda p: LIMIT + p).tips("mask") == []
    assert curves_of(PLACES[:3], mask=lambda p: LIMIT + abs(p - 1.4) - 0.1).tips("mask") == []


def test_a_turn_is_told_at_the_trial_where_it_is():
    assert curves_of(mask=lambda p: abs(p - 4)).turns("mask") == [4.0]
    both = curves_of(mask=lambda p: 20 * np.sin(p * np.pi / 5 + 1e-3)).turns("mask")
    assert both == pytest.approx([2.5, 7.5], abs=0.6)  # half the step of the trials, and a little


def test_a_value_that_rises_or_falls_all_along_has_no_turn():
    assert curves_of(mask=lambda p: p**3).turns("mask") == []
    assert curves_of(mask=lambda p: -p).turns("mask") == []
    assert curves_of(mask=lambda _: 20.0).turns("mask") == []


def test_a_turn_within_the_noise_of_the_mesh_is_none():
    def noisy(p, size):
        return 5 * p + (-1) ** round(p) * (size + 5) / 2  # every other step goes `size` back

    assert curves_of(mask=lambda p: noisy(p, 1.9 * NEAR)).turns("mask") == []
    assert len(curves_of(mask=lambda p: noisy(p, 2.1 * NEAR)).turns("mask")) == 9


def test_turns_look_past_flat_stretches_and_values_that_are_not_known():
    flat = curves_of(mask=lambda p: np.interp(p, [0, 3, 6, 10], [50, 40, 40, 55]))
    assert flat.turns("mask") == [3.0]
    known = {p: trial(mask=None if p in (4.0, 5.0) else p) for p in PLACES.tolist()}
    assert Curves(known, {}).turns("mask") == []
    assert Curves({0.0: trial(mask=None), 1.0: trial(mask=None)}, {}).turns("mask") == []


def test_one_fine_trial_shifts_the_curve_by_what_it_adds():
    curves = curves_of(mask=lambda p: 50 + p)
    places = np.linspace(0, 10, 7)
    shifted = curves.with_fine(4.0, trial(fine=True, mask=54.0 + 1.5))
    assert shifted.excess("mask", places) == pytest.approx(50 + places + 1.5 - LIMIT)
    assert curves.excess("mask", places) == pytest.approx(50 + places - LIMIT)  # left alone


def test_what_the_fine_mesh_adds_runs_straight_between_fine_trials():
    curves = curves_of(mask=lambda p: 50 + p)
    both = curves.with_fine(2.0, trial(fine=True, mask=52.0 + 1.0)).with_fine(
        6.0, trial(fine=True, mask=56.0 + 3.0)
    )
    places = np.array([0.0, 2.0, 4.0, 6.0, 10.0])
    more = np.array([1.0, 1.0, 2.0, 3.0, 3.0])  # beyond the outermost it stays
    assert both.excess("mask", places) == pytest.approx(50 + places + more - LIMIT)


def test_a_fine_trial_between_coarse_ones_is_met_exactly():
    curves = curves_of(mask=lambda p: 50 + 0.1 * p**2).with_fine(4.7, trial(fine=True, mask=53.3))
    assert curves.excess("mask", np.array([4.7])) == pytest.approx(53.3 - LIMIT, abs=1e-12)
    assert 4.7 in curves.places


def test_what_the_light_decides_is_straight_between_its_own_closer_places():
    light = {p: trial(dose=40 + p**2) for p in np.linspace(0, 10, 41).tolist()}
    curves = curves_of(light=light, dose=lambda p: 40 + p**2, mask=lambda _: 20.0)
    at = np.array([0.125, 3.125])  # midway: straight lines lie h2/4 above a parabola
    assert curves.excess("dose", at) == pytest.approx(40 + at**2 + 0.125**2 - LIMIT, abs=1e-9)


def test_limits_left_out_do_not_count():
    curves = curves_of(mask=lambda p: LIMIT + 4 * (p - 6), resist=lambda p: LIMIT + 1 + p)
    assert ranges(curves) == []
    asked = Curves(curves.coarse, {}, left_out=frozenset({"resist"}))
    [(low, high)] = ranges(asked)
    assert (low, high) == pytest.approx((0.0, 6 - AIM * NEAR / 4), abs=1e-9)
    assert asked.names() == ["mask"]
    at = curves.coarse[2.0]
    assert asked.holds(at)
    assert not curves.holds(at)
    assert asked.binding(at)[0] == "mask"
    assert curves.binding(at) == ("resist", pytest.approx(3.0 / NEAR))


def test_with_every_limit_left_out_all_is_allowed():
    curves = Curves(curves_of(mask=lambda p: 80 + p).coarse, {}, left_out=frozenset({"mask"}))
    assert ranges(curves) == [(0.0, 10.0)]
    assert curves.never() == []


def test_limits_that_no_place_keeps_are_named_and_those_that_one_keeps_are_not():
    curves = curves_of(
        mask=lambda p: LIMIT + 4 * (p - 6),
        resist=lambda p: LIMIT + 0.01 + p,
        glue=lambda p: LIMIT + p,  # at its limit at 0
    )
    assert curves.never() == ["resist"]


def test_fine_trials_have_a_say_in_what_no_place_keeps():
    curves = curves_of(mask=lambda p: LIMIT + 0.5 + p)
    assert curves.never() == ["mask"]
    assert curves.with_fine(0.0, trial(fine=True, mask=LIMIT - 0.1)).never() == []


def test_the_limit_nearest_to_broken_is_told_place_by_place():
    curves = curves_of(mask=lambda p: 40 + 5 * p, resist=lambda p: 65 - p)
    worst, names = curves.most(np.array([0.0, 2.0, 9.0]))
    assert names == ["resist", "resist", "mask"]
    assert worst == pytest.approx([0.0, -2 / NEAR, 20 / NEAR])


def test_what_counts_as_near_follows_the_unit_of_the_limit():
    lines = (judged("mask", 60.0), judged("placement", 0.3, 0.5, "um"), judged("ratio", 4, 5, ""))
    curves = Curves({0.0: Trial(lines, (), None, 0.0, False)}, {})
    assert [curves.near(line.name) for line in lines] == pytest.approx([0.1, 1e-3, 5e-3])
    with pytest.raises(KeyError):
        curves.near("resist")
