"""A material as rows of text, for people to read."""

from typing import NamedTuple

from thermo.materials.properties import PROPERTY_KINDS, Material, Property, Softening
from thermo.units import format_quantity, to_unit

__all__ = ["Row", "describe"]

_TRADE_UNITS = {  # a softer material takes the smaller unit
    "density": ("kg/m3",),
    "conductivity": ("W/(m K)",),
    "heat_capacity": ("J/(kg K)",),
    "youngs_modulus": ("GPa", "MPa", "kPa"),
    "poisson_ratio": ("",),
    "expansion": ("ppm/K",),
    "limit": ("degC",),
    "film_tension": ("MPa",),
    "strength": ("MPa",),
    "molar_mass": ("g/mol",),
    "heat_capacity_ratio": ("",),
}


class Row(NamedTuple):
    """One line about a material: what, value with unit and range, temperature, source."""

    property: str
    value: str
    temperature: str
    source: str


def describe(material: Material) -> list[Row]:
    """Rows about a material in trade units.

    The composition, then each value of each property, then the softening temperatures by dose or
    state and the dose above which nothing is known. Only the first value of a property shows its
    range. A limit is a temperature itself and has none beside it.
    """
    rows = [Row("composition", material.formula, "", material.composition_source)]
    for prop in material.properties:
        name = f"{material.limit_kind} limit" if prop.name == "limit" else prop.name
        name = name.replace("_", " ")
        for T, value in zip(prop.at, _values(prop), strict=True):
            at = "" if prop.name == "limit" else f"{T - 273.15:.5g} degC"
            rows.append(Row(name, value, at, prop.source))
    return rows + _softening(material.softening)


def _softening(softening: tuple[Softening, ...]) -> list[Row]:
    rows = [Row(_condition(row), _range(row), "", row.source) for row in softening]
    by_dose = [row for row in softening if row.dose is not None]
    if by_dose:
        last = by_dose[-1]
        words = f"no data above {_dose(last)}; {_range(last)} is an upper bound there"
        rows.append(Row("softening, beyond", words, "", last.source))
    return rows


def _condition(row: Softening) -> str:
    after = "" if row.dose is None else f" after {_dose(row)}"
    return f"softening, {row.state}{after}"


def _dose(row: Softening) -> str:
    assert row.dose is not None
    return format_quantity(row.dose, "kJ/cm3", "dose")


def _range(row: Softening) -> str:
    T, low, high = (to_unit(T, "degC", "temperature") for T in (row.temperature, row.low, row.high))
    return f"{T:.5g} degC" + (f" ({low:.5g} .. {high:.5g})" if low < high else "")


def _values(prop: Property) -> list[str]:
    kind = PROPERTY_KINDS[prop.name]
    unit = _trade_unit(prop)
    first, *others = (f"{to_unit(value, unit, kind):.5g} {unit}".rstrip() for value in prop.typical)
    if prop.low < prop.high:
        low, high = (f"{to_unit(bound, unit, kind):.5g}" for bound in prop.low_high)
        first = f"{first} ({low} .. {high})"
    return [first, *others]


def _trade_unit(prop: Property) -> str:
    """Give the first unit in which the value is at least 0.1, else the last."""
    units, kind = _TRADE_UNITS[prop.name], PROPERTY_KINDS[prop.name]
    readable = (unit for unit in units if to_unit(prop.typical[0], unit, kind) >= 0.1)
    return next(readable, units[-1])
