"""answer.json: its keys are stable, its numbers finite, and it reads back as it was written."""

import json
import math
import tomllib
from pathlib import Path

import pytest

from thermo.answer import Answer
from thermo.answer.schema import SCHEMA, PhotonBlock, PhotonLine
from thermo.case import read_case
from thermo.decide import estimate

STORED = tomllib.loads((Path(__file__).parent / "answer_keys.toml").read_text(encoding="utf-8"))
PARTS = STORED.pop("parts")
TOP = STORED.pop("answer")
ABSENT = {"still": {"resist_in_time", "cycle", "speed"}, "few_passes": {"speed"}}  # by regime


@pytest.fixture(params=["scanned", "held", "few"])
def answer(request):
    return request.getfixturevalue(request.param).answer


@pytest.fixture
def data(answer):
    return json.loads(answer.to_json())


def leaves(value):
    if isinstance(value, dict):
        value = value.values()
    if isinstance(value, str) or not hasattr(value, "__iter__"):
        yield value
    else:
        for part in value:
            yield from leaves(part)


def test_the_top_level_keys_are_the_stored_ones_in_their_order(data):
    assert list(data) == TOP
    assert data["schema"] == SCHEMA == 1


@pytest.mark.parametrize("block", STORED)
def test_the_keys_of_each_block_are_the_stored_ones(data, block):
    if block in ABSENT.get(data["regime"], ()):
        assert data[block] is None
    else:
        assert list(data[block]) == STORED[block]


@pytest.mark.parametrize("table", ["temperature", "sensors", "limits", "assumed", "path"])
def test_the_keys_of_each_element_are_the_stored_ones(data, table):
    elements = data[table]
    elements = list(elements.values()) if isinstance(elements, dict) else elements
    assert elements
    assert all(list(element) == PARTS[table] for element in elements)


def test_the_keys_of_placement_at_each_depth_are_the_stored_ones(data):
    placement = data["placement"]
    depths = [placement[d] for d in ("top", "middle", "base") if placement[d]]
    depths += placement["sample"].values()
    assert all(list(depth) == PARTS["depth"] for depth in depths)
    assert list(placement["uniform_offset"]) == PARTS["uniform_offset"]


def test_the_keys_of_what_photons_and_solves_tell_are_the_stored_ones(data):
    assert data["photons"] is None  # unless asked for
    assert list(PhotonBlock.model_fields) == PARTS["photons"]
    assert list(PhotonLine.model_fields) == PARTS["photon_line"]
    assert list(data["mesh"]["solve"]) == PARTS["solve"]


def test_the_text_reads_back_as_the_same_answer(answer):
    assert Answer.model_validate_json(answer.to_json()) == answer


def test_every_number_is_finite(data):
    numbers = [v for v in leaves(data) if isinstance(v, float)]
    assert len(numbers) > 100
    assert all(math.isfinite(v) for v in numbers)
    assert not {"NaN", "Infinity"} & set(json.dumps(data).split('"'))


def test_the_same_case_gives_the_same_answer_but_for_the_clock(small_path, scanned):
    again = estimate(read_case(small_path))
    clock = {"seconds": True, "mesh": {"solve": {"seconds"}}, "cycle": {"march_K"}}  # not marched
    assert again.model_dump(exclude=clock) == scanned.answer.model_dump(exclude=clock)


def test_the_answer_names_its_case_by_title_and_hash(answer):
    assert answer.case.title == "Small invented plate"
    assert len(answer.case.sha256) == 64


def test_everything_the_case_did_not_give_is_listed(answer):
    keys = {line.key for line in answer.assumed}
    assert keys >= {"materials.PMMA.conductivity", "materials.gold.expansion"}


def test_heat_in_is_heat_out(answer):
    stays = {"transmitted", "escaped", "beside"}
    heat = sum(v for k, v in answer.heat_W.items() if k not in stays)
    # the solve's own balance, tighter than any figure printed
    assert heat == pytest.approx(sum(answer.heat_out_W.values()), rel=1e-8)


def test_the_open_column_takes_what_comes_before_the_first_window(answer):
    total = sum(answer.absorbed_W_per_cm.values())
    # the spectrum's own quadrature
    assert total == pytest.approx(answer.beam.incident_W_per_cm, rel=1e-6)


def test_the_sensor_reads_between_water_and_the_hottest_place_of_its_part(answer):
    sensor, part = answer.sensors["edge"], answer.temperature["silicon"]
    assert 20 < sensor.mean_C < sensor.peak_C + 1e-9
    assert sensor.peak_C < part.peak_C
    assert sensor.mean_C <= sensor.peak_C <= sensor.high_C
    assert sensor.low_C is None or sensor.low_C <= sensor.mean_C
    assert sensor.cold_C == pytest.approx(20, abs=1e-6)  # of every sink; a solve's residual
