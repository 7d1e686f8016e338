"""How the values beside the limits run along one setting, from few trials.

Between coarse trials each value runs along a monotone cubic; what the fine mesh adds is the
difference found at fine trials, straight between them.  What the light alone decides is exact at
many more places and straight between them.

Source of the cubic: F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal. 17 (1980) 238.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from thermo.answer.outcome import Judged
from thermo.decide.trial import Trial, by_name, near

Array = NDArray[np.float64]
STEPS = 801  # places at which curves are looked at
FLAT, WIDE = 0.02, 0.15  # of the value's whole change and of the span: what counts as a plateau
PAST = 0.1  # of a gap between trials: how far beyond the limit a line is led on
MOVES = 20.0  # times near: a value that moves less all along has no plateau
AIM = 0.4  # of what counts as near: how far inside a limit the end of a range is put
NOISE = 2.0  # times what counts as near: a smaller turn is none


@dataclass(frozen=True)
class Curves:
    """Trials by their places along a setting.

    coarse, fine : solved;  light : worked out without a solve, and much closer together
    left_out : limits that are not asked for
    """

    coarse: Mapping[float, Trial]
    light: Mapping[float, Trial]
    fine: Mapping[float, Trial] = field(default_factory=dict)
    left_out: frozenset[str] = frozenset()

    def with_coarse(self, place: float, trial: Trial) -> "Curves":
        """The curves with one more coarse trial."""
        return replace(self, coarse={**self.coarse, place: trial})

    def with_light(self, place: float, trial: Trial) -> "Curves":
        """The curves with one more trial of the light alone."""
        return replace(self, light={**self.light, place: trial})

    @property
    def lit(self) -> frozenset[str]:
        """Limits that the light alone decides."""
        return frozenset(n for t in self.light.values() for n in t.excess)

    def with_fine(self, place: float, trial: Trial) -> "Curves":
        """The curves with one more fine trial."""
        return replace(self, fine={**self.fine, place: trial})

    @property
    def places(self) -> Array:
        """Places at which the curves are looked at: even steps, and every trial's."""
        ends = [*self.coarse]
        even = np.linspace(min(ends), max(ends), STEPS)
        own = [p for p in (*self.coarse, *self.light, *self.fine) if even[0] <= p <= even[-1]]
        return np.unique([*even, *own])

    def names(self) -> list[str]:
        """Limits of any trial, in the order of the case."""
        found: dict[str, None] = {}
        for trial in (*self.coarse.values(), *self.fine.values(), *self.light.values()):
            found |= dict.fromkeys(line.name for line in trial.lines)
        return [name for name in found if name not in self.left_out]

    def excess(self, name: str, places: Array) -> Array:
        """How far the value of a limit lies above it at some places."""
        if name in self.lit:
            all_ = {**self.coarse, **self.light, **self.fine}
            return np.interp(places, *_sorted({p: t.excess[name] for p, t in all_.items()}))
        found = {p: t.excess[name] for p, t in self.coarse.items() if name in t.excess}
        x, y = _sorted(found)
        rough = PchipInterpolator(x, y)
        both = {p: t.excess[name] - float(rough(p)) for p, t in self.fine.items()}
        more = np.interp(places, *_sorted(both)) if both else 0.0
        return np.asarray(rough(places) + more)

    def most(self, places: Array) -> tuple[Array, list[str]]:
        """The limit that is nearest to broken at each place: share of near, name."""
        names = self.names()
        if not names:
            return np.full(len(places), -np.inf), [""] * len(places)
        shares = np.stack([self.excess(n, places) / self.near(n) for n in names])
        worst = shares.argmax(0)
        return shares.max(0), [names[i] for i in worst]

    def near(self, name: str) -> float:
        """Within what a value counts as at its limit."""
        return near(self.line(name))

    def line(self, name: str) -> Judged:
        """Any trial's line of a limit."""
        trials = (*self.fine.values(), *self.light.values(), *self.coarse.values())
        lines = {line.name: line for trial in trials for line in trial.lines}
        return lines[name]

    def known(self, name: str) -> dict[float, float]:
        """Values of a limit by place, of the coarse trials that know it."""
        lines = {p: by_name(t.lines).get(name) for p, t in self.coarse.items()}
        return {p: ln.value for p, ln in lines.items() if ln and ln.value is not None}

    def never(self) -> list[str]:
        """Limits that no place keeps."""
        places = self.places
        return [n for n in self.names() if self.excess(n, places).min() > 0]

    def holds(self, trial: Trial) -> bool:
        """Whether a trial keeps every limit that is asked for."""
        return all(trial.excess[n] <= 0 for n in trial.excess if n not in self.left_out)

    def is_clear(self, trial: Trial, room: float) -> bool:
        """Whether all that is solved for has so much room, times near; light alone is exact."""
        solved = trial.excess.keys() - self.lit - self.left_out
        return self.holds(trial) and all(trial.excess[n] < -room * self.near(n) for n in solved)

    def plateaus(self, name: str) -> list[tuple[float, float]]:
        """Stretches at either end of the span over which a value hardly moves, place to place."""
        known = self.known(name)
        if len(known) < 4:
            return []
        x, y = _sorted(known)
        flat = np.abs(np.diff(y)) <= max(FLAT * float(np.ptp(y)), self.near(name))
        if flat.all() or np.ptp(y) < MOVES * self.near(name):
            return []
        found = []
        for step, own in ((1, flat), (-1, flat[::-1])):
            count = int(np.argmin(own))
            if count >= 1:
                ends = x[[0, count]] if step == 1 else x[[-1 - count, -1]]
                found.append((float(ends[0]), float(ends[1])))
        return [(a, b) for a, b in found if b - a >= WIDE * np.ptp(x)]

    def binding(self, trial: Trial) -> tuple[str, float]:
        """The limit that a trial has least room to, and how far above it lies, over near."""
        names = [n for n in trial.excess if n not in self.left_out]
        worst = max(names, key=lambda n: trial.excess[n] / self.near(n))
        return worst, trial.excess[worst] / self.near(worst)

    def tips(self, name: str) -> list[float]:
        """Places where a value that falls to a kink and rises again may still keep its limit.

        The lines through the two trials on either side of each gap between trials are led on to
        where they cross: below a smooth curve, at the kink of |x|.
        """
        solved = {p: self.coarse[p].excess[name] for p in self.known(name)}
        if len(solved) < 4:
            return []
        x, y = _sorted(solved)
        slope = np.diff(y) / np.diff(x)
        found = []
        for i, beside, inwards in ((0, 1, -1), (len(x) - 2, len(x) - 2, 1)):  # at the span's ends
            rises = inwards * -slope[min(beside, len(slope) - 1) if i == 0 else i - 1]
            reach = x[beside] + inwards * y[beside] / rises if rises > 0 < y[beside] else np.nan
            reach += inwards * PAST * (x[i + 1] - x[i])
            if x[i] < reach < x[i + 1]:
                found.append(float(reach))
        for i in range(1, len(x) - 2):
            falls, rises = slope[i - 1], slope[i + 1]
            if min(y[i], y[i + 1]) <= 0 or not falls < 0 < rises:
                continue
            tip = (y[i + 1] - y[i] + falls * x[i] - rises * x[i + 1]) / (falls - rises)
            if x[i] < tip < x[i + 1] and y[i] + falls * (tip - x[i]) <= 0:
                found.append(float(tip))
        return found

    def turns(self, name: str) -> list[float]:
        """Places of the coarse trials at which a value turns from rising to falling or back."""
        known = self.known(name)
        if not known:
            return []
        x, y = _sorted(known)
        slope = np.where(np.abs(np.diff(y)) > NOISE * self.near(name), np.sign(np.diff(y)), 0)
        moving = np.flatnonzero(slope)
        found = []
        for a, b in pairwise(moving):
            if slope[a] != slope[b]:
                own = slice(a + 1, b + 1)
                found.append(float(x[own][int(np.argmax(slope[a] * y[own]))]))
        return found


