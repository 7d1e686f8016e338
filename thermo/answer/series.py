"""Temperatures in time at the places that matter: a cycle, the exposure, and cooling after it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.answer.course import Course
from thermo.answer.in_time import pass_peaks
from thermo.answer.outcome import Outcome
from thermo.answer.state import State
from thermo.answer.temperature import ZERO_C, hottest, readings

Array = NDArray[np.float64]
TIMES = 400  # of a cycle, and of cooling
PER_PASS = 100  # times of a pass in an exposure of few
FEW = 40  # passes that are shown in full
COOLING = 6.0  # half times that are shown
BEYOND = 0.999  # of the field's half height and width: inside of it on any mesh


@dataclass(frozen=True)
class Series:
    """Times (s) and the temperature (degC) of each place."""

    time: Array
    places: dict[str, Array]


def watched_places(state: State) -> dict[str, tuple[int, int]]:
    """Nodes (node, level): hottest resist and mask, pattern corners on the resist, sensors."""
    scene, grid = state.scene, state.meshed.grid
    resist = scene.stack.resist.name
    found = {
        name: hottest(state, part)[::-1]
        for name, part in (("resist", resist), ("mask", "membrane"))
    }
    level, field = grid.slabs(scene.stack.index(resist)).start, scene.stack.pattern.field
    for word, x, y in (("left_lower", -1, -1), ("right_upper", 1, 1)):
        corner = np.array([x * field.width, y * field.height]) / 2 * BEYOND
        away = np.hypot(*(grid.plan.points - corner[:, None]))
        away[~state.system.used[:, level]] = np.inf
        found[f"corner_{word}"] = int(away.argmin()), level
    return found | {f"sensor_{name}": read.near for name, read in readings(state).items()}


def cycle_series(outcome: Outcome) -> Series | None:
    """One settled up-and-down cycle; None for a held beam."""
    state = outcome.state
    if state.scan is None:
        return None
    cycle, cold = state.scan.cycle, state.system.coldest - ZERO_C
    time = np.arange(TIMES + 1) * cycle.period / TIMES
    return Series(
        time,
        {
            name: cold + cycle.at(time, np.array([node]), level)[:, 0]
            for name, (node, level) in watched_places(state).items()
        },
    )


def exposure_series(course: Course) -> Series:
    """The exposure from cold: every moment of few passes, else the highest of each cycle."""
    state, warm = course.state, course.warm_up
    plan = course.dose
    places = watched_places(state)
    if plan.passes is not None and plan.passes > FEW:
        found = {n: pass_peaks(course, at, plan.passes) for n, at in places.items()}
        cycle = warm.cycle.period
        time = np.ceil(next(iter(found.values()))[0] / cycle) * cycle  # ends of the cycles
        return Series(time, {n: _shown(course, places[n], rise) for n, (_, rise) in found.items()})
    count = TIMES if plan.passes is None else PER_PASS * plan.passes
    time = np.linspace(0, plan.time, count + 1)
    return Series(
        time, {name: _shown(course, at, warm.at(time, *at)) for name, at in places.items()}
    )


def cooling_series(course: Course) -> Series:
    """After the shutter has closed at the end of the exposure; times from there."""
    places = watched_places(course.state)
    slow = max(course.half_time(*at) for at in places.values())
    time = np.linspace(0, COOLING * slow, TIMES + 1)
    return Series(
        time,
        {
            name: _shown(course, at, course.warm_up.cooled(time, course.dose.time, *at))
            for name, at in places.items()
        },
    )


def _shown(course: Course, at: tuple[int, int], rise: Array) -> Array:
    return np.asarray(float(course.dark[at]) - ZERO_C + rise)
