"""Does a faster scan help: peaks against speed on the present case.

The mean rise goes as 1/(L + v^2/a).  The swing is that of the hottest column by itself (closed
form), scaled to the full solves at the present speed and at one other; in between the scale is
interpolated in log v, beyond it is that of the nearer.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.column import column_cycle, hottest_cell
from thermo.answer.outcome import Outcome
from thermo.answer.spread import try_setting
from thermo.answer.state import State
from thermo.answer.temperature import ZERO_C, hottest
from thermo.answer.time_schema import SpeedBlock
from thermo.beam import Motion

Array = NDArray[np.float64]
KEY = "scan.speed"
SPAN, POINTS = 4.0, 9  # how far up and down the curve goes, and its points
GAIN = 1.0  # K: what is worth a faster scan
FASTER = 1.2  # the least ratio of speeds at which the second full solve is made upwards
SLOWER = 0.5


def speed_block(outcome: Outcome, runs: CoarseRuns) -> SpeedBlock | None:
    """Peaks against speed; None where the scan is a log, or nothing scans."""
    scene = outcome.scene
    motion, case = scene.motion, scene.case
    if not isinstance(motion, Motion):
        return None
    most = fastest(outcome)
    v = motion.speed
    top = max(most, v)
    other = min(SPAN * v, top) if top >= FASTER * v else SLOWER * v
    changed = try_setting(case, KEY, other)
    if changed is None:
        return None
    second = runs.changed(changed, KEY).state
    speeds = np.unique([v, other, *np.geomspace(v / SPAN, max(min(SPAN * v, top), v), POINTS)])
    typical = runs.typical.state
    peaks = []
    for name in (scene.stack.resist.name, "membrane"):
        level, node = hottest(typical, name)
        cold = float(runs.usual.dark[node, level])
        curve = _curve(typical, second, (level, node), motion, other, speeds, cold)
        shift = float(outcome.state.peak[hottest(outcome.state, name)] - typical.peak[level, node])
        peaks.append(curve + shift - ZERO_C)
    gain = np.max([p - p[-1] for p in peaks], axis=0)
    enough = speeds[gain < GAIN]
    first = float(enough[0]) if len(enough) > 1 else None
    return SpeedBlock(
        speed_mm_per_s=tuple(1e3 * speeds),
        resist_peak_C=tuple(peaks[0]),
        mask_peak_C=tuple(peaks[1]),
        solved_mm_per_s=(1e3 * v, 1e3 * other),
        enough_mm_per_s=None if first is None else 1e3 * first,
        most_mm_per_s=1e3 * most,
        text=_words(speeds, peaks, v, first, most),
    )


def fastest(outcome: Outcome) -> float:
    """Speed at which the stroke still has its overscan, m/s; 0 where it has none to spare."""
    motion, needed = outcome.scene.motion, outcome.dose.stroke_needed
    if not isinstance(motion, Motion) or needed is None:
        return 0.0
    spare = motion.stroke - needed + 2 * motion.turn
    return 0.98 * (spare * motion.acceleration) ** 0.5 if spare > 0 else 0.0


def _curve(
    first: State,
    second: State,
    at: tuple[int, int],
    motion: Motion,
    other: float,
    speeds: Array,
    cold: float,
) -> Array:
    """Peak at one node for each speed, K; cold: without the beam."""
    level, node = at
    plan = first.meshed.grid.plan
    below = level if first.meshed.grid.active[level : level + 1].any() else level - 1
    cell = hottest_cell(first, min(below, len(first.meshed.grid.heights) - 1), node)
    y = float(plan.points[1, node])
    motions = [replace(motion, speed=float(v)) for v in speeds]
    swing = np.array([column_cycle(first, m, cell, y).swing[level, 0] for m in motions])
    length = np.array([m.effective_stroke for m in motions])
    mean = first.mean[level, node]
    full = [float(s.peak[level, node] - s.mean[level, node]) for s in (first, second)]
    ends = np.array([motion.speed, other])
    scale = np.array(full) / np.interp(ends, speeds, swing)
    order = np.argsort(ends)
    share = np.interp(np.log(speeds), np.log(ends[order]), scale[order])
    return np.asarray(cold + (mean - cold) * motion.effective_stroke / length + share * swing)


def _words(speeds: Array, peaks: list[Array], v: float, enough: float | None, most: float) -> str:
    if most < v:
        return f"the stroke is short of its overscan already at {1e3 * v:.3g} mm/s"
    resist, mask = (float(np.interp(most, speeds, p)) for p in peaks)
    top = (
        f"at {1e3 * most:.3g} mm/s, the most that stroke and overscan allow, resist "
        f"{resist:.1f} and mask {mask:.1f} degC"
    )
    if enough is None:
        return f"faster still helps: {top}"
    if enough <= v:
        return f"faster brings less than 1 K from here on: {top}"
    return f"faster brings less than 1 K above {1e3 * enough:.3g} mm/s: {top}"
