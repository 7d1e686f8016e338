"""Keys that must stand together, or not: source, stripe, motion, outlines, how parts are held."""

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from thermo.case.faults import Refusal, missing, model_at, nearest_name
from thermo.case.holding import holding_refusals
from thermo.case.positions import Path
from thermo.case.schema import SECTIONS
from thermo.case.tree import PARTS, dig, sizes_of
from thermo.errors import shown
from thermo.units import Quantity

__all__ = ["needed_refusals"]

MAGNET = ("ring.energy", "ring.field")
SIDES = ("width", "height")
TRAPEZOID = ("scan.stroke", "scan.speed", "scan.acceleration")


def needed_refusals(tree: Any) -> Iterator[Refusal]:
    """Keys that are missing beside those given, and keys that exclude each other.

    A key that is missing because its name is misspelt is one mistake, and refused elsewhere.
    """
    for path, text in _all(tree):
        given = dig(tree, ".".join(map(str, path[:-1])))
        strange = (
            set(given) - set(_model(path[:-1]).model_fields) if isinstance(given, dict) else ()
        )
        meant = ["width", "height", "diameter"] if path[-1] in SIDES else [str(path[-1])]
        if not any(nearest_name(key, meant) for key in strange):
            yield path, text


def _all(tree: Any) -> Iterator[Refusal]:
    if _is_table(tree, "ring"):
        yield from _source(tree)
    if _is_table(tree, "ring") and _is_table(tree, "beam"):
        yield from _stripe(tree)
    if _is_table(tree, "scan"):
        yield from _motion(tree)
    for part in PARTS.values():
        if f"{part}.diameter" in sizes_of(part) and _is_table(tree, part):
            yield from _size(tree, part)
    yield from holding_refusals(tree)


def _is_table(tree: Any, key: str) -> bool:
    return isinstance(dig(tree, key), (dict, BaseModel))


def _source(tree: Any) -> Iterator[Refusal]:
    if dig(tree, "ring.spectrum") is None:
        without = "without ring.spectrum"
        yield from (_missing(key, without) for key in MAGNET if dig(tree, key) is None)
        yield from _pair(tree, "ring.poles", "ring.period", "a wiggler is given by both")
        poles = dig(tree, "ring.poles")
        count = poles.value if isinstance(poles, Quantity) else poles
        if isinstance(count, str) or (isinstance(count, float) and count % 1):
            text = f"'{shown(poles)}' is no number of poles; allowed: a whole number, as 20"
            yield ("ring", "poles"), f"{text}; write it without quotes and unit"
        if dig(tree, "ring.spectrum_current") is not None:
            yield _missing("ring.spectrum", "beside ring.spectrum_current")
        return
    if dig(tree, "ring.spectrum_current") is None:
        yield _missing("ring.spectrum_current", "beside ring.spectrum: the current it belongs to")
    for key in ("ring.poles", "ring.period"):
        if dig(tree, key) is not None:
            yield _excluded(key, "ring.spectrum", "the file is the whole spectrum")
    given = [key for key in MAGNET if dig(tree, key) is not None]
    if len(given) == 1:
        other = next(key for key in MAGNET if key not in given)
        yield _missing(other, f"beside {given[0]}: both together give the stripe's profile")


def _stripe(tree: Any) -> Iterator[Refusal]:
    own = [key for key in ("beam.fwhm", "beam.angle_fwhm") if dig(tree, key) is not None]
    if len(own) == 2:
        yield _excluded(own[1], own[0], "one of them gives the stripe")
    for key in ("beam.source_height", "beam.source_angle"):
        if own and dig(tree, key) is not None:
            yield _excluded(key, own[0], "a given stripe is taken as measured, source size and all")
    magnet = any(dig(tree, key) is not None for key in MAGNET)
    if dig(tree, "ring.spectrum") is not None and not own and not magnet:
        yield (
            ("beam", "fwhm"),
            "is missing: a spectrum from a file says nothing of the stripe's height; allowed: "
            "fwhm, angle_fwhm, or ring.energy and ring.field for a bending magnet's profile; "
            'add fwhm = "value mm"',
        )


def _motion(tree: Any) -> Iterator[Refusal]:
    if dig(tree, "scan.table") is None:
        without = "without scan.table"
        yield from (_missing(key, without) for key in TRAPEZOID if dig(tree, key) is None)
        if dig(tree, "scan.centre") is not None:
            yield _missing("scan.table", "beside scan.centre")
        return
    for key in TRAPEZOID:
        if dig(tree, key) is not None:
            yield _excluded(key, "scan.table", "the table is the whole motion")


def _size(tree: Any, part: str) -> Iterator[Refusal]:
    """A round part has a diameter, a rectangular one width and height."""
    for side in (f"{part}.{name}" for name in SIDES):
        if dig(tree, f"{part}.diameter") is None:
            if dig(tree, side) is None:
                yield _missing(side, f"without {part}.diameter")
        elif dig(tree, side) is not None:
            yield _excluded(side, f"{part}.diameter", "a part is round or a rectangle")


def _pair(tree: Any, one: str, other: str, why: str) -> Iterator[Refusal]:
    for key, partner in ((one, other), (other, one)):
        if dig(tree, key) is None and dig(tree, partner) is not None:
            yield _missing(key, f"beside {partner}: {why}")


def _missing(key: str, why: str) -> Refusal:
    path: Path = tuple(key.split("."))
    text = missing(_model(path[:-1]), str(path[-1]), path)
    return path, text.replace("is missing;", f"is missing {why};", 1)


def _model(path: Path) -> type[BaseModel]:
    return model_at(SECTIONS[str(path[0])], path[1:])


def _excluded(key: str, partner: str, why: str) -> Refusal:
    return tuple(key.split(".")), f"does not go with {partner}; allowed: one of them, for {why}"
