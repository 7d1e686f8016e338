"""Inputs the case does not give: filled from the assumed table and listed, never silent."""

from typing import Any

from thermo.case.checks import FIXED_PARTS
from thermo.case.faults import Refusal
from thermo.case.fields import NAME
from thermo.case.library import Library
from thermo.case.schema import Assumed, Raw
from thermo.case.tree import dig
from thermo.errors import MaterialError
from thermo.materials import Assumption, Material, assumption
from thermo.materials.own import SOURCE as GIVEN
from thermo.units import Quantity

__all__ = [
    "GIVEN",
    "STACK_PROPERTIES",
    "assumed_of_materials",
    "fill_assumed",
    "name_layers",
    "solids",
]

DEPENDS_ON = {  # key that may be left out -> key of the material its usual value depends on
    "chamber.outer_film": None,
    "chamber.accommodation_mask": "chamber.gas",
    "chamber.accommodation_sample": "chamber.gas",
    "mask.measured_at": None,
    "mask.membrane.tension": "mask.membrane.material",
    "mask.absorber.kind": None,
    "mask.frame.contact": None,
    "mask.frame.cooling": None,
    "sample.measured_at": None,
    "sample.joint.resistance": None,
}
STACK_PROPERTIES = ("conductivity", "expansion", "youngs_modulus")
FRAME_HOLDS = {  # what holds the frame, and which of its properties count
    "mask.frame.mount": ("expansion",),
    "mask.frame.joint.material": ("youngs_modulus",),
}


def fill_assumed(raw: Raw, library: Library) -> tuple[list[Assumed], list[Refusal]]:
    """Fill the tables in place; gives what was assumed, and what could not be."""
    assumed: list[Assumed] = []
    refused: list[Refusal] = []
    if isinstance(raw.get("sample"), dict):
        raw["sample"].setdefault("joint", {})
    for key, depends_on in DEPENDS_ON.items():
        *parents, name = key.split(".")
        table = dig(raw, ".".join(parents))
        if not isinstance(table, dict) or name in table:
            continue
        stuff = library.find(dig(raw, depends_on)) if depends_on else None
        if depends_on and stuff is None:
            table[name] = _UNKNOWN[name]  # the material has its fault already
            continue
        try:
            found = assumption(key, stuff)
        except MaterialError as error:
            refused.append((tuple(key.split(".")), f"is missing: {error}"))
            table[name] = _UNKNOWN[name]
            continue
        table[name] = found.value
        assumed.append(_entry(found))
    return assumed, refused


_UNKNOWN = {  # stands in while the fault beside it keeps the case from being built
    "tension": Quantity(0.0, None, None, "Pa", "stress"),
    "accommodation_mask": Quantity(1.0, None, None, "", "ratio"),
    "accommodation_sample": Quantity(1.0, None, None, "", "ratio"),
}


def _entry(found: Assumption) -> Assumed:
    value = found.value.value if isinstance(found.value, Quantity) else found.value
    return Assumed(found.key, value, found.low, found.high, found.unit, found.source)


def name_layers(raw: Raw) -> None:
    """Name the layers that have no name, in place: the first 'resist', others by their material."""
    layers = dig(raw, "sample.layers")
    tables = (
        [layer for layer in layers if isinstance(layer, dict)] if isinstance(layers, list) else []
    )
    taken = {*FIXED_PARTS, *(str(layer["name"]) for layer in tables if "name" in layer)}
    for index, layer in enumerate(tables):
        if "name" not in layer:
            stuff = str(layer.get("material"))
            base = "resist" if index == 0 else stuff if NAME.fullmatch(stuff) else "layer"
            numbered = (f"{base[:30]} {count}" for count in range(2, len(tables) + 3))
            layer["name"] = (
                base if base not in taken else next(n for n in numbered if n not in taken)
            )
            taken.add(layer["name"])


def solids(tree: Any) -> dict[str, tuple[str, ...]]:
    """Solids of a case by name, and which properties count: of the stack, of what holds it."""
    names = [dig(tree, f"mask.{part}.material") for part in ("frame", "membrane", "absorber")]
    names += [dig(layer, "material") for layer in dig(tree, "sample.layers") or ()]
    names += [dig(tree, f"sample.{part}.material") for part in ("joint", "holder")]
    found: dict[str, tuple[str, ...]] = {
        name: STACK_PROPERTIES for name in names if name is not None
    }
    if dig(tree, "mask.frame.held") != "free":
        for key, own in FRAME_HOLDS.items():
            if (name := dig(tree, key)) is not None:
                found[name] = tuple(dict.fromkeys((*found.get(name, ()), *own)))
    return found


def assumed_of_materials(tree: Any, materials: dict[str, Material]) -> list[Assumed]:
    """Properties the stack takes from the table of materials rather than from the case."""
    found = []
    for name, wanted in solids(tree).items():
        for prop in wanted:
            row = getattr(materials[name], prop)
            if row is not None and row.source != GIVEN:
                key = f"materials.{name}.{prop}"
                found.append(Assumed(key, row.typical[0], row.low, row.high, row.unit, row.source))
    return found
