"""The answer as data: the blocks of answer.json, numbers with their unit in the name.

None where a quantity does not apply or is not known; a `reason` then says why.  The layout is
stable: `schema` rises when a key changes its meaning or goes.
"""

from typing import Literal

from pydantic import Field

from thermo.answer.block import Block
from thermo.answer.placement_schema import PlacementBlock, Stress
from thermo.answer.time_schema import (
    CourseBlock,
    CycleBlock,
    ResistInTime,
    SensorReading,
    SpeedBlock,
)

Word = Literal["go", "change", "no", "cannot_tell"]
Regime = Literal["still", "few_passes", "limit_cycle"]
SCHEMA = 1


class CaseBlock(Block):
    """Which case was answered; settings: what --set changed in its file, by key."""

    title: str
    sha256: str
    settings: dict[str, str]


class BeamBlock(Block):
    """The white beam; incident is before the first window.

    half_power_energy: half of the emitted power lies below; absorption: the model used and how
    far to trust it
    """

    source: str
    critical_energy_keV: float | None
    half_power_energy_keV: float
    emitted_W_per_mrad: float
    incident_W_per_cm: float
    on_mask_W_per_cm: float
    mean_flux_W_per_m2: float
    stripe_fwhm_mm: float
    absorption: str


class PathLine(Block):
    """One thing the beam meets, from the first window on, in the open column.

    low, high: from bare energy absorption to attenuation, with what neighbours may send;
    heat: over the lit width; transmission: share of the power that passes
    """

    name: str
    material: str
    thickness_mm: float
    absorbed_W_per_cm: float
    low_W_per_cm: float
    high_W_per_cm: float
    heat_W: float
    transmission: float


class PhotonLine(Block):
    """Absorbed power of one layer: default model with band, Monte Carlo with one standard error."""

    name: str
    model_W_per_cm: float
    low_W_per_cm: float
    high_W_per_cm: float
    photons_W_per_cm: float
    error_W_per_cm: float


class PhotonBlock(Block):
    """The Monte Carlo check of the absorbed power and dose; doses as if for the same passes."""

    photons: int
    seed: int
    open: tuple[PhotonLine, ...]
    covered: tuple[PhotonLine, ...]
    resist_top_J_per_cm3: float
    resist_bottom_J_per_cm3: float
    ratio: float
    under_absorber_J_per_cm3: float
    under_absorber_error_J_per_cm3: float


class DoseBlock(Block):
    """The exposure plan.

    time and passes with the ring's lifetime where one is given; *_constant_current without; after
    a stop they are those that are left. under_absorber: in the middle of a wide absorber, at the
    resist's lit face and at its back; scattered_under: upper estimate of what comes on top of it
    under a fine one from open parts beside
    """

    resist_top_J_per_cm3: float
    resist_bottom_J_per_cm3: float
    ratio: float
    under_absorber_J_per_cm3: float
    under_absorber_back_J_per_cm3: float
    scattered_under_J_per_cm3: float
    per_pass_J_per_cm3: float | None
    time_s: float
    passes: int | None
    time_constant_current_s: float
    passes_constant_current: int | None
    charge_mA_min_per_cm: float
    stroke_needed_mm: float | None
    unevenness_percent: float | None


class Temperature(Block):
    """One part at its hottest place: scan mean, peak, while printing, swing, and where."""

    mean_C: float
    peak_C: float
    dose_weighted_C: float
    swing_K: float
    where_mm: tuple[float, float, float]


class HandCheck(Block):
    """Series resistances at the hottest column of the resist beside the FE numbers.

    hand_rise_K and fe_rise_K: scan-mean rise of the resist's lit face over the holder's water;
    column_*: the same column solved through its layers, with its films.
    """

    where_mm: tuple[float, float]
    heat_flux_W_per_m2: float
    resistance_m2K_per_W: float
    hand_rise_K: float
    column_rise_K: float | None
    fe_rise_K: float
    column_swing_K: float | None
    fe_swing_K: float
    note: str


class LimitLine(Block):
    """One limit: typical value with low and high over the inputs that carry a range."""

    name: str
    part: str
    unit: str
    value: float | None
    low: float | None
    high: float | None
    limit: float
    limit_from: str
    margin: float | None
    met: bool | None
    note: str = ""


class Checks(Block):
    """What the answer proved about itself.

    membrane_flatness: by how much its thermal stress may still grow before it buckles, at its
        hottest; up to 1 it has, None: it is not pushed; tension_needed: to stay flat
    gap_left: least over the cycle (a short exposure) and the pattern field
    """

    heat_balance: float
    power_balance: float
    residual: float
    expansion_residual: float
    membrane_flatness: float | None
    membrane_tension_needed_MPa: float | None
    gap_left_um: float


class SolveBlock(Block):
    """What the last heat solve of the answer took; the residual is relative."""

    residual: float
    iterations: int
    seconds: float
    bytes: int


class MeshBlock(Block):
    """Size of the computation, and what changed against a mesh of twice the spacing or more."""

    unknowns: int
    cells: int
    solve: SolveBlock
    difference_on_refinement: dict[str, float] | None


class Verdict(Block):
    """The word, the body or quantity that limits, why, and what to change.

    tried: changes that help but are not enough by themselves
    """

    word: Word
    limited_by: str | None
    reasons: tuple[str, ...]
    advice: tuple[str, ...]
    tried: tuple[str, ...]


class AssumedLine(Block):
    """A value the case did not give, with its range and source; numbers in the named unit."""

    key: str
    value: float | str
    low: float | str
    high: float | str
    unit: str
    source: str


class Answer(Block):
    """Everything the estimate says; `schema` in the file is `schema_` here."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    case: CaseBlock
    versions: dict[str, str]
    regime: Regime
    regime_reason: str
    settle_s: float | None
    dose_share_before_settling: float | None
    beam: BeamBlock
    path: tuple[PathLine, ...]
    photons: PhotonBlock | None
    absorbed_W_per_cm: dict[str, float]
    heat_W: dict[str, float]
    heat_out_W: dict[str, float]
    dose: DoseBlock
    temperature: dict[str, Temperature]
    resist_in_time: ResistInTime | None
    cycle: CycleBlock | None
    course: CourseBlock
    speed: SpeedBlock | None
    sensors: dict[str, SensorReading]
    hand_check: HandCheck | None
    limits: tuple[LimitLine, ...]
    highest_current_mA: float | None
    placement: PlacementBlock
    stress: Stress
    checks: Checks
    mesh: MeshBlock
    seconds: dict[str, float]
    verdict: Verdict
    assumed: tuple[AssumedLine, ...]
    cautions: tuple[str, ...]

    @property
    def resist_peak_C(self) -> float:
        """Highest temperature of the resist, whatever the name of the layer behind the gap."""
        names = [line.name for line in self.path]
        return self.temperature[names[names.index("gap") + 1]].peak_C

    @property
    def mask_peak_C(self) -> float:
        """Highest temperature of membrane and absorber."""
        parts = ("membrane", "absorber")
        return max(self.temperature[part].peak_C for part in parts if part in self.temperature)

    def to_json(self) -> str:
        """The text of answer.json."""
        return self.model_dump_json(by_alias=True, indent=1) + "\n"
