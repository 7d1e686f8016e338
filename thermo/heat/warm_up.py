"""From cold to the limit cycle, through any number of passes, and back to cold.

    C dT/dt + K T = a(t) F(t),   a = exp(-t/tau_b),   T(0) = 0                          (1)
    T(t) = a(t) cycle(t) + sum_k phi_k m_k(t)                                          (2)
    m_k = s_k q (a - e_k)/(lambda_k - q) - s_k e_k,   e_k = exp(-lambda_k t)            (3)

T rise above the dark state, F heat that repeats with the scan, tau_b lifetime of the ring current,
q = 1/tau_b; phi_k, lambda_k shapes and rates of the free decay, s_k amplitudes of the cycle at
t = 0.  The limit cycle solves (1) but for its start; what is missing there decays.  (2) is exact
for a = 1; with a lifetime the ripple is taken to follow the current as the mean does, which is off
by T_p/tau_b of it.  After the shutter closes

    T(t) = sum_k phi_k (a s'_k + m_k) exp(-lambda_k t),   a and m_k at the end          (4)

s'_k amplitudes of the cycle where the last pass ends: s_k, or those half a period on.  Derived.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.heat.cycle import Cycle, dose_weighted
from thermo.heat.decay import Decay
from thermo.heat.peaks import Change, Course, Cuts, extremes, samples_of

Array = NDArray[np.float64]
Watch = Sequence[tuple[int, int]]
HALF = 512  # times of one pass that are looked at
MOMENTS = 64  # of a held exposure at which all nodes are looked at
LOOKED = 200  # passes at most in which the hottest is looked for
DARK = 1e-6  # share of the brightest place's dose from which on it prints
LEFT = 0.02  # of the rise: what is missing when it counts as settled
GRID = 400  # times between fast and slow at which settling is looked for


@dataclass(frozen=True)
class WarmUp:
    """Equation (2); rises above the dark state, K.

    cycle : limit cycle without what the films' sinks alone would give
    decay : of the cycle at t = 0, and half a period on where odd passes may end there
    lifetime : of the ring current, s; infinite where it is held
    """

    cycle: Cycle
    decay: Decay
    lifetime: float = np.inf

    def fade(self, t: Array) -> Array:
        """a(t), share of the ring current at the start."""
        return np.exp(-t / self.lifetime)

    def missing(self, t: Array) -> Array:
        """m_k(t), equation (3), (times, modes)."""
        rate, q = self.decay.rates, 1 / self.lifetime
        start = self.decay.amplitudes[0]
        t = np.asarray(t, float)[:, None]
        left = np.exp(-rate * t)
        apart = (rate - q) * t
        slope = np.where(np.abs(apart) > 1e-9, -np.expm1(-apart) / np.where(apart, apart, 1), 1.0)
        return np.asarray(start * (q * t * np.exp(-q * t) * slope - left))

    def at(self, times: Array, node: int, level: int) -> Array:
        """Rise at times (s) since the start at one node, (times,)."""
        own = self.cycle.at(times, np.array([node]), level)[:, 0]
        return np.asarray(
            self.fade(times) * own + self.missing(times) @ self.decay.shapes[:, node, level]
        )

    def cooled(self, t: Array, duration: float, node: int, level: int) -> Array:
        """Rise at t (s) after the end of an exposure of a duration (s), (times,), equation (4)."""
        passes = round(2 * duration / self.cycle.period)
        at_end = self.decay.amplitudes[passes % 2 if len(self.decay.amplitudes) > 1 else 0]
        end = at_end * self.fade(np.array(duration))
        end = end + self.missing(np.array([duration]))[0]
        left = np.exp(-np.outer(t, self.decay.rates))
        return np.asarray(left @ (end * self.decay.shapes[:, node, level]))

    def pass_peaks(self, passes: NDArray[np.int64], node: int, level: int) -> tuple[Array, Array]:
        """Highest rise in each of these passes (from 0) at one node, and when, s."""
        step = self.cycle.period / (2 * HALF)
        phase = np.asarray((np.arange(2 * HALF) + 0.5) * step, float)
        both = self.cycle.at(phase, np.array([node]), level).reshape(2, HALF)
        rise, when = np.empty(len(passes)), np.empty(len(passes))
        for i, number in enumerate(passes.tolist()):
            t = np.asarray((number * HALF + np.arange(HALF) + 0.5) * step, float)
            course = self.fade(t) * both[number % 2]
            course = course + self.missing(t) @ self.decay.shapes[:, node, level]
            top = int(course.argmax())
            rise[i], when[i] = course[top], t[top]
        return rise, when

    def settling(self, node: int, level: int) -> float:
        """Time until less than 2 % of the mean rise is missing at one node, s.

        What is missing of the cycle, that is; its ripple at the start is gone long before.
        """
        rise = float(self.cycle.mean[node, level])
        start = self.decay.amplitudes[0] * self.decay.shapes[:, node, level]
        slow = self.decay.slowest
        t = np.geomspace(slow * 1e-5, slow * 20, GRID)
        missing = np.exp(-np.outer(t, self.decay.rates)) @ start
        open_ = np.flatnonzero(np.abs(missing) > LEFT * abs(rise))
        if not len(open_) or rise == 0:
            return float(t[0])
        i = min(int(open_[-1]), GRID - 2)
        size = np.abs(missing[i : i + 2])
        share = np.log(size[0] / (LEFT * abs(rise))) / np.log(size[0] / size[1])
        return float(t[i] * (t[i + 1] / t[i]) ** share)


@dataclass(frozen=True)
class Passes:
    """A whole exposure from cold; fields (nodes, levels), rises above the dark state in K.

    mean : over its time;  peak : highest;  printing : weighted by the dose rate
    """

    mean: Array
    peak: Array
    printing: Array


def held(warm_up: WarmUp, duration: float) -> Passes:
    """Fields over a whole exposure (s) of a held beam, which prints all the time."""
    t = (np.arange(HALF) + 0.5) * duration / HALF
    fade, missing = warm_up.fade(t), warm_up.missing(t)
    rise, decay = warm_up.cycle.mean, warm_up.decay
    mean = fade.mean() * rise + decay.combined_shapes(missing.mean(0))
    weight = fade / fade.sum()
    printing = (weight @ fade) * rise + decay.combined_shapes(weight @ missing)
    ends = np.append(t[:: HALF // MOMENTS], duration)
    courses = zip(warm_up.fade(ends), warm_up.missing(ends), strict=True)
    peak = np.maximum.reduce([a * rise + decay.combined_shapes(m) for a, m in courses])
    return Passes(mean, peak, printing)


def exposed(
    warm_up: WarmUp, passes: int, light: NDArray[np.inexact], place: NDArray[np.int64], watch: Watch
) -> Passes:
    """Fields over a whole exposure from cold.

    light : harmonics of the dose rate, (places, harmonics + 1);  place : of each node, (nodes,)
    watch : nodes (node, level) whose hottest pass is looked at beside the last two
    """
    cycle = warm_up.cycle
    looked = np.unique(np.append(np.geomspace(1, passes, LOOKED).astype(int), passes)) - 1
    hottest = {int(looked[warm_up.pass_peaks(looked, *at)[0].argmax()]) for at in watch}
    peak = np.full(cycle.mean.shape, -np.inf)
    for pair in {_pair(number, passes) for number in (passes - 1, *hottest)}:
        found = extremes(cycle, *_in_passes(warm_up, pair))
        peak = np.maximum(peak, found.peak)
    peak = np.maximum(peak, _at_end(warm_up, passes))  # of what still gets warmer then
    book = _book(warm_up, passes)
    steps = passes * len(book.missing) // 2
    mean = (book.fade[0].sum() * cycle.mean + _rest_of_ripple(warm_up, passes)) / steps
    mean = mean + warm_up.decay.combined_shapes(book.missing.sum(0) / steps)
    return Passes(mean, peak, _printing(warm_up, book, light, place, mean))


def _at_end(warm_up: WarmUp, passes: int) -> Array:
    """Rise at the end of the last pass: at phase 0, or half a period from it."""
    end = np.array([passes * warm_up.cycle.period / 2])
    sign = (-1.0) ** (passes * np.arange(1, len(warm_up.cycle.X) + 1))
    ripple = 2 * np.einsum("n,nil->il", sign, warm_up.cycle.X.real)
    missing = warm_up.decay.combined_shapes(warm_up.missing(end)[0])
    return np.asarray(warm_up.fade(end) * (warm_up.cycle.mean + ripple) + missing)


def _rest_of_ripple(warm_up: WarmUp, passes: int) -> Array | float:
    """Sum of the ripple over the steps of an odd last pass, whose way back is missing, K.

    int_0^(T_p/2) of 2 Re X_n exp(i n w t) dt = -(4/(n w)) Im X_n for odd n, over one step's time
    """
    if passes % 2 == 0:
        return 0.0
    X, n = warm_up.cycle.X[::2].imag, np.arange(1, len(warm_up.cycle.X) + 1, 2)
    fade = warm_up.fade(np.array((passes - 0.5) * warm_up.cycle.period / 2))
    return np.asarray(
        -4 * samples_of(warm_up.cycle) / np.pi * fade * np.einsum("n,nil->il", 1 / n, X)
    )


def _pair(number: int, passes: int) -> tuple[int, int]:
    """A pass and one beside it, the one that runs up first."""
    beside = number + 1 if number == 0 and passes > 1 else number - 1
    even, odd = sorted((number, beside), key=lambda k: k % 2)
    return even, odd


def _in_passes(warm_up: WarmUp, pair: tuple[int, int]) -> tuple[Change, int, Cuts]:
    """The limit cycle as it is in two passes of an exposure, by block of nodes.

    With the halves of it that are there, and the samples before which it jumps in time.
    """
    samples = samples_of(warm_up.cycle)
    phase = np.arange(samples) / samples
    number = np.where(phase < 0.5, pair[0], pair[1])
    t = np.maximum((number // 2 + phase) * warm_up.cycle.period, 0.0)
    fade = warm_up.fade(t).astype(np.float32)[:, None, None]
    missing = warm_up.missing(t).astype(np.float32)
    shapes = warm_up.decay.shapes

    def change(own: slice, course: Course) -> Course:
        return np.asarray(fade * course + np.tensordot(missing, shapes[:, own], 1), np.float32)

    if pair[1] < 0:
        return change, 1, (0, samples // 2)
    return change, 2, (0 if pair[1] > pair[0] else samples // 2, -1)


@dataclass(frozen=True)
class _Book:
    """Sums over the passes at each phase of the cycle, in the middle of even steps.

    fade : of a and a^2, (2, phases);  missing : of m_k, faded : of a m_k, (phases, modes)
    """

    fade: Array
    missing: Array
    faded: Array


def _book(warm_up: WarmUp, passes: int) -> _Book:
    times, modes = samples_of(warm_up.cycle), len(warm_up.decay.rates)  # of a pass
    fade = np.zeros((2, 2, times))
    missing, faded = np.zeros((2, 2, times, modes))
    step = warm_up.cycle.period / (2 * times)
    for number in range(passes):  # up in the first half of the phases, down in the second
        t = np.asarray((number * times + np.arange(times) + 0.5) * step, float)
        a, m, half = warm_up.fade(t), warm_up.missing(t), number % 2
        fade[half] += [a, a**2]
        missing[half] += m
        faded[half] += a[:, None] * m
    return _Book(np.concatenate(fade, axis=1), np.concatenate(missing), np.concatenate(faded))


def _printing(
    warm_up: WarmUp,
    book: _Book,
    light: NDArray[np.inexact],
    place: NDArray[np.int64],
    mean: Array,
) -> Array:
    """Temperature weighted by the dose rate a(t) w(t); the mean where no light falls.

    In the cycle's part the weight is a^2 w, by its own harmonics; in the decay's part a w.
    """
    times = len(book.missing)
    rate: Array = np.fft.irfft(light * _middle(times, light.shape[1]), times, norm="forward")
    dose, twice = (rate @ weight for weight in book.fade)
    own = np.fft.rfft(rate * book.fade[1], norm="forward") / _middle(times, times // 2 + 1)
    lit = dose > DARK * dose.max()
    share = np.divide(twice, dose, out=np.ones_like(dose), where=lit)
    missing = np.zeros((len(rate), book.faded.shape[1]))
    missing[lit] = rate[lit] @ book.faded / dose[lit, None]
    found: Array = share[place][:, None] * dose_weighted(warm_up.cycle, own[place])
    for weight, shape in zip(missing.T, warm_up.decay.shapes, strict=True):
        found += weight[place][:, None] * shape
    found[~lit[place]] = mean[~lit[place]]
    return found


def _middle(times: int, count: int) -> NDArray[np.complex128]:
    """exp(i n w dt/2): from harmonics at t = 0 to samples in the middle of even steps."""
    return np.asarray(np.exp(1j * np.pi * np.arange(count) / times))
