"""How round and rectangular outlines lie in each other: what a plan of rings can be drawn from.

Rectangles inside the smallest circle share a core of straight lines.  All other outlines are
boundaries of rings round it, each inside the next.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from thermo.case.pattern import Outline

CLEARANCE = 0.005  # of the outer outline's smaller side: least distance between two outlines
SAME = 1e-6  # m: outlines, and lines of a mesh, that differ by less are one


@dataclass(frozen=True)
class Nest:
    """Outlines from inside out.

    core : the rectangle round all rectangles inside the smallest circle
    rings : boundaries round it, the first one round
    crossing : names of two outlines that do not lie in each other, None where all do
    """

    core: Outline
    rings: tuple[Outline, ...]
    crossing: tuple[str, str] | None


def is_clear(inner: Outline, outer: Outline) -> bool:
    """Whether one outline lies inside another, clear of it."""
    return inner.spare(outer) >= clearance(outer)


def clearance(outer: Outline) -> float:
    """Least distance of an outline from those inside it, m: half a per cent of its size."""
    return CLEARANCE * min(outer.width, outer.height)


def nest(outlines: Mapping[str, Outline]) -> Nest | None:
    """The nest of named outlines; None where none of them is round.

    At least one of them must be a rectangle inside the smallest circle, as the pattern field is.
    """
    rounds = [outline for outline in outlines.values() if outline.is_round]
    if not rounds:
        return None
    first = min(rounds, key=lambda outline: outline.diameter)
    inside = {n: o for n, o in outlines.items() if not o.is_round and is_clear(o, first)}
    around = sorted(
        (pair for pair in outlines.items() if pair[0] not in inside), key=lambda pair: pair[1].area
    )
    rings: list[tuple[str, Outline]] = []
    crossing = None
    for name, outline in around:
        if rings and _same(rings[-1][1], outline):
            continue
        if rings and not is_clear(rings[-1][1], outline):
            crossing = crossing or (rings[-1][0], name)
        rings.append((name, outline))
    widest = max(inside, key=lambda n: inside[n].width, default=None)
    highest = max(inside, key=lambda n: inside[n].height, default=None)
    if widest is None or highest is None:
        smallest = min(outlines, key=lambda n: outlines[n].area)
        return Nest(outlines[smallest], (), crossing or (smallest, rings[0][0]))
    core = Outline(inside[widest].width, inside[highest].height)
    if not is_clear(core, first):
        crossing = crossing or (widest, highest)
    return Nest(core, tuple(outline for _, outline in rings), crossing)


def _same(a: Outline, b: Outline) -> bool:
    apart = max(abs(a.width - b.width), abs(a.height - b.height))
    return a.is_round == b.is_round and apart < SAME
