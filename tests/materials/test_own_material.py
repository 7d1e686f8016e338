"""Materials of the user's own, and compositions as text."""

import pytest

from thermo.errors import MaterialError
from thermo.materials import PROPERTY_KINDS, composition_from, material, own_material
from thermo.units import parse_quantity

FULL = {  # invented
    "density": "1.3 g/cm3",
    "conductivity": "0.3 W/(m K) (0.2 .. 0.4)",
    "heat_capacity": "1200 J/(kg K)",
    "youngs_modulus": "4 GPa",
    "poisson_ratio": "0.3",
    "expansion": "45 ppm/K",
    "limit": "80 degC",
    "strength": "40 MPa (25 .. 50)",
}
MAY_LACK = ("limit", "strength")


def quantities(**texts):
    return {key: parse_quantity(text, PROPERTY_KINDS[key]) for key, text in texts.items()}


def full_without(*keys):
    kept = {key: text for key, text in FULL.items() if key not in keys}
    formula = {} if "formula" in keys else {"formula": "C5H8O2"}
    return formula | quantities(**kept)


def test_a_material_can_be_given_in_full():
    own = own_material("house resist", None, full_without())
    assert (own.name, own.kind, own.formula) == ("house resist", "solid", "C5H8O2")
    assert own.density(300.0) == pytest.approx(1300)
    assert own.conductivity.low_high == (0.2, 0.4)
    assert own.heat_capacity.low_high == (1200, 1200)  # no range given: low = typical = high
    assert own.limit(300.0) == pytest.approx(353.15)
    assert own.limit_kind == "service"
    assert (own.strength(300.0), own.strength.low) == (40e6, 25e6)
    assert {prop.source for prop in own.properties} == {"given in the case"}


def test_a_limit_and_a_strength_may_be_left_out():
    own = own_material("house resist", None, full_without(*MAY_LACK))
    assert (own.limit, own.limit_kind, own.strength) == (None, "", None)


def test_a_like_material_keeps_all_that_is_not_given():
    pmma = material("PMMA")
    own = own_material("cast", pmma, quantities(conductivity="0.19 W/(m K) (0.18 .. 0.20)"))
    assert own.conductivity(350.0) == 0.19
    assert own.conductivity.source == "given in the case"
    assert own.name == "cast"
    assert (own.composition, own.heat_capacity) == (pmma.composition, pmma.heat_capacity)
    assert own.limit_kind == "softening"


def test_a_given_value_holds_at_every_temperature():
    own = own_material("dense", material("graphite"), quantities(conductivity="120 W/(m K)"))
    assert own.conductivity(250.0) == own.conductivity(500.0) == 120


def test_a_new_formula_replaces_the_old_composition():
    own = own_material("foil", material("aluminium"), {"formula": "Al"})
    assert own.composition == {"Al": 1.0}
    assert own.composition_source == "given in the case"


def test_the_table_itself_is_not_changed_by_a_like_material():
    before = material("PMMA")
    own_material("cast", before, {"formula": "C9H8O2"} | quantities(density="1.1 g/cm3"))
    assert material("PMMA") is before
    assert before.composition == {"C5H8O2": 1.0}


@pytest.mark.parametrize("key", ["formula", *(key for key in FULL if key not in MAY_LACK)])
def test_a_material_without_a_like_one_must_be_complete(key):
    with pytest.raises(MaterialError, match=f"lacks {key}; .*a material it is like"):
        own_material("half", None, full_without(key))


def test_an_unknown_property_is_refused_with_the_list():
    with pytest.raises(MaterialError, match="no property 'stiffness'; allowed: formula, density"):
        own_material("cast", material("PMMA"), {"stiffness": "3 GPa"})


@pytest.mark.parametrize("key", ["youngs_modulus", "strength"])
def test_a_gas_takes_no_elastic_property(key):
    given = quantities(**{key: "1 GPa"})
    with pytest.raises(MaterialError, match=rf"'{key}' \(it is a gas\)"):
        own_material("mix", material("helium"), given)


