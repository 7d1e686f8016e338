"""What a case holds: frozen models, every quantity in SI with the range the user gave.

Words and order are those of the case file. The allowed values stand beside each key and are
repeated in the message when one is left.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, SkipValidation, Tag

from thermo.case.fields import (
    Accommodation,
    Cooling,
    Coverage,
    Displacement,
    DoseLimit,
    DoseValue,
    FileName,
    Film,
    Gas,
    LayerName,
    LimitTemperature,
    Magnification,
    Place,
    Pressure,
    ResistLimit,
    RingCurrent,
    Size,
    Solid,
    Temperature,
    Text,
    Thickness,
    Water,
    within,
)
from thermo.case.tables import NumberTable
from thermo.materials import Material
from thermo.units import Quantity

__all__ = [
    "SECTIONS",
    "Absorber",
    "Assumed",
    "Beam",
    "Case",
    "Chamber",
    "Dose",
    "Filter",
    "Frame",
    "Gap",
    "GasPath",
    "Head",
    "Holder",
    "Joint",
    "Limits",
    "Mask",
    "Membrane",
    "OwnMaterial",
    "Raw",
    "Ring",
    "Sample",
    "SampleLayer",
    "Scan",
    "Sensor",
]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Head(_Part):
    """What stands above the tables."""

    title: Text


class Ring(_Part):
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
    spectrum_current: Annotated[Quantity, *within("current", "0.01 mA", "2 A")] | None = None


class Filter(_Part):
    """One foil in the beam before the mask; the first is the window."""

    material: Solid
    thickness: Thickness


class GasPath(_Part):
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


class Beam(_Part):
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


class Scan(_Part):
    """Up-and-down motion of mask and sample: stroke, speed and acceleration, or a table.

    table : CSV file beside the case, the stage's log of position against time
    centre : position in the table at which the beam meets the middle of the field
    """

    stroke: Size | None = None
    speed: Annotated[Quantity, *within("speed", "1 um/s", "1 m/s")] | None = None
    acceleration: Annotated[Quantity, *within("acceleration", "1 mm/s2", "100 m/s2")] | None = None
    table: FileName | None = None
    centre: Annotated[Quantity, *within("length", "-10 m", "10 m", exact=True)] | None = None


class Chamber(_Part):
    """Gas around mask and sample."""

    gas: Gas
    pressure: Pressure
    temperature: Temperature
    outer_film: Annotated[Quantity, *within("film", "0 W/(m2 K)", "1000 W/(m2 K)")]
    accommodation_mask: Accommodation
    accommodation_sample: Accommodation


class Membrane(_Part):
    """Mask membrane over its clear opening, with its initial tension."""

    material: Solid
    thickness: Thickness
    width: Size
    height: Size
    tension: Annotated[Quantity, *within("stress", "0 MPa", "2 GPa")]


class Absorber(_Part):
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


class Frame(_Part):
    """Mask frame: border round the clear opening, how it is cooled (None: not) and held."""

    material: Solid
    thickness: Thickness
    border: Size
    cooling: Cooling
    water: Water | None = None
    held: Literal["free", "clamped"]


class Mask(_Part):
    """Membrane, absorber and frame, and the temperature at which the mask was measured."""

    measured_at: Temperature
    membrane: Membrane
    absorber: Absorber
    frame: Frame


class Gap(_Part):
    """Proximity gap between absorber and resist."""

    width: Annotated[Quantity, *within("length", "1 um", "10 mm")]


class SampleLayer(_Part):
    """One layer of the sample; the name is the material's where none is given."""

    material: Solid
    thickness: Thickness
    name: LayerName


class Joint(_Part):
    """Joint between sample and holder: contact resistance, and a layer of tape, grease or glue."""

    resistance: Annotated[Quantity, *within("resistance", "1e-9 m2 K/W", "1 m2 K/W")]
    material: Solid | None = None
    thickness: Thickness | None = None


