"""What a case says of the mask: membrane, absorber and frame."""

from typing import Annotated, Literal

from thermo.case.fields import (
    Contact,
    Cooling,
    Coverage,
    Part,
    Size,
    Solid,
    Stiffness,
    Temperature,
    Thickness,
    Water,
    within,
)
from thermo.units import Quantity

__all__ = ["Absorber", "Frame", "FrameJoint", "Mask", "Membrane"]


class Membrane(Part):
    """Mask membrane over its clear opening, with its initial tension.

    diameter : of a round opening, instead of width and height
    """

    material: Solid
    thickness: Thickness
    width: Size | None = None
    height: Size | None = None
    diameter: Size | None = None
    tension: Annotated[Quantity, *within("stress", "0 MPa", "2 GPa")]


class Absorber(Part):
    """Absorber metal over the pattern field: coverage as one share or as rows, top row first."""

    material: Solid
    thickness: Thickness
    width: Size
    height: Size
    coverage: Coverage
    kind: Literal["islands", "connected"]
    surround: Literal["bare", "covered"]

    @property
    def rows(self) -> tuple[tuple[float, ...], ...]:
        """Coverage as rows whichever way it was given; the first row is the top (+y)."""
        return ((self.coverage.value,),) if isinstance(self.coverage, Quantity) else self.coverage


class FrameJoint(Part):
    """Layer that tapes or glues the frame's lit face to its mount: tape, glue, wax or grease."""

    material: Solid
    thickness: Thickness


class Frame(Part):
    """Mask frame: border round the clear opening, how it is cooled (None: not) and held.

    contact : between membrane and frame, m2 K/W: of a bond or of a clamp.  A clamped membrane
        counts as bonded until it slips
    held : free on a kinematic mount; clamped by a ring; screwed at three points; taped at its
        corners; glued over its lit face; or drawn to three points by springs or magnets
    mount : material of what the frame is held to, which grows at the temperature of its water, or
        of the chamber where there is none; a free frame may leave it out
    patch : side of each place that is screwed, taped or sprung
    joint : what tapes or glues
    stiffness : of each of the three springs, in the plane and along the beam
    """

    material: Solid
    thickness: Thickness
    border: Size
    contact: Contact
    cooling: Cooling
    water: Water | None = None
    held: Literal["free", "clamped", "screwed", "taped", "glued", "springs"]
    mount: Solid | None = None
    patch: Size | None = None
    joint: FrameJoint | None = None
    stiffness: Stiffness | None = None


class Mask(Part):
    """Membrane, absorber and frame, and the temperature at which the mask was measured.

    scale : at which it was written against the design; none: like the design
    """

    measured_at: Temperature
    scale: Annotated[Quantity, *within("relative", "-1 %", "1 %")] | None = None
    membrane: Membrane
    absorber: Absorber
    frame: Frame
