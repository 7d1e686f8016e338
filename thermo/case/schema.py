"""What a case holds: frozen models, every quantity in SI with the range the user gave.

Words and order are those of the case file. The allowed values stand beside each key and are
repeated in the message when one is left.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field, SkipValidation

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
    Part,
    Place,
    Pressure,
    ResistLimit,
    Size,
    Solid,
    Temperature,
    Text,
    Thickness,
    Water,
    within,
)
from thermo.case.lighting import Beam, Filter, GasPath, Ring, Scan
from thermo.case.plan_file import PlanFile
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
    "PlanMesh",
    "Raw",
    "Ring",
    "Sample",
    "SampleLayer",
    "Scan",
    "Sensor",
]


class Head(Part):
    """What stands above the tables."""

    title: Text


class Chamber(Part):
    """Gas around mask and sample."""

    gas: Gas
    pressure: Pressure
    temperature: Temperature
    outer_film: Annotated[Quantity, *within("film", "0 W/(m2 K)", "1000 W/(m2 K)")]
    accommodation_mask: Accommodation
    accommodation_sample: Accommodation


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


class Gap(Part):
    """Proximity gap between absorber and resist."""

    width: Annotated[Quantity, *within("length", "1 um", "10 mm")]


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


class Sensor(Part):
    """A temperature sensor: the part it sits on and its place from the middle of the field."""

    part: str
    x: Place
    y: Place


class Dose(Part):
    """Dose to reach at the bottom of the resist; even_passes: end on the side of the start."""

    bottom: DoseValue
    even_passes: Annotated[bool, Field(strict=True)] = False


class Limits(Part):
    """What the exposure must keep; what is not named is not judged."""

    resist: ResistLimit | None = None
    mask: LimitTemperature | None = None
    placement: Displacement | None = None
    magnification: Magnification | None = None
    blur: Displacement | None = None
    dose_top: DoseLimit | None = None
    dose_ratio: Annotated[Quantity, *within("ratio", "1", "1000", exact=True)] | None = None
    dose_under_absorber: DoseLimit | None = None


class PlanMesh(Part):
    """A plan mesh of the user's own instead of one made from the outlines: a .vtu file of quads.

    Its nodes are in metres, x = y = 0 in the middle of the field, and its edges run along every
    outline.  It is the coarse mesh: a run cuts every cell in four, `refine` again.
    """

    plan: FileName


class OwnMaterial(Part):
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


class Case(Part):
    """A checked exposure, SI throughout: nothing in it is silent, nothing changes.

    materials : every material the case uses, by the name written in the case
    tables : files named in the case, by the key that names them, as in 'ring.spectrum'
    plan : the file of the plan mesh where the case names one
    assumed : what was filled from the tables, each with range and source
    text, sha256 : the file as read; the hash covers it, its tables, its plan mesh, and the settings
        beside it
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
    mesh: PlanMesh | None = None
    materials: SkipValidation[Mapping[str, Material]]
    tables: SkipValidation[Mapping[str, NumberTable]]
    plan: SkipValidation[PlanFile | None] = None
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
    "mesh": PlanMesh,
}
Raw = dict[str, Any]  # a table as the TOML reader gives it
