"""How the printed pattern moves through the exposure: displacement by harmonics and decays.

Where a mask point lands on the resist,

    e = u_mask - u_sample + (x, 0) gap/distance,   gap = u_z,sample - u_z,mask            (1)

(the sample's at the depth looked at) is linear in the temperatures, and these are the sum of the
warm-up (`heat.warm_up`),

    e(t) = e_dark + a (e_mean - e_dark + 2 Re sum_n e_n exp(i n w t)) + sum_k e_k m_k(t)  (2)

u is measured from the temperature at which each body is measured; e_dark without the beam, e_mean
at the mean of the limit cycle, e_n of its harmonics, e_k of the free decays.  Each term is one load
of the same factorised bodies, so no moment of the exposure needs a solve of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.answer.bodies import Body, Name
from thermo.answer.course import Course
from thermo.answer.heated import Heated, at_points, heated_mask, heated_sample
from thermo.answer.scene import Meshed
from thermo.answer.state import State

Array = NDArray[np.float64]
MASK_FACE, SAMPLE_FACES = [2], [0, 1, 2]  # absorber's side of the membrane; depths of the resist
BLOCK, LAST = 16, 4  # harmonics that are solved for together, and those whose motion is looked at
TINY = 1e-30  # K2: what is below is no ripple


@dataclass(frozen=True)
class Terms:
    """Terms of (2) at the points: e (terms, 3 depths, n, 2) m and gap change (terms, n) m.

    mask : displacement of the membrane's face, (terms, 1, n, 3) m
    sample : displacement of resist top, middle and base, (terms, 3, n, 3) m
    residual : largest of the elastic solves
    """

    e: Array
    gap: Array
    mask: Array
    sample: Array
    residual: float

    def part(self, own: slice) -> "Terms":
        """Some of the terms."""
        return Terms(self.e[own], self.gap[own], self.mask[own], self.sample[own], self.residual)


def joined(parts: Sequence[Terms]) -> Terms:
    """Terms one after the other."""
    return Terms(
        np.concatenate([t.e for t in parts]),
        np.concatenate([t.gap for t in parts]),
        np.concatenate([t.mask for t in parts]),
        np.concatenate([t.sample for t in parts]),
        max(t.residual for t in parts),
    )


@dataclass(frozen=True)
class PatternMotion:
    """Equation (2) at points (2, n) m of the pattern.

    real, imaginary : of the harmonics;  decays : of the free decays
    rest : m, what the last harmonics move, root mean square
    told : whether some harmonics were told from another case's and not solved for
    """

    points: Array
    dark: Terms
    mean: Terms
    real: Terms
    imaginary: Terms
    decays: Terms
    rest: float
    told: bool = False

    @property
    def residual(self) -> float:
        """Largest residual of the elastic solves."""
        terms = (self.dark, self.mean, self.real, self.imaginary, self.decays)
        return max(t.residual for t in terms)

    def shortened(self) -> "PatternMotion":
        """The same with no more harmonics than are solved for together."""
        first = slice(BLOCK)
        return replace(self, real=self.real.part(first), imaginary=self.imaginary.part(first))

    def at(self, course: Course, time: Array, phase: Array, own: slice, depth: int) -> Array:
        """Error (cycles, k, n, 2) m of the points `own` at times (cycles, k) s of phases (k,)."""
        warm_up = course.warm_up
        cos, sin = _turns(phase, len(self.real.e))
        dark, mean = self.dark.e[0, depth, own], self.mean.e[0, depth, own]
        ripple = np.tensordot(cos, self.real.e[:, depth, own], 1)
        ripple -= np.tensordot(sin, self.imaginary.e[:, depth, own], 1)
        missing = warm_up.missing(time.ravel()).reshape(*time.shape, -1)
        left = np.tensordot(missing, self.decays.e[:, depth, own], 1)
        fade = warm_up.fade(time)[..., None, None]
        return np.asarray(dark + fade * (mean - dark + 2 * ripple) + left)

    def gap_settled(self, phase: Array) -> Array:
        """Change of the gap (k, n) m in the limit cycle at these phases; wider is positive."""
        return np.asarray(self.mean.gap + 2 * self._gap_ripple(phase))

    def gap_at(self, course: Course, time: Array) -> Array:
        """The same at times (k,) s of the exposure."""
        warm_up = course.warm_up
        dark, fade = self.dark.gap[0], warm_up.fade(time)[:, None]
        settled = self.gap_settled(time / warm_up.cycle.period)
        return np.asarray(dark + fade * (settled - dark) + warm_up.missing(time) @ self.decays.gap)

    def _gap_ripple(self, phase: Array) -> Array:
        cos, sin = _turns(phase, len(self.real.gap))
        return np.asarray(cos @ self.real.gap - sin @ self.imaginary.gap)


@dataclass(frozen=True)
class Known:
    """What is known of a pattern's motion from a case that is nearly the same.

    motion : of it;  unchanged : the body that is the same, and at the same temperatures
    warm_up : whether the free decays are those of that case, and move the pattern as there
    ripple : harmonics of its temperatures, K, where both bodies answer to them alike here; what is
        a multiple of one of them moves the pattern by that multiple
    hair : K, root mean square over time: what may be left of the harmonics beside such multiples
    """

    motion: PatternMotion | None = None
    unchanged: Name | None = None
    warm_up: bool = False
    ripple: NDArray[np.complexfloating] | None = None
    hair: float = 0.0

    def shares(
        self, some: NDArray[np.complexfloating], start: int
    ) -> NDArray[np.complexfloating] | None:
        """Multiples of the known harmonics that the harmonics `some` are, from number `start`.

        None where one is not known, or too much is left beside such multiples.
        """
        end = start + len(some)
        if self.motion is None or self.ripple is None or len(self.motion.real.e) < end:
            return None
        known = np.nan_to_num(self.ripple[start:end]).reshape(len(some), -1)
        here = np.nan_to_num(some).reshape(len(some), -1)
        if known.shape != here.shape:
            return None
        share = (known.conj() * here).sum(1) / np.maximum((np.abs(known) ** 2).sum(1), TINY)
        left = np.sqrt(2 * (np.abs(here - share[:, None] * known) ** 2).sum(0).max())
        return share if left <= self.hair else None


NOTHING = Known()


def _turns(phase: Array, count: int) -> tuple[Array, Array]:
    angle = 2 * np.pi * np.outer(phase, np.arange(1, count + 1))
    return np.cos(angle), np.sin(angle)


def pattern_motion(
    state: State,
    course: Course,
    bodies: tuple[Body, Body],
    points: Array,
    left_out: float,
    before: Known = NOTHING,
) -> PatternMotion:
    """Equation (2) for mask and sample of a state.

    course : its warm-up, which may have been found on another mesh
    left_out : m, root mean square: what the last harmonics may move where the series ends
    before : what is known of it from a case that is nearly the same
    """
    here = _pair(state, state.meshed, bodies, points, before.unchanged)
    there = here
    if course.state is not state:
        there = _pair(state, course.state.meshed, bodies, points, before.unchanged)
    known = before.motion
    mean = here.terms(state.steady.T.T[None], True, known.mean if known else None)
    dark = there.terms(course.dark[None], True, known.dark if known else None)
    decays = known.decays if known else None
    if decays is None or not before.warm_up or before.unchanged:
        decays = there.terms(course.warm_up.decay.shapes, known=decays)
    else:
        decays = there.of(decays.mask, decays.sample, decays.residual)
    X = np.zeros((0, 1, 1), np.complex64) if state.scan is None else state.scan.cycle.X
    real, imaginary, rest, told = [mean.part(slice(0))], [mean.part(slice(0))], 0.0, False
    for start in range(0, len(X), BLOCK):
        some = X[start : start + BLOCK]
        own, same, share = slice(start, start + len(some)), None, before.shares(some, start)
        if known and (share is not None or before.unchanged):  # no more of them than then
            same = joined([known.real.part(own), known.imaginary.part(own)])
        if same is not None and share is not None:
            both, told = here.turned(same, share), True
        else:
            both = here.terms(np.concatenate([some.real, some.imag]), known=same)
        real.append(both.part(slice(len(some))))
        imaginary.append(both.part(slice(len(some), None)))
        last = np.stack([real[-1].e[-LAST:], imaginary[-1].e[-LAST:]])
        rest = float(np.sqrt(2 * (last**2).sum(axis=(0, 1, 4)).max()))
        done = known and before.unchanged and start + BLOCK >= len(known.real.e)
        if rest < left_out or done:
            break
    return PatternMotion(points, dark, mean, joined(real), joined(imaginary), decays, rest, told)


@dataclass(frozen=True)
class _Pair:
    """Mask and sample under the temperatures of one heat mesh.

    at : weights of their nodes at the points;  scale : at which the mask was written, beyond 1
    unchanged : the body whose terms are known
    """

    mask: Heated
    sample: Heated
    at: tuple[sparse.csr_array, sparse.csr_array]
    points: Array
    distance: float
    scale: float
    unchanged: Name | None

    def terms(
        self, fields: NDArray[np.floating], measured: bool = False, known: Terms | None = None
    ) -> Terms:
        """Terms of fields (k, nodes, levels), absolute temperatures or rises alone."""
        one = other = 0.0
        if known is not None and self.unchanged == "mask":
            mask = known.mask
        else:
            u, one = self.mask.moved(fields, measured)
            mask = at_points(self.at[0], u, MASK_FACE)
        if known is not None and self.unchanged == "sample":
            sample = known.sample
        else:
            u, other = self.sample.moved(fields, measured)
            sample = at_points(self.at[1], u, SAMPLE_FACES)
        return self.of(mask, sample, max(one, other), self.scale if measured else 0.0)

    def turned(self, both: Terms, share: NDArray[np.complexfloating]) -> Terms:
        """Real and imaginary parts, one after the other, of harmonics times complex shares."""
        re, im = (part[:, None, None, None] for part in (share.real, share.imag))

        def times(u: Array) -> Array:
            real, imaginary = u[: len(share)], u[len(share) :]
            return np.concatenate([re * real - im * imaginary, im * real + re * imaginary])

        return self.of(times(both.mask), times(both.sample), both.residual)

    def of(self, mask: Array, sample: Array, residual: float, scale: float = 0.0) -> Terms:
        """Equation (1) of displacements, of a mask written at a scale."""
        gap = sample[..., 2] - mask[..., 2]
        e = mask[..., :2] - sample[..., :2]
        e[..., 0] += self.points[0] * gap / self.distance
        e += scale * self.points.T
        return Terms(e, gap[:, 0], mask, sample, residual)


def _pair(
    state: State,
    meshed: Meshed,
    bodies: tuple[Body, Body],
    points: Array,
    unchanged: Name | None,
) -> _Pair:
    (mask, sample), case = bodies, state.scene.case
    return _Pair(
        heated_mask(mask, state, meshed),
        heated_sample(sample, state, meshed),
        (mask.at_points(state.meshed, points), sample.at_points(state.meshed, points)),
        points,
        case.beam.distance.value,
        0.0 if case.mask.scale is None else case.mask.scale.value,
        unchanged,
    )
