"""Checks between keys: what is allowed each by itself must also fit together.

They read a case or the tables of a file alike. A value that is missing or refused by itself is nan
here: it has its own fault already, and no comparison with it holds. Where a value has a range the
unfavourable end counts, so that a case may be solved anywhere in its ranges.
"""

from collections.abc import Iterator
from math import hypot
from typing import Any

from thermo.case.faults import Refusal, nearest
from thermo.case.fits import fit_refusals, frame_opening, sensor_room
from thermo.case.needed import needed_refusals
from thermo.case.pattern import Outline
from thermo.case.schema import Sensor
from thermo.case.tree import Tree, dig, span, values_at
from thermo.errors import shown
from thermo.units import format_quantity

__all__ = ["FIXED_PARTS", "cross_refusals"]

FIXED_PARTS = ("frame", "membrane", "absorber", "gap", "joint", "holder")


def cross_refusals(tree: Tree) -> list[Refusal]:
    """Everything that does not fit together."""
    parts = (_coverage, _frame, _names, _sensors)
    checks = (needed_refusals, _scan, fit_refusals, *parts)
    return [refusal for check in checks for refusal in check(tree)]


def _scan(tree: Tree) -> Iterator[Refusal]:
    """Turn-around inside the stroke: v <= sqrt(a L)."""
    v = values_at(tree, "scan.speed")[-1]
    a = values_at(tree, "scan.acceleration")[0]
    stroke = values_at(tree, "scan.stroke")[0]
    if a > 0 and v * v > a * stroke:
        yield (
            ("scan", "stroke"),
            f"the stroke of {format_quantity(stroke, 'mm', 'length')} is too short to reach "
            f"{format_quantity(v, 'mm/s', 'speed')}; allowed: at least v2/a = "
            f"{v * v / a * 1e3:.4g} mm; lengthen it, slow down or accelerate harder",
        )


def _coverage(tree: Tree) -> Iterator[Refusal]:
    rows = dig(tree, "mask.absorber.coverage")
    if not isinstance(rows, (list, tuple)):
        return
    lengths = [len(row) if isinstance(row, (list, tuple)) else None for row in rows]
    for index, length in enumerate(lengths):
        if None not in (length, lengths[0]) and length != lengths[0]:
            yield (
                ("mask", "absorber", "coverage", index),
                f"the row has {length} values; allowed: {lengths[0]}, as in the first row; "
                "make all rows equally long",
            )


def _frame(tree: Tree) -> Iterator[Refusal]:
    cooled = dig(tree, "mask.frame.cooling") not in (None, "none")
    if cooled and dig(tree, "mask.frame.water") is None:
        yield (
            ("mask", "frame", "water"),
            "is missing for a cooled frame; allowed: temperature -50 degC .. 200 degC; "
            'add water = "value degC" here, or say cooling = "none"',
        )


def _layers(tree: Tree) -> list[Any]:
    layers = dig(tree, "sample.layers")
    return list(layers) if isinstance(layers, (list, tuple)) else []


def _names(tree: Tree) -> Iterator[Refusal]:
    taken = set(FIXED_PARTS)
    for index, layer in enumerate(_layers(tree)):
        name = dig(layer, "name")
        if isinstance(name, str):
            if name in taken:
                yield (
                    ("sample", "layers", index, "name"),
                    f"the name '{shown(name)}' is taken; allowed: a name no other part has "
                    f"({', '.join(FIXED_PARTS)} are parts); choose another",
                )
            taken.add(name)


def _sensors(tree: Tree) -> Iterator[Refusal]:
    sensors = dig(tree, "sensors")
    if not isinstance(sensors, dict):
        return
    layers = [name for layer in _layers(tree) if isinstance(name := dig(layer, "name"), str)]
    parts = [part for part in FIXED_PARTS if part != "gap"] + layers
    if dig(tree, "sample.joint.material") is None:
        parts.remove("joint")
    for name, sensor in sensors.items():
        part = dig(sensor, "part")
        if not isinstance(part, str):
            continue
        if part not in parts:
            allowed = ", ".join(shown(known) for known in parts)
            yield (
                ("sensors", name, "part"),
                f"unknown part '{shown(part)}'; allowed: {allowed}; {nearest(part, parts)}",
            )
            continue
        off = list(_off_part(name, part, sensor, sensor_room(tree, part)))
        yield from off
        if part == "frame" and not off:
            yield from _in_opening(name, sensor, frame_opening(tree))


def _off_part(name: str, part: str, sensor: Any, room: Outline) -> Iterator[Refusal]:
    x, y = (max(map(abs, span(dig(sensor, axis), Sensor, axis))) for axis in "xy")
    if room.is_round:
        if hypot(x, y) > room.diameter / 2:
            yield (
                ("sensors", name, "x"),
                f"{hypot(x, y) * 1e3:.6g} mm from the middle is off the {shown(part)} or on its "
                f"edge; allowed: up to {room.diameter * 500:.6g} mm; move the sensor",
            )
        return
    for axis, place, half in (("x", x, room.width / 2), ("y", y, room.height / 2)):
        if place > half:
            yield (
                ("sensors", name, axis),
                f"{place * 1e3:.6g} mm is off the {shown(part)}; allowed: -{half * 1e3:.6g} .. "
                f"{half * 1e3:.6g} mm from the middle; move the sensor",
            )


def _in_opening(name: str, sensor: Any, opening: Outline) -> Iterator[Refusal]:
    x, y = (min(map(abs, span(dig(sensor, axis), Sensor, axis))) for axis in "xy")
    if opening.covers(x, y):
        yield (
            ("sensors", name, "part"),
            f"{x * 1e3:.6g}, {y * 1e3:.6g} mm from the middle lies in the frame's opening "
            f"({opening}); move the sensor outwards, or name the membrane",
        )
