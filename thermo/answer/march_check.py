"""The limit cycle against marching through time on the same mesh: two methods, one answer."""

import numpy as np

from thermo.answer.course import Course
from thermo.heat import periodic
from thermo.solve import Solver

STEP = 0.2  # sigma that the stripe moves in a step
CLOSED = 0.005  # K: how open the marched cycle may be


def march_difference(course: Course) -> float | None:
    """Largest difference of highest and lowest temperatures at any node, K; None for a held beam.

    Steps of 0.2 sigma leave about 0.1 % of the swing to the marching itself.
    """
    state, scan, scene = course.state, course.state.scan, course.state.scene
    if scan is None or scene.motion is None:
        return None
    steps = int(np.ceil(scan.cycle.period * scene.motion.speed / (STEP * scene.sigma)))
    marched = periodic(
        state.system, scan.sweep.load_at, scan.cycle.period, steps, CLOSED, Solver(1e-8)
    )
    sinks = np.where(state.system.used, course.dark - state.system.coldest, 0.0)
    used = state.system.used
    return max(
        float(np.abs(a + sinks - b)[used].max())
        for a, b in (
            (marched.highest, scan.extremes.peak),
            (marched.lowest, scan.extremes.lowest),
        )
    )
