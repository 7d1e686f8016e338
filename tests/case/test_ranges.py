"""Inputs with a spread, and the case with one of them changed."""

import math

import pytest

from thermo.case import input_at, ranges, read_case, starter_text, with_filter, with_value
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


# quantities by their keys


def test_the_quantity_at_a_key_is_the_one_that_can_be_changed(case):
    for key in ("gap.width", "beam.filters.2.thickness", "sample.layers.1.thickness"):
        assert input_at(with_value(case, key, 2e-4), key).value == 2e-4
    assert input_at(case, "beam.filters.1.thickness").value == 250e-6


@pytest.mark.parametrize(
    "key",
    [
        "",
        "gap",
        "gap.wide",
        "gap.width.value",
        "gap.model_fields",
        "limits.blur",
        "beam.filters.0.thickness",
        "beam.filters.3.thickness",
        "beam.filters.-1.thickness",
        "beam.filters.\N{SUPERSCRIPT TWO}.thickness",
        "mask.absorber.kind",
        "materials.PMMA.conductivity",
        "title.x",
    ],
)
def test_where_no_quantity_stands_there_is_none(case, key):
    assert input_at(case, key) is None


# foils


def foils(case):
    return [(f.material, f.thickness.value) for f in case.beam.filters]


def test_a_foil_of_a_material_in_the_beam_gets_the_thickness(case):
    assert foils(with_filter(case, "beryllium", 5e-4)) == [
        ("beryllium", 5e-4),
        ("polyimide", 25e-6),
    ]
    twice = with_filter(with_value(case, "beam.filters.1.thickness", 1e-4), "polyimide", 1e-5)
    assert foils(twice) == [("beryllium", 1e-4), ("polyimide", 1e-5)]


def test_of_two_foils_of_a_material_the_last_changes(case):
    two = case.beam.model_copy(update={"filters": (*case.beam.filters, *case.beam.filters)})
    changed = with_filter(case.model_copy(update={"beam": two}), "beryllium", 5e-4)
    assert [thickness for _, thickness in foils(changed)] == [250e-6, 25e-6, 5e-4, 25e-6]


def test_a_material_is_the_same_by_any_of_its_names(case):
    assert foils(with_filter(case, "Be", 5e-4)) == foils(with_filter(case, "beryllium", 5e-4))


def test_a_foil_of_another_material_comes_behind_the_others(case):
    changed = with_filter(case, "titanium", 20e-6)
    assert foils(changed) == [*foils(case), ("titanium", 20e-6)]
    assert changed.materials["titanium"] == material("titanium")
    assert changed.materials["PMMA"] is case.materials["PMMA"]
    assert input_at(changed, "beam.filters.3.thickness").bounds == (20e-6, 20e-6)
    assert foils(with_filter(changed, "titanium", 30e-6))[2:] == [("titanium", 30e-6)]
    assert "titanium" not in case.materials
    assert changed.assumed == case.assumed


def test_an_added_foil_is_of_the_material_as_the_case_has_it(case):
    denser = with_value(case, "materials.copper.density", 9000.0)
    assert with_filter(denser, "copper", 1e-5).materials == denser.materials
    assert foils(with_filter(case, "own", 1e-5))[2:] == [("own", 1e-5)]


def test_a_foil_that_is_added_without_thickness_is_none(case):
    assert with_filter(case, "titanium", 0.0) == case


@pytest.mark.parametrize(
    ("name", "thickness", "words"),
    [
        ("titanum", 1e-5, r"filters\.3\.material.*titanum.*mean 'titanium'.*spare_filters"),
        ("titanum", 0.0, "titanum"),
        ("helium", 1e-5, "is a gas; allowed: a solid"),
        ("titanium", -1e-5, r"filters\.3: .*1 nm .. 10 cm"),
        ("titanium", 0.2, r"1 nm .. 10 cm"),
        ("titanium", math.nan, r"1 nm .. 10 cm"),
        ("titanium", math.inf, r"1 nm .. 10 cm"),
        ("beryllium", 0.0, r"filters\.1\.thickness.*1 nm .. 10 cm"),
        ("beryllium", math.nan, r"filters\.1\.thickness.*1 nm .. 10 cm"),
    ],
)
def test_a_foil_that_cannot_be_is_refused_in_one_line(case, name, thickness, words):
    with pytest.raises(CaseError, match=words) as caught:
        with_filter(case, name, thickness)
    assert len(caught.value.faults) == len(str(caught.value).splitlines()) == 1


def test_no_more_foils_than_a_beam_may_have_are_added(case):
    full = case.beam.model_copy(update={"filters": case.beam.filters * 10})
    with pytest.raises(CaseError, match="at most 20"):
        with_filter(case.model_copy(update={"beam": full}), "titanium", 1e-5)
