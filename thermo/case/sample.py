"""What a case says of the sample: its layers, joint and holder, and how it is held."""

from typing import Annotated, Literal

from pydantic import Field

from thermo.case.fields import (
    Film,
    LayerName,
    Part,
    Size,
    Solid,
    Temperature,
    Thickness,
    Water,
    within,
)
from thermo.units import Quantity

__all__ = ["Holder", "Joint", "Sample", "SampleLayer"]


class SampleLayer(Part):
    """One layer of the sample; the name is the material's where none is given."""

    material: Solid
    thickness: Thickness
    name: LayerName


class Joint(Part):
    """Joint between sample and holder: contact resistance, and a layer of tape, grease or glue."""

    resistance: Annotated[Quantity, *within("resistance", "1e-9 m2 K/W", "1 m2 K/W")]
    material: Solid | None = None
    thickness: Thickness | None = None


class Holder(Part):
    """Water-cooled sample holder; the diameter of a round one instead of width and height."""

    material: Solid
    thickness: Thickness
    width: Size | None = None
    height: Size | None = None
    diameter: Size | None = None
    film: Film
    water: Water


class Sample(Part):
    """Layers in beam order (the first is the resist), joint, holder, and how it is held in plane.

    held : free on a supported back, glued by the joint over its full face, taped by patches at
        the corners, or clamped by a ring at the edge
    diameter : of a wafer, instead of width and height
    """

    measured_at: Temperature
    width: Size | None = None
    height: Size | None = None
    diameter: Size | None = None
    layers: Annotated[tuple[SampleLayer, ...], Field(min_length=1, max_length=20)]
    held: Literal["free", "glued", "taped", "clamped"]
    patch: Size | None = None
    joint: Joint
    holder: Holder
