"""Expansion of both bodies through the exposure, and where the pattern is printed by it.

    e_bar = <e>,   S = <(e - e_bar)(e - e_bar)'>,   sigma_n^2 = n' S n                     (1)

<> weighted by the dose rate at each place and depth: e_bar is where an edge is printed, sigma_n how
far it is blurred along n; the means over the passes up and over those down lie apart by the split.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.answer.bodies import Body
from thermo.answer.course import Course, is_short
from thermo.answer.heated import Heated, at_points, heated_mask, heated_sample
from thermo.answer.pattern_motion import (
    NOTHING,
    SAMPLE_FACES,
    Known,
    PatternMotion,
    pattern_motion,
)
from thermo.answer.placement import FEWER, POINTS, LinearFit, field_points, linear_fit, rows_of
from thermo.answer.printing import Moments, printing
from thermo.answer.scene import GapChange
from thermo.answer.state import State
from thermo.case import Case

Array = NDArray[np.float64]
REST, ROUGH_REST = 0.5e-9, 3e-9  # m, root mean square: what the series may leave out
PHASES = 128  # of the limit cycle at which the gap is looked at; twice of a short exposure


@dataclass(frozen=True)
class Printed:
    """Equation (1) at top, middle and base of the resist.

    mean : e_bar, (3, n, 2) m;  spread : S, (3, n, 2, 2) m2
    up, down : mean over the passes up and down, (3, n, 2) m, nan where there is none
    """

    mean: Array
    spread: Array
    up: Array
    down: Array

    @property
    def blur(self) -> Array:
        """Largest sigma_n over all directions, (3, n) m."""
        return np.asarray(np.sqrt(np.maximum(np.linalg.eigvalsh(self.spread)[..., -1], 0.0)))

    @property
    def split(self) -> Array:
        """Distance between what the passes up and down print, (3, n) m; 0 where one is missing."""
        return np.asarray(np.hypot(*np.moveaxis(np.nan_to_num(self.up - self.down), -1, 0)))


@dataclass(frozen=True)
class Moved:
    """One body and its displacement at the mean over the exposure, m, (levels, nodes, 3)."""

    body: Body
    u: Array


@dataclass(frozen=True)
class Expansion:
    """Displacement of both bodies and what it prints.

    motion : of the pattern through the exposure, at points over the field
    sample_at : displacement of resist top, middle and base at the mean, (3, n, 3) m
    gap_change : sample minus mask along the beam, wider is positive, m: least and mean, (2, n)
    """

    motion: PatternMotion
    printed: Printed
    mask: Moved
    sample: Moved
    sample_at: Array
    gap_change: Array

    @property
    def points(self) -> Array:
        """Where the pattern is looked at, (2, n) m."""
        return self.motion.points

    @property
    def fits(self) -> list[LinearFit]:
        """Linear fit of the printed error at top, middle and base."""
        return [linear_fit(self.points, e) for e in self.printed.mean]


def expand_bodies(
    state: State,
    course: Course,
    mask: Body,
    sample: Body,
    rough: bool = False,
    known: Known = NOTHING,
) -> Expansion:
    """Expansion of both bodies of a state.

    course : its warm-up, or that of the same case on another mesh
    rough : with the first harmonics alone, for differences between cases
    known : of the pattern's motion, from a case on the same plans
    """
    coarse = state.meshed.is_coarse
    points = field_points(state.scene.stack.pattern.field, FEWER if coarse else POINTS)
    rest = np.inf if rough else ROUGH_REST if coarse else REST
    motion = pattern_motion(state, course, (mask, sample), points, rest, known)
    gap = _gap_over(motion, course)
    of_sample = _at_mean(heated_sample(sample, state, state.meshed), state)
    weights = sample.at_points(state.meshed, points)
    return Expansion(
        motion,
        printed_pattern(motion, course),
        Moved(mask, _at_mean(heated_mask(mask, state, state.meshed), state)),
        Moved(sample, of_sample),
        at_points(weights, of_sample[None], SAMPLE_FACES)[0],
        np.stack([gap.min(0), gap.mean(0)]),
    )


def roughened(expansion: Expansion, course: Course) -> Expansion:
    """An expansion as it is with the first harmonics alone, to compare rough ones with."""
    motion = expansion.motion.shortened()
    gap = _gap_over(motion, course)
    printed, change = printed_pattern(motion, course), np.stack([gap.min(0), gap.mean(0)])
    return replace(expansion, motion=motion, printed=printed, gap_change=change)


def _gap_over(motion: PatternMotion, course: Course) -> Array:
    """Change of the gap (k, n) m over a settled cycle, or over an exposure worked out from cold."""
    if not is_short(course):
        return motion.gap_settled(np.arange(PHASES) / PHASES)
    steps = 2 * PHASES
    return motion.gap_at(course, (np.arange(steps) + 0.5) / steps * course.dose.time)


def write_scale(expansion: Expansion, case: Case) -> float:
    """Scale against the design, beyond 1, at which a mask prints true in the middle of the resist.

    The beam's divergence, which is not in the printed error, is left out of it too.
    """
    given = 0.0 if case.mask.scale is None else case.mask.scale.value
    return given - expansion.fits[1].magnification


def _at_mean(heated: Heated, state: State) -> Array:
    """Displacement (levels, nodes, 3) m at the mean over the exposure."""
    return np.asarray(heated.moved(state.mean.T[None], measured=True)[0][0])


def gap_change(state: State, mask: Body, sample: Body) -> GapChange:
    """How the bow of both bodies changes the gap at the mean of a state."""
    plan, meshed = state.meshed.bodies, state.meshed
    moved = {}
    for heated, level in (
        (heated_mask(mask, state, meshed), 2),
        (heated_sample(sample, state, meshed), 0),
    ):
        z = np.full(plan.points.shape[1], np.nan)
        z[heated.body.nodes] = _at_mean(heated, state)[level, :, 2]
        moved[heated.body.name] = z
    return GapChange(plan, np.nan_to_num(moved["sample"] - moved["mask"]))


def printed_pattern(motion: PatternMotion, course: Course) -> Printed:
    """Equation (1) over the exposure of a course."""
    count = motion.points.shape[1]
    mean, up, down = (np.zeros((3, count, 2)) for _ in range(3))
    spread = np.zeros((3, count, 2, 2))
    when = printing(course)
    for y, own in rows_of(motion.points):
        for depth, moments in enumerate(when.at(y)):
            e = motion.at(course, moments.time, moments.phase, own, depth)
            mean[depth, own] = _mean(moments.share, e)
            off = e - mean[depth, own]
            for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
                spread[depth, own, i, j] = _mean(moments.share, off[..., i] * off[..., j])
            up[depth, own], down[depth, own] = _ways(moments, e)
    return Printed(mean, spread, up, down)


def _mean(share: Array, e: Array) -> Array:
    return np.asarray(np.tensordot(share, e, 2))


def _ways(moments: Moments, e: Array) -> tuple[Array, Array]:
    """Means over the passes up and over those down, nan where there is none."""
    found = []
    for way in (moments.up, ~moments.up):
        share = moments.share * way
        total = share.sum()
        found.append(_mean(share / total, e) if total > 0 else np.full(e.shape[2:], np.nan))
    return found[0], found[1]
