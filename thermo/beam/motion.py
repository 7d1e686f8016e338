"""Up-and-down motion through the standing beam, and the time spent at each place.

Trapezoidal speed: v over the middle, acceleration a at both ends of the stroke L:

    s_a = v^2/(2a)      length of each turn-around                                    (1)
    t_pass = L/v + v/a  one way                                                       (2)
    L_eff = L + v^2/a   stroke that would take t_pass at full speed                   (3)

A stage's log instead, position p against time, straight between its rows:

    y = p_c - p               place of the stripe in the field, p_c: field's middle lit  (4)
    tau_i = dt(y in i)/(N w)  time density of the interval i, w wide, over N passes, s/m (5)
    v = (L/2) / time a pass spends in the middle half of the stroke                     (6)

Places are heights in the field, y = 0 in its middle.  One up-and-down cycle is a period, of two
passes; its time runs from the lower turning point, in a log from the turn the log starts at, which
may be either.  Plain kinematics.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, PPoly

from thermo.beam.moments import Moments, cycle_bounds, gauss_panels, time_within
from thermo.errors import PhysicsError

Array = NDArray[np.float64]
AT_ONCE = 50_000  # places below edges that are looked at together
FULL_SPEED = 0.9  # share of v that ends a turn-around, reached after its square of s_a
ACROSS = 400  # intervals of the stroke in which the turn-around is looked for


@dataclass(frozen=True)
class Motion:
    """Scan of stroke (m), speed (m/s) and acceleration (m/s2); the stroke's middle is y = 0."""

    stroke: float
    speed: float
    acceleration: float

    def __post_init__(self) -> None:
        if not self.stroke * self.acceleration >= self.speed**2 * (1 - 1e-12):
            raise PhysicsError(
                f"a stroke of {1e3 * self.stroke:.4g} mm is too short to reach "
                f"{1e3 * self.speed:.4g} mm/s at {self.acceleration:.4g} m/s2; "
                f"it takes {1e3 * self.speed**2 / self.acceleration:.4g} mm"
            )

    @property
    def middle(self) -> float:
        """Place of the stripe at mid-stroke, m."""
        return 0.0

    @property
    def turn(self) -> float:
        """Length of one turn-around, m, equation (1)."""
        return self.speed**2 / (2 * self.acceleration)

    @property
    def pass_time(self) -> float:
        """Time of one pass, s, equation (2)."""
        return self.stroke / self.speed + self.speed / self.acceleration

    @property
    def period(self) -> float:
        """Time of one up-and-down cycle, s."""
        return 2 * self.pass_time

    @property
    def weights(self) -> Array:
        """Share of time of each cycle that `place_at` gives: there is one."""
        return np.ones(1)

    @property
    def effective_stroke(self) -> float:
        """Stroke at full speed that takes as long, m, equation (3)."""
        return self.stroke + self.speed**2 / self.acceleration

    def place_at(self, time: Array) -> Array:
        """Place of the stripe at any time (s) since a lower turn, m, (1, times)."""
        half, a = self.pass_time, self.acceleration
        way = half - np.abs(np.asarray(time, float) % self.period - half)  # time into the way up
        slow = np.minimum(way, half - way)  # time from the nearer turn
        ramp = self.speed / a
        gone = np.where(slow < ramp, a * slow**2 / 2, self.turn + self.speed * (slow - ramp))
        return np.asarray(np.copysign(self.stroke / 2 - gone, way - half / 2))[None]

    def moments(self, step: float) -> Moments:
        """Moments of the way up, from the lower turn; the way down mirrors it.

        Gauss-Legendre in time on the even part and on each turn-around, about `step` m apart, in
        the middle of a panel up to pi/2 of that.
        """
        turn, v, a = self.turn, self.speed, self.acceleration
        even = max(self.stroke / 2 - turn, 0.0)
        x, w = gauss_panels(int(np.ceil(2 * even / step)) + 8)
        u, q = gauss_panels(int(np.ceil(4 * turn / step)) + 8)
        slow = (u + 1) / 2 * v / a  # time from the nearer turn
        ends = self.stroke / 2 - a * slow**2 / 2
        place = np.concatenate([-ends, even * x, ends])
        time = np.concatenate([slow, self.pass_time / 2 + even * x / v, self.pass_time - slow])
        share = np.concatenate([q * v / (2 * a), w * even / v, q * v / (2 * a)])
        return Moments(place[None], time / self.period, share[None] / share.sum(), True)

    def places(self, step: float) -> tuple[Array, Array]:
        """Places of the stripe, those of `moments`, and shares of time at each (they sum to 1)."""
        found = self.moments(step)
        return found.place[0], found.share[0]

    def time_density(self, edges: Array) -> Array:
        """Time a pass spends in each interval of place per its width, s/m; edges rise, m."""
        v, a = self.speed, self.acceleration
        s = np.clip(self.stroke / 2 - np.abs(edges), 0, None)  # way from the nearer end
        t = np.where(s < self.turn, np.sqrt(2 * s / a), v / a + (s - self.turn) / v)
        return np.asarray(np.diff(np.where(edges < 0, t, self.pass_time - t)) / np.diff(edges))

    def duty(self, field: float) -> float:
        """Share of time in which the stripe's middle lies within the field's height (m)."""
        return _duty(self, field)


