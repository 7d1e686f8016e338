"""Outlines that must fit: what lies on what, and how round ones lie in each other.

A missing or refused size is nan here, as in all checks.  Where sizes have ranges, the unfavourable
ends count for what must lie inside what; round parts are looked at with every size at its low, its
value and its high in turn, each by itself.
"""

import math
from collections.abc import Iterator, Mapping
from itertools import product

from thermo.case.faults import Refusal
from thermo.case.nesting import Nest, clearance, nest
from thermo.case.pattern import Outline, disc
from thermo.case.tree import PARTS, Tree, dig, sizes_of, values_at

__all__ = ["fit_refusals", "frame_opening", "sensor_room"]

Sizes = Mapping[str, float]  # m, by key
FITS = [  # what must lie inside what, and why
    ("mask.absorber", "mask.membrane", "the pattern field lies in the clear opening"),
    ("mask.absorber", "sample", "the pattern field lies on the sample"),
    ("sample", "sample.holder", "the sample lies on the holder"),
]
INSIDE = 0.99  # of a round part's radius: its edge is drawn straight from node to node
LOW, HIGH = 0, -1


def sensor_room(tree: Tree, part: str) -> Outline:
    """Where a sensor may sit on a part of the stack."""
    table = {"holder": "sample.holder", "membrane": "mask.membrane", "absorber": "mask.membrane"}
    table["frame"] = "mask.frame"
    outline = _outline(_sizes(tree, LOW), table.get(part, "sample"))
    return disc(INSIDE * outline.diameter) if outline.is_round else outline


def frame_opening(tree: Tree) -> Outline:
    """Where the frame is open: the clear membrane."""
    return _outline(_sizes(tree, HIGH), "mask.membrane")


def fit_refusals(tree: Tree) -> Iterator[Refusal]:
    """Parts that do not lie on each other; then round ones that no plan can be drawn from."""
    low, high = _sizes(tree, LOW), _sizes(tree, HIGH)
    found = [refusal for fit in FITS for refusal in _fit(low, high, *fit)]
    yield from found
    size, room = high.get("mask.absorber.width", math.nan), values_at(tree, "beam.width")[LOW]
    if size > room:
        why = "the beam lights the whole width of the pattern field"
        yield _too_large("mask.absorber.width", size, "beam.width", room, why)
    if dig(tree, "mesh.plan") is not None:
        yield from _sizes_of_own_plan(tree)
    elif not found:
        yield from _rings(tree)


def _given(tree: Tree) -> list[str]:
    """Keys of all sizes that stand in the case."""
    keys = [key for part in PARTS.values() for key in sizes_of(part)]
    return [key for key in keys if dig(tree, key) is not None]


def _sizes(tree: Tree, end: int) -> Sizes:
    return {key: values_at(tree, key)[end] for key in _given(tree)}


def _is_round(sizes: Sizes, part: str) -> bool:
    return f"{part}.diameter" in sizes


def _outline(sizes: Sizes, part: str) -> Outline:
    """Outline of a part, of nan where a size is missing."""
    if part == "mask.frame":
        return _outline(sizes, "mask.membrane").grown(sizes.get("mask.frame.border", math.nan))
    if _is_round(sizes, part):
        return disc(sizes[f"{part}.diameter"])
    width, height = (sizes.get(f"{part}.{side}", math.nan) for side in ("width", "height"))
    return Outline(width, height)


def _sizes_of_own_plan(tree: Tree) -> Iterator[Refusal]:
    """A plan mesh follows outlines and patches of one size."""
    for key in (*_given(tree), "mask.frame.patch", "sample.patch"):
        low, _, high = values_at(tree, key)
        if low < high:
            yield (
                tuple(key.split(".")),
                f"has a range, {low * 1e3:.6g} .. {high * 1e3:.6g} mm, beside mesh.plan; allowed: "
                "one value, which the plan mesh follows; leave the range or mesh.plan out",
            )


def _fit(low: Sizes, high: Sizes, part: str, around: str, why: str) -> Iterator[Refusal]:
    inner, outer = _outline(high, part), _outline(low, around)
    if _is_round(low, around) and not _is_round(low, part):
        across = math.hypot(inner.width, inner.height)
        if across > outer.diameter:
            yield (
                _key(low, part),
                f"the corners of {1e3 * inner.width:.6g} x {1e3 * inner.height:.6g} mm lie "
                f"{across * 1e3:.6g} mm apart, more than {around}.diameter; allowed: up to "
                f"{outer.diameter * 1e3:.6g} mm, for {why}; make it smaller or {around}.diameter "
                "larger",
            )
        return
    for side in ("width", "height"):
        own = "diameter" if _is_round(low, part) else side
        other = "diameter" if _is_round(low, around) else side
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


def _key(sizes: Sizes, part: str) -> tuple[str, ...]:
    size = "border" if part == "mask.frame" else "width"
    return (*part.split("."), "diameter" if _is_round(sizes, part) else size)


def _rings(tree: Tree) -> Iterator[Refusal]:
    """Outlines that cross or nearly touch; patches that rings would cut."""
    keys, on_rings = _given(tree), False
    if not any(key.endswith(".diameter") for key in keys):
        return
    for values in product(*(dict.fromkeys(values_at(tree, key)) for key in keys)):
        sizes = dict(zip(keys, values, strict=True))
        outlines = {name: _outline(sizes, part) for name, part in PARTS.items()}
        if any(math.isnan(o.width + o.height) for o in outlines.values()):
            return
        found = nest(outlines)
        if found is not None and found.crossing is not None:
            yield _key(sizes, PARTS[found.crossing[1]]), _crossing(found, outlines)
            return
        on_rings |= found is not None and outlines["sample"] in found.rings
    if on_rings and dig(tree, "sample.held") == "taped" and not _is_round(sizes, "sample"):
        yield (
            ("sample", "held"),
            "'taped' patches of a sample with a round part inside it cannot be drawn; allowed: "
            '"free", "glued", "clamped", "screwed", "springs"; choose one, or give a mesh.plan of '
            "your own",
        )


def _crossing(found: Nest, outlines: Mapping[str, Outline]) -> str:
    """What is wrong with two outlines, the inner first."""
    assert found.crossing is not None
    one, other = found.crossing
    inner, outer = outlines[one], outlines[other]
    room, least = 1e3 * inner.spare(outer), 1e3 * clearance(outer)
    what = f"the {other} ({outer}) crosses the {one} ({inner})"
    if room >= 0:
        what = f"the {other} ({outer}) leaves {room:.3g} mm round the {one} ({inner}): too little"
    return (
        f"{what}; allowed with round parts: one inside the other, clear of it by at least "
        f"{least:.3g} mm, or both the same; change a size, or give a mesh.plan of your own"
    )