def test_a_liquid_takes_no_elastic_property_but_what_it_has():
    brine = own_material("brine", material("water"), quantities(density="1050 kg/m3"))
    assert (brine.kind, brine.density(300.0)) == ("liquid", 1050)
    with pytest.raises(MaterialError, match=r"'expansion' \(it is a liquid\)"):
        own_material("brine", material("water"), quantities(expansion="100 ppm/K"))


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("density", "1300 g/cm3"),
        ("conductivity", "0 W/(m K)"),
        ("poisson_ratio", "0.5"),
        ("youngs_modulus", "-3 GPa"),
        ("expansion", "74 1/K"),
        ("limit", "-100 degC"),
        ("strength", "0 MPa"),
    ],
)
def test_a_value_no_material_has_is_refused(key, text):
    with pytest.raises(MaterialError, match=f"material 'odd': {key} .* no material has; allowed"):
        own_material("odd", material("PMMA"), quantities(**{key: text}))


def test_a_quantity_of_another_kind_is_refused():
    with pytest.raises(MaterialError, match="allowed: a quantity of the kind conductivity"):
        own_material("odd", material("PMMA"), {"conductivity": parse_quantity("3 GPa", "stress")})
    with pytest.raises(MaterialError, match="allowed: a quantity of the kind conductivity"):
        own_material("odd", material("PMMA"), {"conductivity": "0.2 W/(m K)"})


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("C5H8O2", {"C5H8O2": 1.0}),
        (" Si ", {"Si": 1.0}),
        ("SiN1.1", {"SiN1.1": 1.0}),
        ("Fe:0.64 Ni:0.36", {"Fe": 0.64, "Ni": 0.36}),
        ("Al2O3:0.25   C2H6OSi:0.75", {"Al2O3": 0.25, "C2H6OSi": 0.75}),
    ],
)
def test_a_composition_is_read_from_text(text, parts):
    assert composition_from(text) == pytest.approx(parts)


@pytest.mark.parametrize("name", ["PMMA", "aluminium", "grease", "helium"])
def test_a_formula_reads_back_as_its_composition(name):
    assert composition_from(material(name).formula) == pytest.approx(material(name).composition)


def test_rounded_fractions_are_made_to_add_up():
    parts = composition_from("Fe:0.333 Ni:0.333 Co:0.333")
    assert sum(parts.values()) == pytest.approx(1, abs=1e-15)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("PMMA", "unknown element M"),
        ("C5H8Xx2", "unknown element Xx"),
        ("", "no chemical formula"),
        ("c5h8o2", "no chemical formula"),
        ("C5H8O2; rm", "no chemical formula"),
        ("C5H0O2", "no chemical formula"),
        ("C٥H8", "no chemical formula"),  # a digit, but none that other programs read
        ("Fe:0.64 Ni:0.46", "adds up to 1.1"),
        ("Fe:0.64 Ni:nan", "no readable part 'Ni:nan'"),
        ("Fe:0.64 Ni:", "no readable part 'Ni:'"),
        ("Fe:1.2 Ni:-0.2", "no readable part 'Fe:1.2'"),
        ("Fe:0.5 Fe:0.5", "no readable part 'Fe:0.5'"),
        ("Fe: 0.64 Ni: 0.36", "no readable part 'Fe:'"),
        ("Si\nN" * 100, "no chemical formula"),
    ],
)
def test_a_text_that_is_no_composition_is_refused(text, words):
    with pytest.raises(MaterialError, match=words) as error:
        composition_from(text)
    assert "\n" not in str(error.value)
    assert len(str(error.value)) < 300


def test_a_formula_that_is_no_text_is_refused_with_the_material():
    with pytest.raises(MaterialError, match="material 'odd' has the formula 5"):
        own_material("odd", material("PMMA"), {"formula": 5})
    with pytest.raises(MaterialError, match="material 'odd': formula 'Zz'"):
        own_material("odd", material("PMMA"), {"formula": "Zz"})