@dataclass(frozen=True, eq=False)
class MotionTable:
    """Scan as logged by the stage, whole passes; made by `motion_from_table`.

    time, place : rows of the log (s) and places of the stripe (m), straight in between
    passes : passes one way in it;  stroke : between the mean turning places, m
    middle : place of the stripe at mid-stroke, m

    The same quantities as `Motion` has, as means over the passes of the log.
    """

    time: Array
    place: Array
    passes: int
    stroke: float
    middle: float

    @property
    def pass_time(self) -> float:
        """Mean time of one pass, s, with what the stage rests at its ends."""
        return float(self.time[-1] - self.time[0]) / self.passes

    @property
    def period(self) -> float:
        """Mean time of one up-and-down cycle, s."""
        return 2 * self.pass_time

    @cached_property
    def cycles(self) -> Array:
        """Times at which its cycles start, and the end of the last one, s; of a pass, its ends."""
        return cycle_bounds(self.time, (self.place - self.middle) / self.stroke)

    @property
    def weights(self) -> Array:
        """Share of time of each cycle, (cycles,)."""
        return np.asarray(np.diff(self.cycles) / (self.time[-1] - self.time[0]))

    @cached_property
    def speed(self) -> float:
        """Harmonic mean speed over the middle half of the stroke, m/s, equation (6)."""
        half = self.middle + self.stroke / 4 * np.array([-1.0, 1.0])
        return float(1 / self.time_density(half)[0])

    @property
    def effective_stroke(self) -> float:
        """Stroke at full speed that takes as long, v t_pass, m."""
        return self.speed * self.pass_time

    @property
    def acceleration(self) -> float:
        """Acceleration for which (2) gives the same time of a pass, a = v/(t_pass - L/v), m/s2.

        A rest at the ends makes it small.  Infinite where a pass takes no longer than L/v.
        """
        ends = self.pass_time - self.stroke / self.speed
        return self.speed / ends if ends > 1e-9 * self.pass_time else float("inf")

    @cached_property
    def turn(self) -> float:
        """Length of the longer turn-around, m, read from the log and blind to rests at the ends.

        With even acceleration 0.9 v is reached after 0.81 s_a; good to 1/300 of the stroke.
        """
        way = np.linspace(0, self.stroke, ACROSS + 1)
        density = self.time_density(self.middle - self.stroke / 2 + way)
        slow = density * self.speed * FULL_SPEED > 1
        outer = (slow[: ACROSS // 4], slow[: -ACROSS // 4 : -1])
        end = max(len(side) if side.all() else int(side.argmin()) for side in outer)
        return min(float(way[end]) / FULL_SPEED**2, self.stroke / 2)

    def place_at(self, time: Array) -> Array:
        """Place of the stripe at any time (s) since the turn the log starts at, m, (cycles, times).

        Each cycle is taken at equal phase, whatever its own time; average with `weights`.
        """
        phase = np.asarray(time, float) / self.period % 1
        if self.passes == 1:
            phase = 1 - np.abs(1 - 2 * phase)
        within = self.cycles[:-1, None] + np.diff(self.cycles)[:, None] * phase
        return np.asarray(np.interp(within, self.time, self.place), float)

    def moments(self, step: float) -> Moments:
        """Moments of all cycles at equal phase, from the turn the log starts at.

        Evenly spaced in time, rests and all, so that the stripe moves by no more than about
        `step` m from one to the next at its fastest.  A single pass is mirrored.
        """
        single = self.passes == 1
        part = 0.5 if single else 1.0

        def spaced(count: int) -> tuple[Array, Array]:
            phase = part * (np.arange(count) + 0.5) / count
            return phase, self.place_at(phase * self.period)

        count = int(np.ceil(part * self.period * self.speed / step)) + 8
        fastest = np.abs(np.diff(spaced(count)[1])).max()
        phase, place = spaced(int(np.ceil(count * max(1.0, fastest / step))))
        share = np.repeat(self.weights[:, None] / len(phase), len(phase), axis=1)
        return Moments(place, phase, share, single)

    def places(self, step: float) -> tuple[Array, Array]:
        """Places of the stripe during a pass and the share of time at each (they sum to 1).

        Two in every `step` m, mean -+ standard deviation of the place while in it: exact to the
        second moment of the time there.
        """
        low, high = float(self.place.min()), float(self.place.max())
        edges = np.linspace(low, high, int(np.ceil((high - low) / step)) + 1)
        spent, first, second = time_within(self.time, self.place, edges)
        here = spent > 1e-15 * spent.sum()
        spent, first, second = spent[here], first[here] / spent[here], second[here] / spent[here]
        mean = ((edges[:-1] + edges[1:]) / 2)[here] + first
        spread = np.sqrt(np.clip(second - first**2, 0, None))
        share = np.concatenate([spent, spent]) / (2 * spent.sum())
        return np.concatenate([mean - spread, mean + spread]), share

    def time_density(self, edges: Array) -> Array:
        """Time a pass spends in each interval of place per its width, s/m, (5); edges rise, m."""
        spent = time_within(self.time, self.place, edges)[0]
        return np.asarray(spent / np.diff(edges) / self.passes)

    def duty(self, field: float) -> float:
        """Share of time in which the stripe's middle lies within the field's height (m)."""
        return _duty(self, field)


Scan = Motion | MotionTable
STILL = (np.zeros(1), np.ones(1))  # places and shares of a sample that does not move


def _duty(motion: Scan, field: float) -> float:
    spent = motion.time_density(np.array([-field / 2, field / 2]))[0] * field
    return float(spent / motion.pass_time)


def mean_over_scan(
    height: Array, profile: Array, places: tuple[Array, Array], edges: Array
) -> Array:
    """Mean power in each vertical interval of the moving parts, W/m, shape (profiles, intervals).

    height : heights of the rays, m, even spacing;  profile : W/m in each ray, (profiles, heights)
    places : places of the stripe and shares of time;  edges : ends of the intervals, m
    """
    step = height[1] - height[0]
    below = CubicSpline(height, profile / step, axis=-1, bc_type="natural").antiderivative()
    total, whole = profile.sum(-1, keepdims=True), below(height[-1])[:, None]
    scale = np.divide(total, whole, out=np.zeros_like(total), where=whole > 0)  # exact in total
    at_once = max(1, AT_ONCE // len(places[0]))
    at_edges = np.concatenate(
        [
            _mean_of(below, part[:, None] - places[0], places[1])
            for part in np.split(edges, range(at_once, len(edges), at_once))
        ]
    )
    return np.asarray(np.diff(at_edges.T * scale, axis=-1))


def _mean_of(curve: PPoly, y: Array, share: Array) -> Array:
    """Weighted means of piecewise polynomials over y (edges, places), held beyond their ends.

    Shape (edges, curves).  The powers of y in each piece are summed first, once for all curves.
    """
    y = np.clip(y, curve.x[0], curve.x[-1])
    pieces = len(curve.x) - 1
    piece = np.clip(np.searchsorted(curve.x, y, "right") - 1, 0, pieces - 1)
    inside = y - curve.x[piece]
    at = (piece + pieces * np.arange(len(y))[:, None]).ravel()
    weight = np.broadcast_to(share, y.shape)
    sums = []
    for _ in range(len(curve.c)):
        sums.append(np.bincount(at, weight.ravel(), pieces * len(y)).reshape(len(y), pieces))
        weight = weight * inside
    return np.asarray(np.einsum("kep,kpf->ef", np.stack(sums[::-1]), curve.c))
