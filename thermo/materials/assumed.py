"""What the estimate assumes where a case says nothing: value, range and source, never silent."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from thermo.errors import MaterialError
from thermo.materials.properties import Material
from thermo.materials.table import material as table_material
from thermo.units import Quantity, parse_quantity

__all__ = ["Assumption", "assumption", "assumption_keys"]

TENSION = "mask.membrane.tension"  # lies with the materials, not in assumed.toml
_SI = {"resistance": "m2 K/W", "film": "W/(m2 K)", "ratio": "", "temperature": "K"}


@dataclass(frozen=True)
class Assumption:
    """An assumed input of the case.

    Attributes
    ----------
    key : key of the case file, 'sample.joint.resistance'
    value : the quantity, or one of some words ('islands')
    low, high : range: SI numbers, or the two words to try
    unit : SI unit of low and high, '' for words and ratios
    source : where value and range come from
    """

    key: str
    value: Quantity | str
    low: float | str
    high: float | str
    unit: str
    source: str


def assumption(key: str, material: Material | str | None = None) -> Assumption:
    """Assumed value of a key of the case file.

    Parameters
    ----------
    key : one of assumption_keys()
    material : what it depends on, where it does: the membrane's material for its tension, the
        chamber's gas for the accommodation coefficients (helium when not said)

    Raises
    ------
    MaterialError : nothing is assumed for this key, or not for this material
    """
    if key == TENSION:
        return _tension(material)
    if key not in _entries():
        raise MaterialError(
            f"nothing is assumed for '{key}'; allowed: {', '.join(assumption_keys())}; "
            "give it in the case"
        )
    entry = _entries()[key]
    material = _known(material)
    if material is not None:
        entry = entry | entry.get("by_material", {}).get(material.name, {})
    if entry["kind"] == "choice":
        return Assumption(key, entry["value"], entry["low"], entry["high"], "", entry["source"])
    value = parse_quantity(entry["value"], entry["kind"])
    return Assumption(key, value, *value.bounds, _SI[value.kind], entry["source"])


def assumption_keys() -> tuple[str, ...]:
    """Keys of the case file for which a value is assumed where none is given."""
    return (*_entries(), TENSION)


def _tension(material: Material | str | None) -> Assumption:
    material = _known(material)
    if material is None or material.film_tension is None:
        name = material.name if material else "unknown material"
        raise MaterialError(
            f"no initial tension is assumed for a membrane of {name}; allowed: a stress in Pa, "
            f"kPa, MPa or GPa; give '{TENSION}' in the case"
        )
    film = material.film_tension
    value = Quantity(film.typical[0], film.low, film.high, "MPa", "stress")
    return Assumption(TENSION, value, film.low, film.high, film.unit, film.source)


def _known(material: Material | str | None) -> Material | None:
    return table_material(material) if isinstance(material, str) else material


@cache
def _entries() -> Mapping[str, Any]:
    return tomllib.loads(files("thermo.materials").joinpath("assumed.toml").read_text("utf-8"))
