"""What a case says of the sample: its layers, joint and holder, and how it is held."""

from typing import Annotated, Literal

from pydantic import Field

from thermo.case.fields import (
    Contact,
    Film,
    FreeStrain,
    LayerName,
    Part,
    Size,
    Solid,
    Stiffness,
    Temperature,
    Thickness,
    Water,
)

__all__ = ["Holder", "Joint", "Sample", "SampleLayer"]


class SampleLayer(Part):
    """One layer of the sample; the name is the material's where none is given.

    free_strain : change of length it would have by itself: negative where it has shrunk (cured,
        dried), positive where it swells
    """

    material: Solid
    thickness: Thickness
    name: LayerName
    free_strain: FreeStrain | None = None


class Joint(Part):
    """Joint between sample and holder: contact resistance, and a layer of tape, grease or glue."""

    resistance: Contact
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

    held : free on a supported back; glued (waxed) by the joint over its full face; taped by
        patches at the corners; clamped by a ring at the edge; screwed down, or drawn down by
        springs or magnets, at three points of the edge of a back that lies on its joint
    patch : side of each place that is taped, screwed or sprung
    stiffness : of each of the three springs, in the plane and along the beam
    diameter : of a wafer, instead of width and height
    """

    measured_at: Temperature
    width: Size | None = None
    height: Size | None = None
    diameter: Size | None = None
    layers: Annotated[tuple[SampleLayer, ...], Field(min_length=1, max_length=20)]
    held: Literal["free", "glued", "taped", "clamped", "screwed", "springs"]
    patch: Size | None = None
    stiffness: Stiffness | None = None
    joint: Joint
    holder: Holder
