"""Inputs that carry a spread, the quantity at a key, and the case with one input changed."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel, ValidationError

from thermo.case.checks import cross_refusals
from thermo.case.faults import key_text, refusals
from thermo.case.filling import GIVEN, solids
from thermo.case.library import Library
from thermo.case.lighting import Beam, Filter
from thermo.case.schema import SECTIONS, Case
from thermo.errors import CaseError, Fault, MaterialError, shown
from thermo.materials import PROPERTY_KINDS, Material, Property
from thermo.units import Quantity, si_unit

COMPARED = ("limit", "strength")  # properties that move nothing

__all__ = ["Range", "foil_number", "input_at", "ranges", "with_filter", "with_value"]


@dataclass(frozen=True)
class Range:
    """An input between low and high, SI (or words), with where the spread comes from."""

    key: str
    low: float | str
    value: float | str
    high: float | str
    unit: str
    source: str


def ranges(case: Case) -> tuple[Range, ...]:
    """Every input of a case that is not known exactly: given with a range, or assumed.

    Of the materials: conductivity, expansion and Young's modulus of every solid of the stack, what
    counts of those that hold the frame, and what the user gave with a range for one of their own.
    """
    sources = {entry.key: entry.source for entry in case.assumed}
    found = [
        Range(key, q.bounds[0], q.value, q.bounds[1], si_unit(q.kind), sources.get(key, GIVEN))
        for key, q in _quantities(case)
        if q.bounds[0] < q.bounds[1]
    ]
    words = [
        Range(entry.key, entry.low, entry.value, entry.high, entry.unit, entry.source)
        for entry in case.assumed
        if isinstance(entry.value, str)
    ]
    return (*found, *words, *_material_ranges(case))


def with_value(case: Case, key: str, value: float | str) -> Case:
    """A case with one input set to a certain value (SI, or a word), checked like the file.

    The key is that of `ranges`: the dotted key of the case file, list elements counted from 1, or
    'materials.NAME.property'. The input is neither assumed nor in a range afterwards.

    Raises
    ------
    CaseError : no such input, or a value that is not allowed or does not fit the others
    """
    parts = tuple(key.split("."))
    try:
        changed: Case = (
            _with_material(case, parts[1:], value)
            if parts[0] == "materials"
            else _replaced(case, parts, value)
        )
    except _NoInputError:
        reason = "is no input of this case; allowed: a key that has a value in it; check the key"
        raise _refused(key, reason) from None
    except (MaterialError, _NotAllowedError) as error:
        raise _refused(key, str(error)) from None
    _check_fit(changed, key)
    assumed = tuple(entry for entry in case.assumed if entry.key != key)
    return changed.model_copy(update={"assumed": assumed})


def input_at(case: Case, key: str) -> Quantity | None:
    """The quantity at a dotted key of the case file, None where the case has none.

    List elements are counted from 1; a property of a material is no quantity of the case.
    """
    found: Any = case
    for name in key.split("."):
        found = _inside(found, name)
    return found if isinstance(found, Quantity) else None


def with_filter(case: Case, material: str, thickness: float) -> Case:
    """A case with a foil of this material and thickness (m) in the beam, checked like the file.

    The last foil of that material gets the thickness, the others stay; where there is none one is
    added behind all that stands in the beam, unless its thickness is 0.  The material is one that
    the case uses, or one of the table.

    Raises
    ------
    CaseError : a material that is unknown or no solid, a thickness that is not allowed, or more
        foils than a beam may have
    """
    at = f"beam.filters.{len(case.beam.filters) + 1}"
    stuff, number = _solid(case, material, f"{at}.material"), foil_number(case, material)
    if number is not None:
        return with_value(case, f"beam.filters.{number}.thickness", thickness)
    if thickness == 0:
        return case
    size = Quantity(thickness, None, None, "um", "length")
    try:
        added = _checked(Filter, {"material": material, "thickness": size})
        filters = (*case.beam.filters, added)
        beam = _checked(Beam, {**dict(case.beam), "filters": filters})
    except _NotAllowedError as error:
        raise _refused(at, str(error)) from None
    materials = {material: stuff, **case.materials}
    changed = case.model_copy(update={"beam": beam, "materials": materials})
    _check_fit(changed, at)
    return changed


def foil_number(case: Case, material: str) -> int | None:
    """Place in the beam, from 1, of the last foil of a material; None where it has none.

    Raises CaseError for a material that is unknown or no solid.
    """
    at = f"beam.filters.{len(case.beam.filters) + 1}.material"
    stuff = _solid(case, material, at)
    for number, foil in reversed([*enumerate(case.beam.filters, 1)]):
        if isinstance(foil, Filter) and case.materials[foil.material].name == stuff.name:
            return number
    return None


def _solid(case: Case, name: str, key: str) -> Material:
    """The solid of a name among those of the case and the table."""
    table = Library({}, {})
    library = Library({n: m for n, m in case.materials.items() if table.find(n) is None}, {})
    found = library.find(name)
    if reason := library.refuse(name, "solid"):
        raise _refused(key, reason if found else f"{reason} and name it in beam.spare_filters")
    assert found is not None  # else it was refused
    return found


def _check_fit(changed: Case, key: str) -> None:
    if refused := cross_refusals(changed):
        raise _refused(key, "; ".join(f"{key_text(path)}: {text}" for path, text in refused))


def _refused(key: str, text: str) -> CaseError:
    return CaseError((Fault("changed case", 0, shown(key), text),))


class _NoInputError(Exception):
    """A key that leads to no value."""


class _NotAllowedError(Exception):
    """A value its own model refuses."""


def _quantities(case: Case) -> Iterator[tuple[str, Quantity]]:
    for name in (*SECTIONS, "sensors"):
        yield from _quantities_in(getattr(case, name), name)


def _quantities_in(value: Any, key: str) -> Iterator[tuple[str, Quantity]]:
    if isinstance(value, Quantity):
        yield key, value
    elif isinstance(value, BaseModel):
        for name, inner in value:
            yield from _quantities_in(inner, f"{key}.{name}")
    elif isinstance(value, dict):
        for name, inner in value.items():
            yield from _quantities_in(inner, f"{key}.{name}")
    elif isinstance(value, tuple):
        for index, inner in enumerate(value):
            yield from _quantities_in(inner, f"{key}.{index + 1}")


def _inside(here: Any, name: str) -> Any:
    """What stands at one part of a dotted key, None where nothing does."""
    if isinstance(here, tuple) and (index := _index(here, name)) is not None:
        return here[index]
    if isinstance(here, dict):
        return here.get(name)
    known = isinstance(here, BaseModel) and name in type(here).model_fields
    return getattr(here, name) if known else None


def _index(here: tuple[Any, ...], name: str) -> int | None:
    """Place of a list element that is counted from 1, None where there is none."""
    number = int(name) if re.fullmatch("[0-9]{1,6}", name) else 0
    return number - 1 if 1 <= number <= len(here) else None


def _material_ranges(case: Case) -> Iterator[Range]:
    for name, wanted in solids(case).items():
        stuff = case.materials[name]
        for prop in stuff.properties:
            counts = prop.name in wanted or (prop.source == GIVEN and prop.name not in COMPARED)
            if counts and prop.low < prop.high:
                key = f"materials.{name}.{prop.name}"
                yield Range(key, prop.low, prop.typical[0], prop.high, prop.unit, prop.source)


def _with_material(case: Case, parts: tuple[str, ...], value: float | str) -> Case:
    """The property at `value`, its curve over temperature scaled with it."""
    if len(parts) != 2 or parts[0] not in case.materials or parts[1] not in PROPERTY_KINDS:
        raise _NoInputError
    name, prop = parts
    stuff: Material = case.materials[name]
    old: Property | None = getattr(stuff, prop)
    if old is None or isinstance(value, str):
        raise _NoInputError
    new = replace(old.scaled_to(value), low=value, high=value)
    changed = replace(stuff, **{prop: new})  # type: ignore[arg-type]
    return case.model_copy(update={"materials": {**case.materials, name: changed}})


def _replaced(here: Any, parts: tuple[str, ...], value: float | str) -> Any:
    """The tree with the value at the end of `parts` replaced; models on the way check it."""
    if not parts:
        return _like(here, value)
    name, *rest = parts
    if isinstance(here, tuple) and (index := _index(here, name)) is not None:
        changed = _replaced(here[index], tuple(rest), value)
        return (*here[:index], changed, *here[index + 1 :])
    if isinstance(here, dict) and name in here:
        return {**here, name: _replaced(here[name], tuple(rest), value)}
    if isinstance(here, BaseModel) and name in type(here).model_fields:
        changed = _replaced(getattr(here, name), tuple(rest), value)
        return _checked(type(here), {**dict(here), name: changed})
    raise _NoInputError


def _checked(model: type[BaseModel], values: dict[str, Any]) -> BaseModel:
    try:
        return model.model_validate(values)
    except ValidationError as error:
        raise _NotAllowedError(refusals(error, model, ())[0][1]) from None


def _like(old: object, value: float | str) -> Quantity | float | str:
    """The new value as the old one was: a quantity without a range, a share or a word."""
    if isinstance(old, Quantity) and not isinstance(value, str):
        return replace(old, value=float(value), low=None, high=None)
    if isinstance(old, str) == isinstance(value, str) and isinstance(old, (str, float)):
        return value
    raise _NoInputError
