"""Blocks of the answer that tell the exposure in time."""

from thermo.answer.block import Block


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

    from_cold: a short exposure, whose temperatures are those over all of it, not settled ones;
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
    from_cold: bool
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
