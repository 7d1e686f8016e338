"""What a case holds: frozen models, every quantity in SI with the range the user gave.

Words and order are those of the case file. The allowed values stand beside each key and are
repeated in the message when one is left.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, Field, SkipValidation

from thermo.case.fields import (
    Accommodation,
    Displacement,
    DoseLimit,
    DoseValue,
    FileName,
    Gas,
    LimitTemperature,
    Magnification,
    Part,
    Place,
    Pressure,
    ResistLimit,
    Temperature,
    Text,
    within,
)
from thermo.case.lighting import Beam, Ring, Scan
from thermo.case.mask import Mask
from thermo.case.plan_file import PlanFile
from thermo.case.sample import Sample
from thermo.case.tables import NumberTable
from thermo.materials import Material
from thermo.units import Quantity

__all__ = [
    "SECTIONS",
    "Assumed",
    "Case",
    "Chamber",
    "Dose",
    "Gap",
    "Head",
    "Limits",
    "OwnMaterial",
    "PlanMesh",
    "Raw",
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


class Gap(Part):
    """Proximity gap between absorber and resist.

    emissivity : of both faces together, 1/(1/e1 + 1/e2 - 1); without it radiation is left out
    """

    width: Annotated[Quantity, *within("length", "1 um", "10 mm")]
    emissivity: Annotated[Quantity, *within("ratio", "0", "1")] | None = None


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
    """What the exposure must keep; what is not named is not judged.

    dose_unevenness : peak to valley along the scan; where it is not named an unevenness above that
        of common practice is told all the same
    time : of the whole exposure
    """

    resist: ResistLimit | None = None
    mask: LimitTemperature | None = None
    placement: Displacement | None = None
    magnification: Magnification | None = None
    blur: Displacement | None = None
    dose_top: DoseLimit | None = None
    dose_ratio: Annotated[Quantity, *within("ratio", "1", "1000", exact=True)] | None = None
    dose_under_absorber: DoseLimit | None = None
    dose_unevenness: Annotated[Quantity, *within("ratio", "1e-4 %", "100 %", exact=True)] | None = (
        None
    )
    time: Annotated[Quantity, *within("time", "1 s", "1000 h", exact=True)] | None = None


class PlanMesh(Part):
    """A plan mesh of the user's own instead of one made from the outlines: a .vtu file of quads.

    Its nodes are in metres, x = y = 0 in the middle of the field, and its edges run along every
    outline.  It is the coarse mesh: a run cuts every cell in four, `refine` again.  Nothing in it
    depends on the beam: it is no finer at a held stripe or at the turn, and its cells may be wider
    than the stripe.
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
    strength: Annotated[Quantity, *within("stress", "1 kPa", "100 GPa")] | None = None


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
    settings : what was set beside the file, as texts by their keys
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
    settings: Mapping[str, str] = {}


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
