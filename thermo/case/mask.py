"""What a case says of the mask: membrane, absorber and frame."""

from typing import Annotated, Literal

from thermo.case.fields import (
    Cooling,
    Coverage,
    Part,
    Size,
    Solid,
    Temperature,
    Thickness,
    Water,
    within,
)
from thermo.units import Quantity

__all__ = ["Absorber", "Frame", "Mask", "Membrane"]


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


class Frame(Part):
    """Mask frame: border round the clear opening, how it is cooled (None: not) and held."""

    material: Solid
    thickness: Thickness
    border: Size
    cooling: Cooling
    water: Water | None = None
    held: Literal["free", "clamped"]


class Mask(Part):
    """Membrane, absorber and frame, and the temperature at which the mask was measured."""

    measured_at: Temperature
    membrane: Membrane
    absorber: Absorber
    frame: Frame
