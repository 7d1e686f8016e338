"""What a case says of the light and the scan: ring, windows and gas on the way, stripe, motion."""

from typing import Annotated

from pydantic import Discriminator, Field, Tag

from thermo.case.fields import (
    FileName,
    Gas,
    Part,
    Pressure,
    RingCurrent,
    Size,
    Solid,
    Thickness,
    within,
)
from thermo.units import Quantity

__all__ = ["Beam", "Filter", "GasPath", "Ring", "Scan"]


class Ring(Part):
    """Storage ring and source: bending magnet, wiggler (with poles), or a spectrum in a file.

    spectrum : CSV file beside the case; spectrum_current : ring current it belongs to
    """

    energy: Annotated[Quantity, *within("particle_energy", "0.1 GeV", "10 GeV")] | None = None
    current: RingCurrent
    field: Annotated[Quantity, *within("field", "0.05 T", "10 T")] | None = None
    lifetime: Annotated[Quantity, *within("time", "1 min", "1000 h")] | None = None
    poles: Annotated[Quantity, *within("ratio", "1", "1000", exact=True)] | None = None
    period: Annotated[Quantity, *within("length", "1 cm", "2 m", exact=True)] | None = None
    spectrum: FileName | None = None
    spectrum_current: RingCurrent | None = None


class Filter(Part):
    """One foil in the beam before the mask; the first is the window."""

    material: Solid
    thickness: Thickness


class GasPath(Part):
    """A stretch of gas in the beam before the mask, at the chamber's temperature."""

    gas: Gas
    length: Annotated[Quantity, *within("length", "0.1 mm", "200 m")]
    pressure: Pressure


def _filter_or_gas(value: object) -> str:
    gas = isinstance(value, GasPath) or (isinstance(value, dict) and "gas" in value)
    return "(GasPath)" if gas else "(Filter)"


Met = Annotated[
    Annotated[Filter, Tag("(Filter)")] | Annotated[GasPath, Tag("(GasPath)")],
    Discriminator(_filter_or_gas),
]


class Beam(Part):
    """White beam at the mask: distance from the source, lit width, foils and gas in beam order.

    fwhm, angle_fwhm : height of the stripe at the mask, or its angle seen from the source
    source_height, source_angle : electron beam's size and divergence, standard deviations
    spare_filters : foils at hand that could be added
    """

    distance: Annotated[Quantity, *within("length", "0.5 m", "200 m")]
    width: Size
    fwhm: Annotated[Quantity, *within("length", "50 um", "0.2 m")] | None = None
    angle_fwhm: Annotated[Quantity, *within("angle", "1 urad", "50 mrad")] | None = None
    source_height: Annotated[Quantity, *within("length", "0 um", "5 mm")] | None = None
    source_angle: Annotated[Quantity, *within("angle", "0 urad", "5 mrad")] | None = None
    filters: Annotated[tuple[Met, ...], Field(max_length=20)] = ()
    spare_filters: Annotated[tuple[Filter, ...], Field(max_length=20)] = ()


class Scan(Part):
    """Up-and-down motion of mask and sample: stroke, speed and acceleration, or a table.

    table : CSV file beside the case, the stage's log of position against time
    centre : position in the table at which the beam meets the middle of the field
    """

    stroke: Size | None = None
    speed: Annotated[Quantity, *within("speed", "1 um/s", "1 m/s")] | None = None
    acceleration: Annotated[Quantity, *within("acceleration", "1 mm/s2", "100 m/s2")] | None = None
    table: FileName | None = None
    centre: Annotated[Quantity, *within("length", "-10 m", "10 m", exact=True)] | None = None