def _sorted(points: Mapping[float, float]) -> tuple[Array, Array]:
    x = np.array(sorted(points))
    return x, np.array([points[p] for p in x])


def allowed(curves: Curves, places: Array) -> list[tuple[float, float]]:
    """Ranges of places in which every curve lies below its limit by a part of what is near."""
    worst = curves.most(places)[0] + AIM
    inside = worst <= 0
    found: list[tuple[float, float]] = []
    start = float(places[0]) if inside[0] else None
    for (a, b), (u, v) in zip(pairwise(places), pairwise(worst), strict=True):
        if u > 0 >= v:
            start = float(b + (a - b) * v / (v - u))
        elif u <= 0 < v and start is not None:
            found.append((start, float(a + (b - a) * u / (u - v))))
            start = None
    if start is not None:
        found.append((start, float(places[-1])))
    return found


def edge(curves: Curves, about: tuple[float, float], is_high: bool) -> float | None:
    """The end of what the curves allow about a range, None where they allow nothing there."""
    parts = [r for r in allowed(curves, curves.places) if within(r, [about])]
    if not parts:
        return None
    return max(high for _, high in parts) if is_high else min(low for low, _ in parts)


def within(part: tuple[float, float], seen: list[tuple[float, float]]) -> bool:
    """Whether a range meets any of others."""
    return any(part[0] <= high and part[1] >= low for low, high in seen)
