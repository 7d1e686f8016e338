"""The exposure in time, for the answer: its worst moment, cool-down, the cycle at the resist."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.course import Course
from thermo.answer.outcome import Outcome
from thermo.answer.schema import Regime
from thermo.answer.sensors import sensor_block
from thermo.answer.speed import speed_block
from thermo.answer.spread import Spread
from thermo.answer.state import State
from thermo.answer.temperature import ZERO_C, hottest
from thermo.answer.time_schema import CourseBlock, CycleBlock, ResistInTime

Array = NDArray[np.float64]
PASSES = 200  # pairs of passes at most that are looked at, closer together at the start
TIMES = 4096  # of a cycle
COOL = 1.0  # K above the state without beam that counts as cold


def in_time(
    course: Course, outcome: Outcome, runs: CoarseRuns, spread: Spread, march: float | None
) -> dict[str, Any]:
    """The blocks of the answer that tell the exposure in time, by their keys.

    march : largest difference of the limit cycle to marching, K
    """
    state, settle = outcome.state, course.settling()
    limit = next((j.limit + ZERO_C for j in outcome.judged if j.name == "resist"), None)
    return {
        "settle_s": settle,
        "dose_share_before_settling": _dose_share(course, settle, outcome.dose.time),
        "resist_in_time": resist_in_time(state, course, runs.regime, limit),
        "cycle": cycle_block(state, march),
        "course": course_block(course, outcome, settle, runs.short),
        "speed": speed_block(outcome, runs) if runs.regime == "limit_cycle" else None,
        "sensors": sensor_block(outcome, runs, spread),
    }


def _dose_share(course: Course, settle: float, duration: float) -> float:
    """Share of the light that falls before temperatures have settled; the ring current decays."""
    tau = course.warm_up.lifetime
    if np.isinf(tau):
        return min(1.0, settle / duration)
    return min(1.0, math.expm1(-settle / tau) / math.expm1(-duration / tau))


def course_block(course: Course, outcome: Outcome, settle: float, short: bool) -> CourseBlock:
    """Worst moment with the decaying current, dummy passes, and cool-down."""
    dose, scene = outcome.dose, outcome.scene
    resist, mask = course.watched()
    worst = []
    for name, at in ((scene.stack.resist.name, resist), ("membrane", mask)):
        when, share = worst_pass(course, at, dose.passes, dose.time)
        peak, dark = float(outcome.state.peak[hottest(outcome.state, name)]), float(course.dark[at])
        kept = 1.0 if short else min(share, 1.0)  # the peak of a short one is its worst
        worst.append((dark + kept * (peak - dark) - ZERO_C, when, share))
    dummy = None
    if scene.motion is not None:
        dummy = math.ceil(settle / scene.motion.pass_time)
    fade = float(course.warm_up.fade(np.array(dose.time)))
    return CourseBlock(
        resist_worst_C=worst[0][0],
        resist_worst_s=worst[0][1],
        resist_worst_share=worst[0][2],
        mask_worst_C=worst[1][0],
        mask_worst_s=worst[1][1],
        mask_worst_share=worst[1][2],
        current_at_end_mA=1e3 * fade * scene.case.ring.current.value,
        dummy_passes=dummy,
        cool_from_C=float(course.dark[resist]) + course.left(*resist) - ZERO_C,
        cool_half_s=course.half_time(*resist),
        cool_s=course.cooled_to(*resist, lambda _: COOL),
        from_cold=short,
        decay_error_K=course.warm_up.decay.error,
    )


def worst_pass(
    course: Course, at: tuple[int, int], passes: int | None, duration: float
) -> tuple[float, float]:
    """When a node is hottest in the exposure, s, and its rise then over the limit cycle's.

    Passes are looked at in pairs, ever farther apart in a long exposure.
    """
    warm = course.warm_up
    if passes is None:
        times = np.concatenate([[0.0], np.geomspace(min(1.0, duration), duration, PASSES)])
        rise, highest = warm.at(times, *at), float(warm.cycle.mean[at])
    else:
        times, rise = pass_peaks(course, at, passes)
        period = np.arange(TIMES) * warm.cycle.period / TIMES
        highest = float(warm.cycle.at(period, np.array([at[0]]), at[1]).max())
    top = int(rise.argmax())
    return float(times[top]), float(rise[top]) / highest


def pass_peaks(course: Course, at: tuple[int, int], passes: int) -> tuple[Array, Array]:
    """Times (s) and highest rises (K) at a node in pairs of passes, up and down."""
    if passes == 1:
        rise, times = course.warm_up.pass_peaks(np.zeros(1, np.int64), *at)
        return times, rise
    last = passes // 2  # pairs; an odd last pass is looked at with the one before it
    first = 2 * (np.unique(np.geomspace(1, last, PASSES).astype(int)) - 1)
    first = np.unique(np.append(first, passes - 2))
    both = [course.warm_up.pass_peaks(first + k, *at) for k in (0, 1)]
    rise, times = (np.stack(part) for part in zip(*both, strict=True))
    higher, row = rise.argmax(0), np.arange(len(first))
    return times[higher, row], rise[higher, row]


def resist_in_time(
    state: State, course: Course, regime: Regime, limit: float | None
) -> ResistInTime | None:
    """When the hottest place of the resist is hottest, and the share of time above a limit (K).

    In a settled cycle, or of few passes in the exposure.
    """
    if state.scan is None:
        return None
    cycle = state.scan.cycle
    level, node = hottest(state, state.scene.stack.resist.name)
    if regime == "few_passes":
        times = np.linspace(0, course.dose.time, TIMES)
        T = course.dark[node, level] + course.warm_up.at(times, node, level)
    else:
        times = np.arange(TIMES) * cycle.period / TIMES
        T = state.system.coldest + cycle.at(times, np.array([node]), level)[:, 0]
    above = None if limit is None else float((limit < T).mean())
    return ResistInTime(when_s=float(times[T.argmax()]), above_limit=above)


def cycle_block(state: State, march: float | None) -> CycleBlock | None:
    """How the limit cycle was solved; march: its largest difference to marching, K."""
    if state.scan is None:
        return None
    cycle = state.scan.cycle
    return CycleBlock(
        period_s=cycle.period,
        harmonics=len(cycle.X),
        error_K=cycle.error,
        most_iterations=max(cycle.cycles),
        march_K=march,
    )
