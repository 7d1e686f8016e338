"""What common practice asks of the doses in a resist."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from thermo.materials.properties import Material
from thermo.materials.table import material
from thermo.units import parse_quantity, si_unit

__all__ = ["Practice", "practice", "practice_note"]

_KINDS = {
    "dose_bottom_low": "dose",
    "dose_bottom_high": "dose",
    "dose_top": "dose",
    "dose_ratio": "ratio",
    "dose_under_absorber": "dose",
}


@dataclass(frozen=True)
class Practice:
    """A dose, or ratio of doses, as common practice has it.

    Attributes
    ----------
    name : dose_bottom_low, dose_bottom_high, dose_top, dose_ratio (top over bottom) or
        dose_under_absorber; the first is the least, every other one the most
    value : SI
    unit : SI unit of value, '' for the ratio
    text : why
    source : where it comes from
    """

    name: str
    value: float
    unit: str
    text: str
    source: str


def practice(resist: Material) -> tuple[Practice, ...]:
    """Doses that common practice gives a resist; empty where it gives none.

    A resist is known by what it is made of, so a material of the user's own that is like one of
    the table and has its composition counts as that one.
    """
    return tuple(_read(row) for row in _entry(resist).get("row", ()))


def practice_note(resist: Material) -> str:
    """Why practice gives this resist no dose; '' where there is nothing to say."""
    return str(_entry(resist).get("note", ""))


def _read(row: Mapping[str, str]) -> Practice:
    kind = _KINDS[row["name"]]
    value = parse_quantity(row["value"], kind).value
    return Practice(row["name"], value, si_unit(kind), row["text"], row["source"])


def _entry(resist: Material) -> Mapping[str, Any]:
    alike = (
        entry
        for name, entry in _entries().items()
        for known in (name, *entry.get("like", ()))
        if material(known).composition == resist.composition
    )
    return next(alike, {})


@cache
def _entries() -> Mapping[str, Any]:
    return tomllib.loads(files("thermo.materials").joinpath("practice.toml").read_text("utf-8"))
