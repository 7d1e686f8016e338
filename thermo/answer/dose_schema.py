"""The report of the dose command as data: numbers with their unit in the name."""

from pydantic import Field

from thermo.answer.block import Block
from thermo.answer.schema import (
    SCHEMA,
    BeamBlock,
    CaseBlock,
    DoseBlock,
    PathLine,
    PhotonBlock,
)


class DepthLine(Block):
    """Dose at one depth of the resist, in the open."""

    depth_um: float
    dose_J_per_cm3: float


class MotionBlock(Block):
    """The scan: stroke, speed over its middle, time of a pass, and where the time is spent.

    duty: share of the time in which the stripe's middle lies over the field;
    unevenness_limit_percent: that of the case, None where it names none;
    time_s_per_mm: time of a pass per length, by the middle of each interval of the stroke
    """

    stroke_mm: float
    speed_mm_per_s: float
    pass_time_s: float
    turn_mm: float
    duty: float
    stroke_needed_mm: float
    stroke_for_1_percent_mm: float
    unevenness_percent: float
    unevenness_limit_percent: float | None
    time_s_per_mm: tuple[tuple[float, float], ...]


class Remark(Block):
    """A value of the plan beside what is usual or asked for, with who says so; low may be None."""

    name: str
    value: float
    low: float | None
    high: float
    unit: str
    met: bool
    source: str


class FilterLine(Block):
    """One change of the filters and what it does; numbers None where the dose is never reached."""

    material: str
    added: bool
    before_um: float
    thickness_um: float
    ratio: float | None
    resist_top_J_per_cm3: float | None
    time_s: float | None
    beam_time_factor: float | None
    meets: bool


class DoseReport(Block):
    """Everything `warmstack dose` says."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    case: CaseBlock
    beam: BeamBlock
    path: tuple[PathLine, ...]
    dose: DoseBlock
    wanted_J_per_cm3: float
    done_passes: float
    step_percent: float | None
    depth: tuple[DepthLine, ...]
    motion: MotionBlock | None
    remarks: tuple[Remark, ...]
    note: str
    ratio_limit: float | None
    filters: tuple[FilterLine, ...]
    photons: PhotonBlock | None
    cautions: tuple[str, ...]

    def to_json(self) -> str:
        """The report as JSON."""
        return self.model_dump_json(by_alias=True, indent=1) + "\n"
