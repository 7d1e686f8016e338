"""Settings offered for the body that limits, tried by a stand-in that changes nothing."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from thermo.answer.levers import try_levers
from thermo.case import input_at


class NothingHelps:
    """Stands in for the runs on the coarse mesh: no setting moves any value."""

    def __init__(self):
        self.keys = []

    def changed(self, case, key):
        self.keys.append((key, input_at(case, key)))
        return SimpleNamespace(dose=SimpleNamespace(time=60.0))

    def change(self, after):
        return {}


def offered(scanned, broken, current=0.04):
    """Keys offered where the named limits lie 1 below their values."""
    outcome = scanned.outcome
    judged = tuple(replace(j, limit=j.value - 1) if j.name in broken else j for j in outcome.judged)
    runs = NothingHelps()
    found = list(try_levers(replace(outcome, judged=judged), runs, current))
    return [t.key for t in found], found, dict(runs.keys)


def test_nothing_is_offered_where_every_limit_is_kept(scanned):
    assert offered(scanned, ())[0] == []


def test_pressure_and_gap_are_never_offered_for_a_resist_that_limits(scanned):
    keys, _, _ = offered(scanned, ("resist",))
    assert not {"chamber.pressure", "gap.width", "mask.frame.cooling"} & set(keys)
    assert set(keys) >= {"scan.speed", "beam.filters.1.thickness", "sample.joint.resistance"}


def test_pressure_and_gap_are_offered_for_a_mask_that_limits(scanned):
    assert {"chamber.pressure", "gap.width"} <= set(offered(scanned, ("mask",))[0])


def test_a_dose_ratio_is_mended_by_filters_alone(scanned):
    assert offered(scanned, ("dose_ratio",))[0] == ["beam.filters.1.thickness"]


def test_a_setting_that_helps_nothing_cures_nothing(scanned):
    _, tried, _ = offered(scanned, ("resist", "mask"))
    assert tried
    assert not any(t.cures for t in tried)


def test_a_faster_scan_keeps_the_overscan_that_an_even_dose_needs(scanned):
    _, _, changed = offered(scanned, ("resist",))
    speed = changed["scan.speed"].value
    motion = replace(scanned.outcome.scene.motion, speed=speed)
    sigma = scanned.outcome.scene.sigma
    assert 0.020 < speed <= 0.080
    assert 0.012 + 6 * sigma + 2 * motion.turn <= 0.026


@pytest.mark.parametrize("current", [None, 0.06])
def test_a_current_is_offered_only_where_a_lower_one_is_known_to_do(scanned, current):
    assert "ring.current" in offered(scanned, ("resist",))[0]
    assert "ring.current" not in offered(scanned, ("resist",), current)[0]
