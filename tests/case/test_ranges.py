"""Inputs with a spread, and the case with one of them changed."""

import math

import pytest

from thermo.case import ranges, read_case, starter_text, with_value
from thermo.errors import CaseError
from thermo.materials import material


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    path = tmp_path_factory.mktemp("case") / "starter.toml"
    own = '[materials.own]\nlike = "epoxy"\ndensity = "1200 kg/m3 (1150 .. 1250)"\n'
    text = starter_text("Starter").replace('"epoxy"', '"own"') + own
    path.write_text(text, encoding="utf-8")
    return read_case(path)


def by_key(case):
    return {entry.key: entry for entry in ranges(case)}


def test_what_was_given_or_assumed_with_a_spread_is_listed(case):
    found = by_key(case)
    assert found.keys() >= {
        "mask.absorber.coverage",
        "sample.joint.resistance",
        "chamber.accommodation_mask",
        "chamber.accommodation_sample",
        "chamber.outer_film",
        "mask.membrane.tension",
        "mask.frame.contact",
        "mask.frame.cooling",
        "mask.absorber.kind",
        "materials.PMMA.conductivity",
        "materials.own.density",
    }
    joint = found["sample.joint.resistance"]
    assert (joint.low, joint.value, joint.high, joint.unit) == (1e-4, 3e-4, 4e-3, "m2 K/W")
    assert joint.source == "given in the case"
    assert "Trott" in found["chamber.accommodation_mask"].source


def test_what_is_known_exactly_is_not_listed(case):
    found = by_key(case)
    assert "ring.current" not in found
    assert "gap.width" not in found
    assert "materials.helium.conductivity" not in found
    assert "materials.PMMA.density" not in found  # table values other than the stack's three
    assert all(entry.low <= entry.value <= entry.high for entry in found.values() if entry.unit)


def test_every_end_of_every_range_is_a_case_without_that_range(case):
    before = by_key(case).keys()
    for entry in ranges(case):
        for value in (entry.low, entry.high):
            after = by_key(with_value(case, entry.key, value)).keys()
            assert after == before - {entry.key}


def test_a_changed_value_is_certain_and_the_rest_stays(case):
    changed = with_value(case, "sample.joint.resistance", 4e-3)
    assert changed.sample.joint.resistance.value == 4e-3
    assert not changed.sample.joint.resistance.has_range
    assert changed.assumed == case.assumed  # it was given, not assumed
    assert changed.sample.holder == case.sample.holder
    assert changed.ring == case.ring
    assert case.sample.joint.resistance.value == 3e-4
    assert type(changed) is type(case)


def test_elements_of_lists_are_counted_from_one(case):
    changed = with_value(case, "beam.filters.2.thickness", 5e-5)
    assert [foil.thickness.value for foil in changed.beam.filters] == [250e-6, 5e-5]
    changed = with_value(case, "sample.layers.1.thickness", 1e-3)
    assert changed.sample.layers[0].thickness.value == 1e-3


def test_a_word_can_be_changed_for_another_that_is_allowed(case):
    changed = with_value(case, "mask.absorber.kind", "connected")
    assert changed.mask.absorber.kind == "connected"
    assert "mask.absorber.kind" not in [entry.key for entry in changed.assumed]


def test_a_material_is_scaled_over_its_whole_table(case):
    changed = with_value(case, "materials.PMMA.heat_capacity", 1506.0)  # 1.2 times 1255
    warm = material("PMMA").heat_capacity(363.15)
    assert changed.materials["PMMA"].heat_capacity(363.15) == pytest.approx(1.2 * warm, rel=1e-12)
    assert case.materials["PMMA"].heat_capacity(363.15) == warm


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("gap.width", 0.0, "1 um .. 10 mm"),
        ("gap.width", math.nan, "outside the allowed"),
        ("gap.width", math.inf, "outside the allowed"),
        ("gap.width", "60 um", "no input"),
        ("gap", 1.0, "no input"),
        ("gap.wide", 1.0, "no input"),
        ("gap.width.value", 1.0, "no input"),
        ("", 1.0, "no input"),
        ("limits.blur", 1e-6, "no input"),
        ("beam.filters.0.thickness", 1e-6, "no input"),
        ("beam.filters.3.thickness", 1e-6, "no input"),
        ("mask.absorber.kind", "other", "'islands'|\"islands\""),
        ("mask.absorber.kind", 1.0, "no input"),
        ("mask.absorber.width", 0.057, "larger than mask.membrane.width"),
        ("scan.speed", 0.9, "too short"),
        ("materials.PMMA.conductivity", -1.0, "allowed"),
        ("materials.PMMA.conductivity", math.nan, "allowed"),
        ("materials.PMMA.colour", 1.0, "no input"),
        ("materials.PMMA.molar_mass", 1.0, "no input"),
        ("materials.lead.conductivity", 1.0, "no input"),
        ("materials", 1.0, "no input"),
    ],
)
def test_what_is_no_input_or_not_allowed_is_refused(case, key, value, words):
    with pytest.raises(CaseError, match=words):
        with_value(case, key, value)
