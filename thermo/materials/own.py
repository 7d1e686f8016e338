"""A material the user describes, alone or as a changed copy of one in the table."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from thermo.errors import MaterialError
from thermo.materials.composition import composition_from
from thermo.materials.properties import PROPERTY_KINDS, Material, Property, si_unit
from thermo.units import Quantity

__all__ = ["own_material"]

ROOM = 293.15  # K
SOURCE = "given in the case"
OWN_PROPERTIES = (
    "density",
    "conductivity",
    "heat_capacity",
    "youngs_modulus",
    "poisson_ratio",
    "expansion",
    "limit",
    "strength",
)
_OF_SOLIDS = ("youngs_modulus", "poisson_ratio", "expansion", "limit", "strength")
_MAY_LACK = ("limit", "strength")


def own_material(
    name: str, like: Material | None, properties: Mapping[str, Quantity | str]
) -> Material:
    """Material of the user's own, with what is not given taken from a like one.

    Parameters
    ----------
    name : name in the case
    like : material of the table it resembles, or None for a solid that is given in full
    properties : 'formula' as text; density, conductivity, heat_capacity, youngs_modulus,
        poisson_ratio, expansion, limit and strength as quantities of the kinds in PROPERTY_KINDS.
        A given value holds at every temperature; without a range low and high equal it.

    Raises
    ------
    MaterialError : an unknown or missing property, a value no material has, or no formula
    """
    _check_names(name, like, properties)
    composition = _composition(name, like, properties)
    given: dict[str, Any] = {
        key: _given(name, key, properties[key]) for key in OWN_PROPERTIES if key in properties
    }
    if like is not None and composition[0] != like.composition:
        given["softening"] = ()  # published for the other chemistry alone
    limit_kind = (like.limit_kind if like else "") or ("service" if "limit" in given else "")
    if like is None:
        return Material(name, name, "solid", *composition, limit_kind=limit_kind, **given)
    return replace(
        like,
        name=name,
        title=f"{name}, like {like.title}",
        composition=composition[0],
        composition_source=composition[1],
        limit_kind=limit_kind,
        **given,
    )


def _check_names(name: str, like: Material | None, properties: Mapping[str, object]) -> None:
    kind = like.kind if like else "solid"
    solid = kind == "solid"
    allowed = [key for key in ("formula", *OWN_PROPERTIES) if solid or key not in _OF_SOLIDS]
    unknown = [key for key in properties if key not in allowed]
    if unknown:
        why = "" if solid else f" (it is a {kind})"
        raise MaterialError(
            f"material '{name}' has no property '{unknown[0]}'{why}; "
            f"allowed: {', '.join(allowed)}; leave it out"
        )
    missing = [key for key in allowed if key not in (*_MAY_LACK, *properties)]
    if like is None and missing:
        raise MaterialError(
            f"material '{name}' lacks {', '.join(missing)}; allowed: all of "
            f"{', '.join(allowed)} ({' and '.join(_MAY_LACK)} may be left out); "
            "add them, or name a material it is like"
        )


def _composition(
    name: str, like: Material | None, properties: Mapping[str, Quantity | str]
) -> tuple[Mapping[str, float], str]:
    formula = properties.get("formula")
    if formula is None and like is not None:
        return like.composition, like.composition_source
    if not isinstance(formula, str):
        raise MaterialError(
            f"material '{name}' has the formula {formula!r}; allowed: text; "
            "write it like 'C5H8O2' or 'Fe:0.64 Ni:0.36'"
        )
    try:
        return composition_from(formula), SOURCE
    except MaterialError as error:
        raise MaterialError(f"material '{name}': {error}") from None


def _given(name: str, key: str, value: Quantity | str) -> Property:
    if not isinstance(value, Quantity) or value.kind != PROPERTY_KINDS[key]:
        raise MaterialError(
            f"material '{name}' has the {key} {value!s}; allowed: a quantity of the kind "
            f"{PROPERTY_KINDS[key]}; read it with its unit first"
        )
    try:
        return Property(key, si_unit(key), (ROOM,), (value.value,), *value.bounds, SOURCE)
    except MaterialError as error:
        raise MaterialError(f"material '{name}': {error}") from None
