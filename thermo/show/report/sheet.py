"""Page one for the experiment: the settings, and what to log and watch."""

from thermo.answer import Answer
from thermo.case.flat import flat_case
from thermo.show.report.contents import Contents
from thermo.show.words import duration

SETTINGS = (  # keys of the case that are set on the day
    "ring.energy",
    "ring.current",
    "beam.filters",
    "scan.stroke",
    "scan.speed",
    "scan.acceleration",
    "scan.log",
    "chamber.gas",
    "chamber.pressure",
    "gap.width",
    "mask.frame.water",
    "sample.holder.water",
    "sample.held",
    "dose.bottom",
)


def settings_of(found: Contents) -> list[tuple[str, str]]:
    """What the case sets, by its keys, and what follows from it."""
    given = flat_case(found.case) | found.answer.case.settings
    rows = [
        (key, value)
        for wanted in SETTINGS
        for key, value in given.items()
        if key == wanted or key.startswith(f"{wanted}.")
    ]
    dose = found.answer.dose
    passes = "" if dose.passes is None else f", {dose.passes} passes"
    rows.append(("exposure", f"{duration(dose.time_s)}{passes}"))
    if dose.stroke_needed_mm is not None:
        rows.append(("stroke needed", f"{dose.stroke_needed_mm:.1f} mm"))
    return rows


def watch_of(answer: Answer) -> list[str]:
    """What to log and watch, in words."""
    course = answer.course
    lines = [
        f"{name} on {s.part}: cold {s.cold_C:.1f} degC, then {s.mean_C:.1f} degC; "
        + _alarm(s.low_C, s.high_C)
        for name, s in answer.sensors.items()
    ]
    if not lines:
        lines.append(
            "The case names no sensor: a thermometer at the sample's edge tells the joint."
        )
    if answer.settle_s is not None:
        dummy = "" if course.dummy_passes is None else f", {course.dummy_passes} passes"
        lines.append(f"Settles in {duration(answer.settle_s)}{dummy}: read sensors after that.")
    cold = f", and is within 1 K of cold after {duration(course.cool_s)}" if course.cool_s else ""
    lines += [
        f"Hottest moment: resist {course.resist_worst_C:.1f} degC after "
        f"{duration(course.resist_worst_s)}, mask {course.mask_worst_C:.1f} degC after "
        f"{duration(course.mask_worst_s)}.",
        f"Ring current at the end: {course.current_at_end_mA:.0f} mA.",
        "After the shutter has closed: the resist's rise halves in "
        f"{duration(course.cool_half_s)}{cold}.",
    ]
    return lines


def _alarm(low: float | None, high: float) -> str:
    over = f"stop and look above {high:.1f} degC"
    return over if low is None else f"{over} or below {low:.1f} degC"
