"""Sensors: what they should read, from where on to raise the alarm, and what they can tell."""

import numpy as np
import pytest

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.scene import describe
from thermo.answer.sensors import SEEN, SLOWER, sensor_block
from thermo.answer.spread import Spread
from thermo.answer.state import solve_state
from thermo.answer.temperature import hottest, readings
from thermo.case import read_case, with_value
from thermo.solve import Solver

JOINT = "sample.joint.resistance"
ENDS = (1e-4, 2e-3)  # m2 K/W, of the small plate's joint


@pytest.fixture(scope="module")
def at_ends(scanned):
    """The plate with its joint at both ends of its range, solved on the mesh of the answer."""
    case = scanned.outcome.scene.case
    scenes = [describe(with_value(case, JOINT, R)) for R in ENDS]
    return [solve_state(scene, scanned.outcome.state.meshed, Solver()) for scene in scenes]


def test_the_band_holds_the_reading_from_cold_start_to_peak(scanned, held, few):
    for result in (scanned, held, few):
        for name, sensor in result.answer.sensors.items():
            read = readings(result.outcome.state)[name]
            assert (sensor.mean_C, sensor.peak_C) == (read.mean, read.peak)
            assert read.low <= sensor.mean_C <= sensor.peak_C < sensor.high_C
            if sensor.low_C is not None:  # of a short exposure the high alarm alone
                assert sensor.low_C < read.low
            assert sensor.cold_C == pytest.approx(20, abs=1e-6)  # of every sink
            assert sensor.cold_C < sensor.mean_C
            assert 0 < sensor.settled_s < 100  # s: five times the slowest body's 20 s
            assert 0 <= sensor.half_s < sensor.settled_s


def test_the_band_holds_the_readings_at_both_ends_of_the_joint(scanned, at_ends):
    """The joint alone moves less than all inputs together; 0.05 K of the coarse mesh's cycle."""
    for state in at_ends:
        for name, read in readings(state).items():
            sensor = scanned.answer.sensors[name]
            assert sensor.low_C < read.mean < sensor.high_C
            assert read.low > sensor.low_C - 0.05
            assert read.peak < sensor.high_C + 0.05


def test_what_the_joint_does_to_a_reading_is_the_difference_of_its_ends(scanned, at_ends):
    """On the answer's mesh, solved anew: the coarse one is off by 5 % of a difference."""
    low, high = (readings(state) for state in at_ends)
    for name, sensor in scanned.answer.sensors.items():
        moved = abs(high[name].mean - low[name].mean)
        assert sensor.joint_K == pytest.approx(moved, rel=0.05, abs=2e-3)


def test_the_edge_of_the_sample_can_tell_the_joint_and_the_holder_cannot(scanned):
    """What leaves the sample reaches the holder through any joint: its reading hardly moves."""
    edge, base = (scanned.answer.sensors[name] for name in ("edge", "base"))
    assert edge.joint_K >= SEEN > 5 * base.joint_K
    assert edge.tells.startswith("can tell the joint")
    assert "cannot tell the joint" in base.tells


def test_over_a_narrow_joint_a_bright_beam_tells_it_at_the_edge_and_not_in_the_holder(small_path):
    """Neither reading nor half time of the holder moves enough; the sentence says where to look."""
    joint = "3e-4 m2 K/W (1.5e-4 .. 6e-4)"
    case = read_case(small_path, {"ring.current": "400 mA", JOINT: joint})
    runs = CoarseRuns(case, False)
    ends = [runs.changed(with_value(case, JOINT, R), JOINT) for R in (1.5e-4, 6e-4)]
    moved = {JOINT: tuple(runs.change(end) for end in ends)}
    found = sensor_block(runs.typical, runs, Spread({}, moved))
    edge, base = (found[name] for name in ("edge", "base"))
    assert edge.joint_K > SEEN > base.joint_K
    assert max(base.joint_half_s) < SLOWER * min(base.joint_half_s)
    assert edge.tells.startswith("can tell the joint")
    assert base.tells.startswith("cannot tell the joint")
    assert "edge of the sample" in base.tells


def test_a_cool_down_of_next_to_nothing_is_not_offered(few):
    """Seven passes hardly warm the sample: no thermocouple sees how fast 1 K halves."""
    edge = few.answer.sensors["edge"]
    assert edge.joint_K < SEEN
    assert max(edge.joint_half_s) > SLOWER * min(edge.joint_half_s)
    assert edge.peak_C - edge.cold_C < 2 * SEEN
    assert "cool-down" not in edge.tells


def test_the_sentence_tells_the_figures_of_the_block(scanned, few):
    for result in (scanned, few):
        for sensor in result.answer.sensors.values():
            assert f"moves by {sensor.joint_K:.2g} K" in sensor.tells
            if "halves in" in sensor.tells:
                low, high = sensor.joint_half_s
                assert f"halves in {low:.3g} to {high:.3g} s" in sensor.tells


def test_what_the_resist_moves_by_stands_beside_it(scanned, at_ends):
    low, high = (float(state.peak[hottest(state, "resist")]) for state in at_ends)
    told = scanned.answer.sensors["edge"].tells
    moved = float(told.split("resist moves by ")[1].split(" K")[0])
    assert moved == pytest.approx(high - low, rel=0.05)  # two digits, and the coarse mesh


def test_without_a_range_of_the_joint_there_is_nothing_to_decide(small_path):
    runs = CoarseRuns(read_case(small_path, {JOINT: "3e-4 m2 K/W"}), False)
    for sensor in sensor_block(runs.typical, runs, Spread({}, {})).values():
        assert sensor.joint_K is sensor.joint_half_s is None
        assert "nothing to decide" in sensor.tells
        assert sensor.low_C <= sensor.mean_C <= sensor.high_C


def test_the_half_time_is_that_of_the_fields_in_time(scanned):
    """By the course at the nearest node; straight between 400 times that grow by 4 % each."""
    course = scanned.course
    for name, sensor in scanned.answer.sensors.items():
        at = readings(course.state)[name].near
        end, half = course.warm_up.cooled(
            np.array([0.0, sensor.half_s]), scanned.outcome.dose.time, *at
        )
        assert half == pytest.approx(end / 2, rel=0.01)
