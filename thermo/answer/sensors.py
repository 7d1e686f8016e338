"""What the sensors of a case should read, when to raise the alarm, and what each can tell."""

from collections.abc import Mapping
from math import exp, hypot

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.course import Course
from thermo.answer.outcome import Outcome
from thermo.answer.spread import Spread
from thermo.answer.temperature import ZERO_C, Reading, readings
from thermo.answer.time_schema import SensorReading
from thermo.case import Case, ranges, with_value

JOINT = "sample.joint.resistance"
SEEN = 1.0  # K: what a thermocouple tells for sure (common practice)
SENSOR = 1.0  # K: how far a thermocouple may be off (common practice)
SLOWER = 1.2  # ratio of half times that a log tells for sure (common practice)


def sensor_block(outcome: Outcome, runs: CoarseRuns, spread: Spread) -> dict[str, SensorReading]:
    """Expected reading of each sensor with its alarm band, and what it can tell of the joint."""
    case = outcome.scene.case
    if not case.sensors:
        return {}
    halves = _half_times(case, runs)
    resist = _moved(spread, "resist")
    found = {}
    for name, read in readings(outcome.state).items():
        sensor, near = case.sensors[name], readings(runs.typical.state)[name]
        cold = float(runs.usual.dark[near.near]) - ZERO_C
        low, high = _alarm(name, read, near, spread)
        fade = outcome.dose.time / runs.usual.warm_up.lifetime
        low = cold + exp(-fade) * (low - cold) - SENSOR
        joint = _moved(spread, f"sensor {name}")
        both = (halves["low"][name], halves["high"][name]) if "low" in halves else None
        body = outcome.scene.stack.layer(sensor.part).body
        rise = read.peak - cold
        found[name] = SensorReading(
            part=sensor.part,
            x_mm=1e3 * sensor.x.value,
            y_mm=1e3 * sensor.y.value,
            cold_C=cold,
            mean_C=read.mean,
            peak_C=read.peak,
            low_C=None if runs.short else low,
            high_C=high + SENSOR,
            settled_s=runs.usual.warm_up.settling(*near.near),
            half_s=halves["typical"][name],
            joint_K=joint,
            joint_half_s=both,
            tells=_tells(body, rise, joint, resist, both),
        )
    return found


def _alarm(name: str, read: Reading, near: Reading, spread: Spread) -> tuple[float, float]:
    """Lowest and highest expected reading, degC: swing, every input's range, mesh."""
    lower, upper = (spread.bands.get(f"sensor {name} {word}") for word in ("low", "peak"))
    down = hypot(0.0 if lower is None else lower.down, read.low - near.low)
    up = hypot(0.0 if upper is None else upper.up, read.peak - near.peak)
    return read.low - down, read.peak + up


def _moved(spread: Spread, name: str) -> float | None:
    """How far a value moves over the whole range of the joint, None where that has none."""
    ends = spread.by_input.get(JOINT)
    if ends is None or not all(name in end for end in ends):
        return None
    return abs(ends[1][name] - ends[0][name])


def _half_times(case: Case, runs: CoarseRuns) -> Mapping[str, dict[str, float]]:
    """Half times of the sensors after the end, s: typical, and for both ends of the joint."""
    found = {"typical": _halves(runs.usual, readings(runs.typical.state))}
    joint = [one for one in ranges(case) if one.key == JOINT]
    for one in joint:
        for word, end in (("low", one.low), ("high", one.high)):
            course = runs.course(with_value(case, JOINT, end))
            found[word] = _halves(course, readings(course.state))
    return found


def _halves(course: Course, read: Mapping[str, Reading]) -> dict[str, float]:
    return {name: course.half_time(*one.near) for name, one in read.items()}


def _tells(
    body: str,
    rise: float,
    joint: float | None,
    resist: float | None,
    halves: tuple[float, float] | None,
) -> str:
    """What the sensor says of the sample's joint."""
    if joint is None or halves is None:
        return "the sample's joint has no range in the case: this sensor has nothing to decide"
    low, high = halves
    more = "" if resist is None else f" while the resist moves by {resist:.2g} K"
    says = f"over the joint's range its reading moves by {joint:.2g} K{more}"
    if joint >= SEEN:
        return f"can tell the joint: {says}"
    if rise >= 2 * SEEN and max(halves) >= SLOWER * max(min(halves), 1e-9):
        return (
            f"the reading cannot tell the joint ({says}), but the cool-down can: after the "
            f"shutter has closed its rise halves in {low:.3g} to {high:.3g} s"
        )
    if resist is not None and resist < 2 * SEEN:
        return f"cannot tell the joint, which hardly matters here: {says}"
    way = "" if body == "sample" else "; one at the edge of the sample may tell it"
    return f"cannot tell the joint: {says}{way}"
