"""The exposure in time: warm-up, what holds (held beam, few passes, limit cycle), and cool-down."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.answer.exposure import DosePlan, dose_plan
from thermo.answer.schema import Regime
from thermo.answer.state import CLOSE, State, layer_means, solve_state
from thermo.answer.temperature import hottest
from thermo.beam import Motion
from thermo.heat import Cycle, WarmUp, decay, exposed, held, steady
from thermo.solve import Solver

Array = NDArray[np.float64]
WARM = 0.1  # of the exposure: where settling takes longer it is worked out from cold
SHORTEST = 0.1  # of the time in which the stripe moves by sigma: decays are right from there on
HELD = 1.0  # s: the same under a held beam


@dataclass(frozen=True)
class Course:
    """A state and how it comes about.

    warm_up : rises above `dark`, the temperatures without the beam, K, (nodes, levels)
    dose : how long it goes on
    """

    state: State
    warm_up: WarmUp
    dark: Array
    dose: DosePlan

    def settling(self) -> float:
        """Time until the hottest places of resist and membrane have settled to 2 %, s."""
        return max(self.warm_up.settling(*at) for at in self.watched())

    def left(self, node: int, level: int) -> float:
        """Rise of a node when the exposure ends, K."""
        return float(self.warm_up.cooled(np.zeros(1), self.dose.time, node, level)[0])

    def half_time(self, node: int, level: int) -> float:
        """Time after the end of the exposure until half of a node's rise is gone, s."""
        return self.cooled_to(node, level, lambda rise: rise / 2)

    def cooled_to(self, node: int, level: int, goal: Callable[[float], float]) -> float:
        """Time after the end of the exposure until the rise of a node falls to a goal (K), s."""
        slow = self.warm_up.decay.slowest
        t = np.concatenate([[0.0], np.geomspace(slow * 1e-5, slow * 20, 400)])
        rise = self.warm_up.cooled(t, self.dose.time, node, level)
        over = rise - goal(float(rise[0]))
        above = np.flatnonzero(over > 0)
        if not len(above):
            return 0.0
        i = min(int(above[-1]), len(t) - 2)
        return float(t[i] + (t[i + 1] - t[i]) * over[i] / (over[i] - over[i + 1]))

    def watched(self) -> list[tuple[int, int]]:
        """The hottest nodes (node, level) of resist and membrane."""
        names = (self.state.scene.stack.resist.name, "membrane")
        return [hottest(self.state, name)[::-1] for name in names]


def course_of(state: State, solver: Solver) -> Course:
    """Warm-up of a state; the ring current decays with the lifetime of the case."""
    system, scan, scene = state.system, state.scan, state.scene
    cold = _dark(state, solver)
    mean = np.where(system.used, state.steady.T.T - cold, 0.0)
    if scan is None or scene.motion is None:
        none = np.zeros((0, *mean.shape), np.complex64)
        cycle, shortest = Cycle(HELD, mean, none, 0.0, 0.0, ()), HELD
    else:
        cycle = replace(scan.cycle, mean=mean)
        shortest = SHORTEST * scene.sigma / scene.motion.speed
    dose = dose_plan(scene)
    starts = [mean + 2 * cycle.X.real.sum(0, dtype=float)]
    if (dose.passes or 0) % 2:  # the last pass ends half a period on
        starts.append(2 * mean - starts[0] + 4 * cycle.X[1::2].real.sum(0, dtype=float))
    close = CLOSE if scan is None else scan.close
    found = decay(system, starts, shortest, close, solver)
    lifetime = scene.case.ring.lifetime
    fades = np.inf if lifetime is None else lifetime.value
    return Course(state, WarmUp(cycle, found, fades), cold, dose)


def followed(course: Course, state: State, solver: Solver) -> Course:
    """The course of a changed state on an equal mesh; what is missing at first decays as before."""
    dark, dose = _dark(state, solver), dose_plan(state.scene)
    cycle = course.warm_up.cycle
    if state.scan is not None:
        mean = np.where(state.system.used, state.steady.T.T - dark, 0.0)
        cycle = replace(state.scan.cycle, mean=mean)
    return Course(state, replace(course.warm_up, cycle=cycle), dark, dose)


def _dark(state: State, solver: Solver) -> Array:
    """Temperatures without the beam, K, (nodes, levels)."""
    dark = steady(state.system, np.zeros_like(state.power.heat), solver).T
    return np.where(state.system.used, dark.T, state.system.coldest)


def which_regime(course: Course) -> tuple[Regime, str]:
    """Held beam, few passes, or limit cycle: exposure time against settling time."""
    scene, settle, dose = course.state.scene, course.settling(), course.dose
    times = f"takes {_time(dose.time)}, temperatures settle in {_time(settle)}"
    if scene.motion is None:
        scans = scene.case.scan is not None
        still = "worked out from cold" if is_short(course) else "steady temperatures"
        return "still", f"the beam is held on one place; the dose {times}: {still}" + (
            "; its static placement is not the scan's" if scans else ""
        )
    count = "1 pass" if dose.passes == 1 else f"{dose.passes} passes"
    span = f"{count}, which {times.replace('takes', 'take' if dose.passes != 1 else 'takes')}"
    if is_short(course):
        return "few_passes", f"{span}: worked out from cold, pass by pass"
    return "limit_cycle", f"{span}: what repeats from pass to pass decides"


def is_short(course: Course) -> bool:
    """Whether warming up is more than a tenth of the exposure."""
    return course.settling() > WARM * course.dose.time


def _time(s: float) -> str:
    return f"{s:.3g} s" if s < 600 else f"{s / 60:.3g} min"


def settled_course(course: Course, solver: Solver) -> Course:
    """The course with the state that the case asks for: settled, or of its whole short exposure.

    Of a short one properties are taken at the layers' means over it, found with settled ones.
    """
    state = course.state
    if not is_short(course):
        return course
    grid, count = state.meshed.grid, len(state.scene.stack.layers)
    layers = layer_means(grid, over_exposure(course).state.mean, count, state.layer_T)
    close = state.scan.close if state.scan else CLOSE
    again = solve_state(state.scene, state.meshed, solver, state, layers, close)
    return over_exposure(course_of(again, solver))


def over_exposure(course: Course) -> Course:
    """The course with the state of its whole exposure from cold: mean, highest, while printing."""
    state, warm = course.state, course.warm_up
    plan = course.dose
    if state.scan is None or plan.passes is None:
        found = held(warm, plan.time)
    else:
        light, height_of = state.scan.sweep.light, state.scan.sweep.height_of
        log = not isinstance(state.scene.motion, Motion)  # half its period need be no turn
        passes = plan.passes + (plan.passes % 2 if log else 0)
        found = exposed(warm, passes, light, height_of, course.watched())
    cold = state.system.on_levels(course.dark)
    mean, peak, printing = (cold + state.system.on_levels(rise) for rise in vars(found).values())
    whole = replace(state, mean=mean, peak=np.maximum(peak, cold), lowest=cold, printing=printing)
    return replace(course, state=whole)
