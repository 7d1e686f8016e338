"""The table of materials: read once from table.toml, found by name."""

import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any

from thermo.errors import MaterialError
from thermo.materials.properties import PROPERTY_KINDS, Material, Property, Softening, si_unit
from thermo.units import parse_quantity

__all__ = ["material", "material_names"]


def material(name: str) -> Material:
    """Material of the table by its name or a common alias ('Be'), upper and lower case alike.

    Raises
    ------
    MaterialError : no such material; names the nearest ones
    """
    names = _names()
    key = _plain(name)
    if key in names:
        return _table()[names[key]]
    near = get_close_matches(key, names, n=1, cutoff=0.6)
    hint = f"did you mean '{names[near[0]]}'?" if near else "or describe it as your own material"
    raise MaterialError(
        f"material '{name}' is not in the table; allowed: {', '.join(_table())}; {hint}"
    )


def material_names() -> tuple[str, ...]:
    """Names of the materials in the table, in its order."""
    return tuple(_table())


def read_material(name: str, entry: Mapping[str, Any]) -> Material:
    """Material from its entry in table.toml, already parsed."""
    properties = {key: _property(key, entry[key]) for key in PROPERTY_KINDS if key in entry}
    return Material(
        name=name,
        title=entry["title"],
        kind=entry["kind"],
        composition=entry["composition"]["parts"],
        composition_source=entry["composition"]["source"],
        limit_kind=entry["limit"]["kind"] if "limit" in entry else "",
        softening=tuple(_softening(row) for row in entry.get("softening", ())),
        **properties,
    )


def _property(name: str, row: Mapping[str, Any]) -> Property:
    first, *others = (parse_quantity(v, PROPERTY_KINDS[name]) for v in _several(row["value"]))
    at = tuple(parse_quantity(T, "temperature").value for T in _several(row["at"]))
    typical = (first.value, *(other.value for other in others))
    return Property(name, si_unit(name), at, typical, *first.bounds, row["source"])


def _softening(row: Mapping[str, Any]) -> Softening:
    T = parse_quantity(row["value"], "temperature")
    dose = parse_quantity(row["dose"], "dose").value if "dose" in row else None
    return Softening(row["state"], dose, T.value, *T.bounds, row["source"])


def _several(entry: str | list[str]) -> list[str]:
    return entry if isinstance(entry, list) else [entry]


@cache
def _entries() -> Mapping[str, Any]:
    return tomllib.loads(files("thermo.materials").joinpath("table.toml").read_text("utf-8"))


@cache
def _table() -> Mapping[str, Material]:
    return {name: read_material(name, entry) for name, entry in _entries().items()}


@cache
def _names() -> Mapping[str, str]:
    """Table name of every name and alias, written plainly."""
    return {
        _plain(word): name
        for name, entry in _entries().items()
        for word in (name, *entry["aliases"])
    }


def _plain(name: str) -> str:
    return "-".join(name.casefold().replace("_", " ").replace("-", " ").split())
