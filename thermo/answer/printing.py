"""When each height of the pattern is printed: moments of the whole exposure with their dose.

A mean over what is printed at the height y is a sum over moments,

    <f> = int w f dt/int w dt = sum_k share_k f(t_k),   w = a(t) p(y - y_b(t))            (1)

p profile of the stripe at that depth of the resist, y_b its place, a = exp(-t/tau_b) the share of
the ring current.  The pulse of one pass is smooth, so its Gauss points carry (1) to round-off; from
cycle to cycle only a and the warm-up change, smoothly in the logarithm of time.  A held beam prints
all the time and everywhere.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PPoly

from thermo.answer.course import Course
from thermo.answer.exposure import lit_stripes
from thermo.beam import Motion, Scan
from thermo.beam.quadrature import gauss_legendre
from thermo.beam.sweep import stripe_density

Array = NDArray[np.float64]
FIRST, LATER = 16, 24  # cycles that are taken one by one, and Gauss points for all that follow
LIT = 1e-7  # of the largest dose rate at a place: what is less is left out
STEP = 0.25  # standard deviations of the stripe from one moment to the next
HELD = 64  # moments of a held exposure
START = 1e-5  # share of a held exposure before which little has warmed up


@dataclass(frozen=True)
class Moments:
    """Moments at which a height prints at one depth: times s and shares (1), (cycles, k).

    phase : time within the cycle over its period, (k,);  up : the stripe is on its way up, (k,)
    """

    time: Array
    share: Array
    phase: Array
    up: NDArray[np.bool_]


@dataclass(frozen=True)
class Pulse:
    """One cycle as the pattern sees it: phases, places m and shares of time, way up or down.

    place, share : (cycles of a log, k);  profile : dose rate by height above the stripe's middle at
        top, middle and base of the resist
    """

    phase: Array
    place: Array
    share: Array
    up: NDArray[np.bool_]
    profile: PPoly

    def light(self, y: float) -> Array:
        """Dose rates at a height y (m), times the share of time, (3, k)."""
        return np.asarray(np.einsum("ck,ckd->dk", self.share, self.profile(y - self.place)))


@dataclass(frozen=True)
class Printing:
    """An exposure's cycles: number of each that is looked at and how many it stands for.

    half : number of a last cycle of which there is only the way out, None where there is none
    """

    course: Course
    cycle: Array
    count: Array
    half: int | None
    pulse: Pulse | None

    def at(self, y: float) -> list[Moments]:
        """Moments at which a height y (m) prints at top, middle and base of the resist."""
        if self.pulse is None:
            return [self._moments(np.ones(1), np.zeros(1), np.ones(1, bool))] * 3
        found = []
        for light in self.pulse.light(y):
            lit = light > LIT * light.max()
            found.append(self._moments(light[lit], self.pulse.phase[lit], self.pulse.up[lit]))
        return found

    def _moments(self, light: Array, phase: Array, up: NDArray[np.bool_]) -> Moments:
        warm_up = self.course.warm_up
        time = (self.cycle[:, None] + phase) * warm_up.cycle.period
        count = np.repeat(self.count[:, None], len(phase), axis=1)
        if self.half is not None:
            time = np.vstack([time, (self.half + phase) * warm_up.cycle.period])
            count = np.vstack([count, phase < 0.5])
        share = count * light * warm_up.fade(time)
        return Moments(time, share / share.sum(), phase, up)


def printing(course: Course) -> Printing:
    """Moments of the exposure of a course."""
    motion, plan = course.state.scene.motion, course.dose
    period = course.warm_up.cycle.period
    if motion is None or plan.passes is None:
        t, weight = _in_logarithm(START * plan.time, plan.time, HELD)
        return Printing(course, t / period, weight, None, None)
    log = not isinstance(motion, Motion)  # half its period need be no turn
    passes = plan.passes + (plan.passes % 2 if log else 0)
    whole = passes // 2
    cycle, count = np.arange(min(whole, FIRST), dtype=float), np.ones(min(whole, FIRST))
    if whole > FIRST:
        t, weight = _in_logarithm(FIRST - 0.5, whole - 0.5, LATER)  # sum as an integral
        cycle, count = np.append(cycle, t), np.append(count, weight)
    half = whole if passes % 2 else None
    return Printing(course, cycle, count, half, _pulse(course, motion))


def _in_logarithm(start: float, stop: float, points: int) -> tuple[Array, Array]:
    """Gauss points and weights of int dt from start to stop, spaced in log t."""
    x, w = gauss_legendre(points)
    half = np.log(stop / start) / 2
    t = start * np.exp(half * (x + 1))
    return t, w * half * t


def _pulse(course: Course, motion: Scan) -> Pulse:
    scene = course.state.scene
    height, light = lit_stripes(scene)
    given = motion.moments(STEP * scene.sigma)
    phase, place, share = given.phase, given.place, given.share
    if given.mirrored:  # only the way out is given
        phase = np.concatenate([phase, 1 - phase])
        place, share = (np.concatenate([f, f], axis=1) for f in (place, share / 2))
    way = np.gradient((motion.weights @ place)[np.argsort(phase)], np.sort(phase))
    up = np.empty(len(phase), bool)
    up[np.argsort(phase)] = way > 0
    return Pulse(phase, place, share, up, stripe_density(height, light))
