"""A material as rows of text, for people to read."""

from typing import NamedTuple

from thermo.materials.properties import PROPERTY_KINDS, Material, Property
from thermo.units import to_unit

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
    """Rows about a material in trade units: the composition, then each value of each property.

    Only the first value of a property shows its range. A limit is a temperature itself and has
    none beside it.
    """
    rows = [Row("composition", material.formula, "", material.composition_source)]
    for prop in material.properties:
        name = f"{material.limit_kind} limit" if prop.name == "limit" else prop.name
        name = name.replace("_", " ")
        for T, value in zip(prop.at, _values(prop), strict=True):
            at = "" if prop.name == "limit" else f"{T - 273.15:.5g} degC"
            rows.append(Row(name, value, at, prop.source))
    return rows


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
