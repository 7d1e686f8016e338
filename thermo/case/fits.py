"""Outlines that must fit: what lies on what, and how round ones lie in each other.

A missing or refused size is nan here, as in all checks; where a size has a range the unfavourable
end counts.
"""

import math
from collections.abc import Iterator
from itertools import product

from pydantic import BaseModel

from thermo.case.faults import Refusal
from thermo.case.needed import OUTLINES, dig
from thermo.case.nesting import CLEARANCE, Nest, nest
from thermo.case.pattern import Outline, disc
from thermo.case.schema import Raw
from thermo.errors import QuantityError
from thermo.units import Quantity, parse_quantity

__all__ = ["bounds_of", "fit_refusals", "part_outline", "sensor_room"]

Tree = Raw | BaseModel
FITS = [  # what must lie inside what, and why
    ("mask.absorber", "mask.membrane", "the pattern field lies in the clear opening"),
    ("mask.absorber", "sample", "the pattern field lies on the sample"),
    ("sample", "sample.holder", "the sample lies on the holder"),
]
KEYS = {  # what the messages call an outline -> its part
    "pattern field": "mask.absorber",
    "opening": "mask.membrane",
    "frame": "mask.frame",
    "sample": "sample",
    "holder": "sample.holder",
}
INSIDE = 0.99  # of a round part's radius: its edge is drawn straight from node to node


def bounds_of(value: object, kind: str = "length") -> tuple[float, float]:
    """Low and high of a quantity or its text, SI."""
    try:
        return (value if isinstance(value, Quantity) else parse_quantity(value, kind)).bounds
    except QuantityError:
        return math.nan, math.nan


def part_outline(tree: Tree, part: str, end: int) -> Outline:
    """Outline of a part with its sizes at their low (0) or high (1) end."""
    if part == "mask.frame":
        border = bounds_of(dig(tree, "mask.frame.border"))[end]
        return part_outline(tree, "mask.membrane", end).grown(border)
    if _is_round(tree, part):
        return disc(bounds_of(dig(tree, f"{part}.diameter"))[end])
    width, height = (bounds_of(dig(tree, f"{part}.{side}"))[end] for side in ("width", "height"))
    return Outline(width, height)


def sensor_room(tree: Tree, part: str) -> Outline:
    """Where a sensor may sit on a part of the stack."""
    table = {"holder": "sample.holder", "membrane": "mask.membrane", "absorber": "mask.membrane"}
    table["frame"] = "mask.frame"
    outline = part_outline(tree, table.get(part, "sample"), 0)
    return disc(INSIDE * outline.diameter) if outline.is_round else outline


def fit_refusals(tree: Tree) -> Iterator[Refusal]:
    """Parts that do not lie on each other; then round ones that no plan can be drawn from."""
    found = [refusal for fit in FITS for refusal in _fit(tree, *fit)]
    yield from found
    size, room = (bounds_of(dig(tree, f"{t}.width")) for t in ("mask.absorber", "beam"))
    if size[1] > room[0]:
        why = "the beam lights the whole width of the pattern field"
        yield _too_large("mask.absorber.width", size[1], "beam.width", room[0], why)
    if dig(tree, "mesh.plan") is not None:
        yield from _sizes_of_own_plan(tree)
    elif not found:
        yield from _rings(tree)


def _sizes_of_own_plan(tree: Tree) -> Iterator[Refusal]:
    """A plan mesh follows outlines of one size."""
    sizes = [f"{part}.{size}" for part in OUTLINES for size in ("width", "height", "diameter")]
    for key in (*sizes, "mask.frame.border"):
        low, high = bounds_of(dig(tree, key))
        if low < high:
            yield (
                tuple(key.split(".")),
                f"has a range, {low * 1e3:.6g} .. {high * 1e3:.6g} mm, beside mesh.plan; allowed: "
                "one value, which the plan mesh follows; leave the range or mesh.plan out",
            )


def _is_round(tree: Tree, part: str) -> bool:
    return dig(tree, f"{part}.diameter") is not None


def _fit(tree: Tree, part: str, around: str, why: str) -> Iterator[Refusal]:
    inner, outer = part_outline(tree, part, 1), part_outline(tree, around, 0)
    if _is_round(tree, around) and not _is_round(tree, part):
        across = math.hypot(inner.width, inner.height)
        if across > outer.diameter:
            yield (
                _key(tree, part),
                f"the corners of {1e3 * inner.width:.6g} x {1e3 * inner.height:.6g} mm lie "
                f"{across * 1e3:.6g} mm apart, more than {around}.diameter; allowed: up to "
                f"{outer.diameter * 1e3:.6g} mm, for {why}; make it smaller or {around}.diameter "
                "larger",
            )
        return
    for side in ("width", "height"):
        own = "diameter" if _is_round(tree, part) else side
        other = "diameter" if _is_round(tree, around) else side
        size, room = getattr(inner, side), getattr(outer, side)
        if size > room:
            yield _too_large(f"{part}.{own}", size, f"{around}.{other}", room, why)
            if own == "diameter":
                return


def _too_large(key: str, size: float, outer: str, room: float, why: str) -> Refusal:
    return (
        tuple(key.split(".")),
        f"{size * 1e3:.6g} mm is larger than {outer}; allowed: up to {room * 1e3:.6g} mm, "
        f"for {why}; make it smaller or {outer} larger",
    )


def _key(tree: Tree, part: str) -> tuple[str, ...]:
    size = "border" if part == "mask.frame" else "width"
    return (*part.split("."), "diameter" if _is_round(tree, part) else size)


def _rings(tree: Tree) -> Iterator[Refusal]:
    """Outlines that cross at one end of their sizes; patches that rings would cut."""
    ends = [{part_outline(tree, part, end) for end in (0, 1)} for part in KEYS.values()]
    found: Nest | None = None
    for sizes in product(*ends):
        if any(math.isnan(o.width + o.height) for o in sizes):
            return
        outlines = dict(zip(KEYS, sizes, strict=True))
        found = nest(outlines)
        if found is not None and found.crossing is not None:
            one, other = found.crossing
            yield (
                _key(tree, KEYS[other]),
                f"the {other} ({outlines[other]}) crosses the {one} ({outlines[one]}) or nearly "
                f"touches it; allowed with round parts: one inside the other by {100 * CLEARANCE:g}"
                " % of its size, or both the same; change a size, or give a mesh.plan of your own",
            )
            return
    on_rings = found is not None and part_outline(tree, "sample", 0) in found.rings
    if on_rings and dig(tree, "sample.held") == "taped" and not _is_round(tree, "sample"):
        yield (
            ("sample", "held"),
            "'taped' patches of a sample with a round part inside it cannot be drawn; allowed: "
            '"free", "glued", "clamped"; choose one, or give a mesh.plan of your own',
        )