class Holder(_Part):
    """Water-cooled sample holder."""

    material: Solid
    thickness: Thickness
    width: Size
    height: Size
    film: Film
    water: Water


class Sample(_Part):
    """Layers in beam order (the first is the resist), joint, holder, and how it is held in plane.

    held : free on a supported back, glued by the joint over its full face, taped by patches at
        the corners, or clamped by a ring at the edge
    """

    measured_at: Temperature
    width: Size
    height: Size
    layers: Annotated[tuple[SampleLayer, ...], Field(min_length=1, max_length=20)]
    held: Literal["free", "glued", "taped", "clamped"]
    patch: Size | None = None
    joint: Joint
    holder: Holder


class Sensor(_Part):
    """A temperature sensor: the part it sits on and its place from the middle of the field."""

    part: str
    x: Place
    y: Place


class Dose(_Part):
    """Dose to reach at the bottom of the resist; even_passes: end on the side of the start."""

    bottom: DoseValue
    even_passes: Annotated[bool, Field(strict=True)] = False


class Limits(_Part):
    """What the exposure must keep; what is not named is not judged."""

    resist: ResistLimit | None = None
    mask: LimitTemperature | None = None
    placement: Displacement | None = None
    magnification: Magnification | None = None
    blur: Displacement | None = None
    dose_top: DoseLimit | None = None
    dose_ratio: Annotated[Quantity, *within("ratio", "1", "1000", exact=True)] | None = None
    dose_under_absorber: DoseLimit | None = None


class OwnMaterial(_Part):
    """A solid of the user's own: all its properties, or those that differ from a known one."""

    like: str | None = None
    formula: str | None = None
    density: Annotated[Quantity, *within("density", "1 kg/m3", "25000 kg/m3")] | None = None
    conductivity: (
        Annotated[Quantity, *within("conductivity", "1e-3 W/(m K)", "5000 W/(m K)")] | None
    ) = None
    heat_capacity: (
        Annotated[Quantity, *within("heat_capacity", "10 J/(kg K)", "10000 J/(kg K)")] | None
    ) = None
    youngs_modulus: Annotated[Quantity, *within("stress", "1 kPa", "2000 GPa")] | None = None
    poisson_ratio: Annotated[Quantity, *within("ratio", "0", "0.499")] | None = None
    expansion: Annotated[Quantity, *within("expansion", "-1e-4 1/K", "1e-3 1/K")] | None = None
    limit: Annotated[Quantity, *within("temperature", "-50 degC", "3500 degC")] | None = None


@dataclass(frozen=True)
class Assumed:
    """A value the case did not give: value, low and high in SI (or words), unit and source."""

    key: str
    value: float | str
    low: float | str
    high: float | str
    unit: str
    source: str


class Case(_Part):
    """A checked exposure, SI throughout: nothing in it is silent, nothing changes.

    materials : every material the case uses, by the name written in the case
    tables : files named in the case, by the key that names them, as in 'ring.spectrum'
    assumed : what was filled from the tables, each with range and source
    text, sha256 : the file as read; the hash covers it, its tables, and the settings beside it
    """

    title: Text
    ring: Ring
    beam: Beam
    scan: Scan | None = None
    chamber: Chamber
    mask: Mask
    gap: Gap
    sample: Sample
    sensors: Mapping[str, Sensor] = {}
    dose: Dose
    limits: Limits = Limits()
    materials: SkipValidation[Mapping[str, Material]]
    tables: SkipValidation[Mapping[str, NumberTable]] = {}
    assumed: SkipValidation[tuple[Assumed, ...]]
    path: str
    text: str
    sha256: str


SECTIONS: dict[str, type[BaseModel]] = {
    "ring": Ring,
    "beam": Beam,
    "scan": Scan,
    "chamber": Chamber,
    "mask": Mask,
    "gap": Gap,
    "sample": Sample,
    "dose": Dose,
    "limits": Limits,
}
Raw = dict[str, Any]  # a table as the TOML reader gives it
