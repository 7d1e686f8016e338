"""How mask frame and sample are held: what each way needs, what does not go with it, what fits."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from thermo.case.faults import Refusal
from thermo.case.tree import Tree, dig, sizes_of, values_at

__all__ = ["holding_refusals"]


@dataclass(frozen=True)
class Ways:
    """The ways to hold a part: its name, its key, and which keys each way needs."""

    name: str
    key: str
    needs: Mapping[str, tuple[str, ...]]


FRAME = Ways(
    "frame",
    "mask.frame",
    {
        "free": (),
        "clamped": ("mount",),
        "screwed": ("mount", "patch"),
        "taped": ("mount", "patch", "joint"),
        "glued": ("mount", "joint"),
        "springs": ("mount", "patch", "stiffness"),
    },
)
SAMPLE = Ways(
    "sample",
    "sample",
    {
        "free": (),
        "glued": (),
        "taped": ("patch",),
        "clamped": (),
        "screwed": ("patch",),
        "springs": ("patch", "stiffness"),
    },
)
MISSING = {  # what is allowed and the way out
    "mount": "; allowed: the name of a solid; add mount = the material of what holds the mask: "
    "it grows, and the pattern with it",
    "patch": '; allowed: length 0.1 mm .. 1 m; add patch = "value mm", the side of a patch',
    "joint": "; allowed: a table with material, thickness; add joint = "
    '{ material = "epoxy", thickness = "value um" }, the layer that holds',
    "stiffness": "; allowed: stiffness 1e3 N/m .. 1e10 N/m; add "
    'stiffness = "value N/m", that of each spring',
}
ALWAYS = ("mount",)  # may stand beside a way that does not need it


def holding_refusals(tree: Tree) -> Iterator[Refusal]:
    """What a way to hold misses, what does not go with it, patches that do not fit."""
    for ways in (FRAME, SAMPLE):
        yield from _needs(tree, ways)
    yield from _sample_joint(tree)
    yield from _corners(tree)
    yield from _frame_patch(tree)
    yield from _sample_patch(tree)


def _needs(tree: Tree, ways: Ways) -> Iterator[Refusal]:
    held = dig(tree, f"{ways.key}.held")
    needed = ways.needs.get(held) if isinstance(held, str) else None
    if needed is None:  # refused by itself already
        return
    what = f"{ways.name} held by springs" if held == "springs" else f"{held} {ways.name}"
    for name in dict.fromkeys(key for keys in ways.needs.values() for key in keys):
        path = (*ways.key.split("."), name)
        given = dig(tree, f"{ways.key}.{name}") is not None
        if name in needed and not given:
            yield path, f"is missing for a {what}{MISSING[name]}"
        elif given and name not in needed and name not in ALWAYS:
            words = ", ".join(f'"{word}"' for word, keys in ways.needs.items() if name in keys)
            where = f'held = "{held}"'
            yield path, f"does not go with {where}; allowed: only with {words}; leave it out"


def _sample_joint(tree: Tree) -> Iterator[Refusal]:
    material, thickness = dig(tree, "sample.joint.material"), dig(tree, "sample.joint.thickness")
    for name, given, other in (
        ("material", material, thickness),
        ("thickness", thickness, material),
    ):
        if given is None and other is not None:
            yield (
                ("sample", "joint", name),
                f"is missing; allowed: material and thickness together or neither; add {name} here",
            )
    held = dig(tree, "sample.held")
    if held in ("glued", "taped") and material is None and thickness is None:
        yield (
            ("sample", "held"),
            f"'{held}' needs the layer that holds; allowed: with sample.joint.material and "
            "thickness; add both under [sample.joint]",
        )


def _corners(tree: Tree) -> Iterator[Refusal]:
    if dig(tree, "sample.held") == "taped" and dig(tree, "sample.diameter") is not None:
        yield (
            ("sample", "held"),
            "'taped' holds a sample at its four corners, a round one has none; allowed: "
            '"free", "glued", "clamped", "screwed", "springs"; choose one',
        )


def _frame_patch(tree: Tree) -> Iterator[Refusal]:
    side = values_at(tree, "mask.frame.patch")[-1]
    border = values_at(tree, "mask.frame.border")[0]
    room = min(border, _least(tree, "mask.membrane"))
    if side > room:
        which = "the border's width" if room == border else "the side of the clear opening"
        yield (
            ("mask", "frame", "patch"),
            f"{side * 1e3:.6g} mm patches do not fit the frame; allowed: up to {room * 1e3:.6g} "
            f"mm, {which}; make them smaller",
        )


def _sample_patch(tree: Tree) -> Iterator[Refusal]:
    side = values_at(tree, "sample.patch")[-1]
    share, name = (2, "half") if dig(tree, "sample.held") == "taped" else (3, "a third of")
    room = _least(tree, "sample") / share
    if side > room:
        yield (
            ("sample", "patch"),
            f"{side * 1e3:.6g} mm patches overlap; allowed: up to {room * 1e3:.6g} mm, {name} the "
            "sample's side; make them smaller",
        )


def _least(tree: Tree, part: str) -> float:
    """The smaller side of a part, or its diameter, m; nan where a size is missing or refused."""
    given = [key for key in sizes_of(part) if dig(tree, key) is not None]
    sizes = [values_at(tree, key)[0] for key in given]
    return math.nan if not sizes or any(map(math.isnan, sizes)) else min(sizes)
