"""The answer as data: the blocks of answer.json, numbers with their unit in the name.

None where a quantity does not apply or is not known; a `reason` then says why.  The layout is
stable: `schema` rises when a key changes its meaning or goes.
"""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

Word = Literal["go", "change", "no", "cannot_tell"]
Regime = Literal["still", "few_passes", "limit_cycle"]
SCHEMA = 1


class Block(BaseModel):
    """A part of an answer: frozen, no other keys, finite numbers."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class CaseBlock(Block):
    """Which case was answered."""

    title: str
    sha256: str


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


class Placement(Block):
    """Displacement over the pattern field at one depth of the resist, and its linear fit."""

    raw_max_nm: float
    shift_nm: tuple[float, float]
    rotation_urad: float
    magnification_ppm: float
    scale_x_ppm: float
    scale_y_ppm: float
    skew_urad: float
    residual_3sigma_nm: float
    residual_max_nm: float
    blur_max_nm: float | None
    up_down_split_nm: float | None


class UniformOffset(Block):
    """Pure alpha dT of a body at the chamber's or water's temperature against its measurement."""

    mask_ppm: float
    sample_ppm: float


class PlacementBlock(Block):
    """Printed placement (None with a reason while it needs the scan cycle), and what is known.

    sample: displacement of the sample alone at the scan-mean state, by depth of the resist
    """

    top: Placement | None
    middle: Placement | None
    base: Placement | None
    reason: str | None
    sample: dict[str, Placement] | None
    uniform_offset: UniformOffset
    geometric_ppm: float
    sidewall_tilt_max_mrad: float | None
    gap_change_um: float | None


class Stress(Block):
    """Film stress of the membrane; None where the mask's displacement is not solved."""

    membrane_initial_MPa: float
    membrane_lowest_MPa: float | None
    membrane_highest_MPa: float | None


class Checks(Block):
    """What the answer proved about itself."""

    heat_balance: float
    power_balance: float
    residual: float
    expansion_residual: float | None
    membrane_flatness: float | None
    gap_left_um: float | None


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
    """The word, the body or quantity that limits, why, and what to change."""

    word: Word
    limited_by: str | None
    reasons: tuple[str, ...]
    advice: tuple[str, ...]


class AssumedLine(Block):
    """A value the case did not give, with its range and source; numbers in the named unit."""

    key: str
    value: float | str
    low: float | str
    high: float | str
    unit: str
    source: str


class SensorReading(Block):
    """What a sensor named in the case should read once settled (of few passes: over all of them).

    cold_C: before the beam comes; low_C .. high_C: alarm outside: mean and swing, with every
    input's range, mesh, sensor and the decay of the ring; of a short exposure the high one alone;
    settled_s: from the start; half_s: until half of its rise is gone after the end;
    joint_K, joint_half_s: what the range of the sample's joint does to reading and half time
    """

    part: str
    x_mm: float
    y_mm: float
    cold_C: float
    mean_C: float
    peak_C: float
    low_C: float | None
    high_C: float
    settled_s: float
    half_s: float
    joint_K: float | None
    joint_half_s: tuple[float, float] | None
    tells: str


class CycleBlock(Block):
    """The limit cycle as it was solved; error: solves and what the series leaves out, together.

    Up to ten times that within four sigma of the turns.
    """

    period_s: float
    harmonics: int
    error_K: float
    most_iterations: int
    march_K: float | None


class CourseBlock(Block):
    """The exposure in time, at the hottest place of the resist and of the mask.

    worst: the hottest pass of the exposure, with the ring current as it decays; share: its rise
    over that of the limit cycle at the starting current; dummy_passes: given beside the print,
    until settled; cool_from_C, cool_half_s, cool_s: when the shutter closes, and after it until
    half and until all but 1 K of the resist's rise is gone
    """

    resist_worst_C: float
    resist_worst_s: float
    resist_worst_share: float
    mask_worst_C: float
    mask_worst_s: float
    mask_worst_share: float
    current_at_end_mA: float
    dummy_passes: int | None
    cool_from_C: float
    cool_half_s: float
    cool_s: float
    decay_error_K: float


class ResistInTime(Block):
    """The hottest place of the resist within a cycle; above_limit: share of time, or no limit."""

    when_s: float
    above_limit: float | None


class SpeedBlock(Block):
    """Peaks against scan speed: full solves at `solved`, between them by the swing's closed form.

    enough_mm_per_s: above it faster brings less than 1 K to resist and mask, None beyond the table
    most_mm_per_s: what stroke and overscan allow
    """

    speed_mm_per_s: tuple[float, ...]
    resist_peak_C: tuple[float, ...]
    mask_peak_C: tuple[float, ...]
    solved_mm_per_s: tuple[float, ...]
    enough_mm_per_s: float | None
    most_mm_per_s: float
    text: str


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

    def to_json(self) -> str:
        """The text of answer.json."""
        return self.model_dump_json(by_alias=True, indent=1) + "\n"
