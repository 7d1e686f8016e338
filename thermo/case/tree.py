"""Values in a case or in the tables of a file alike, by their dotted keys."""

import math
from typing import Any

from pydantic import BaseModel
from pydantic_core import PydanticCustomError

from thermo.case.faults import model_at, span_of
from thermo.case.schema import SECTIONS, Raw

__all__ = ["PARTS", "Span", "Tree", "dig", "sizes_of", "span", "values_at"]

Tree = Raw | BaseModel
Span = tuple[float, float, float]  # low, value and high of a quantity, SI
PARTS = {  # what the messages call an outline -> its part
    "pattern field": "mask.absorber",
    "opening": "mask.membrane",
    "frame": "mask.frame",
    "sample": "sample",
    "holder": "sample.holder",
}


def dig(tree: Any, key: str) -> Any:
    """Value at a dotted key; None where there is none."""
    for part in key.split("."):
        if isinstance(tree, BaseModel):
            tree = getattr(tree, part, None)
        else:
            tree = tree.get(part) if isinstance(tree, dict) else None
    return tree


def span(value: object, holder: type[BaseModel], name: str) -> Span:
    """Low, value and high of what stands at a key of a model; nan where the key refuses it."""
    allowed = span_of(holder, name)
    try:
        assert allowed is not None  # asked for keys that hold a quantity
        found = allowed.read(value)
    except PydanticCustomError:
        return math.nan, math.nan, math.nan
    low, high = found.bounds
    return low, found.value, high


def values_at(tree: Tree, key: str) -> Span:
    """Low, value and high at a dotted key; nan where nothing stands or the key refuses it."""
    section, *path, name = key.split(".")
    return span(dig(tree, key), model_at(SECTIONS[section], tuple(path)), name)


def sizes_of(part: str) -> list[str]:
    """Keys that give a part's outline."""
    section, *path = part.split(".")
    known = model_at(SECTIONS[section], tuple(path)).model_fields
    return [f"{part}.{name}" for name in ("width", "height", "diameter", "border") if name in known]
