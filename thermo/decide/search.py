"""The search along one setting for the ranges in which every limit holds.

1. coarse trials over the span, and closer where a limit is met or a value turns
2. every end found on their curves is tried on the fine mesh, and moved until the limit that binds
   is met there as closely as `near` says
Nothing is taken to be monotone: each limit's curve is looked at over the whole span.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from thermo.case import Case
from thermo.decide.curves import Curves
from thermo.decide.setting import Setting, Span, rounded
from thermo.decide.trial import Trial, Trials, by_name

Array = NDArray[np.float64]
Tell = Callable[[str, float], None]
SAMPLES = 7  # coarse trials over the span at first, the present one besides
LIGHT = 49  # places at which what the light alone decides is worked out
ROUNDS = 5  # in which coarse trials are added
TRIES = 5  # fine trials of one end
LOOKS = 3  # coarse trials before a fine one
LIT_TRIES = 20  # of the light alone: doses jump where a pass more is needed
AIM = 0.4  # of what counts as near: how far inside the limit an end is put
BEYOND = 0.1  # of a limit: what the fine mesh does not bring back
CLEAR = 20.0  # times near: room in which the fine mesh changes nothing
APART = 0.004  # of the span: trials that look round are no closer together
CLOSE_TURN = 0.3  # of the limit: a turn whose value lies no farther off is looked at closer


@dataclass(frozen=True)
class End:
    """One end of an allowed range, SI.

    binds : the limit that is just met, None where the span ends first
    why : the case's own reason why nothing lies beyond, '' where there is none
    """

    value: float
    binds: str | None
    why: str
    trial: Trial


@dataclass
class Search:
    """Trials along one setting, counted for the progress."""

    trials: Trials
    setting: Setting
    tell: Tell
    done: float = 0.0

    def coarse(self, place: float) -> Trial:
        """Coarse trial at a place."""
        value = self.setting.value(place)
        trial = self.trials.coarse(self._case(value), self.setting.key)
        self.done += (0.5 - self.done) / 8
        self.tell(f"coarse trial at {self.setting.text(value, 3)}", self.done)
        return trial

    def fine(self, value: float) -> Trial:
        """Fine trial at a value."""
        self.tell(f"fine mesh at {self.setting.text(value)}", self.done)
        trial = self.trials.fine(self._case(value), self.setting.key)
        self.done += (1.0 - self.done) / 4
        return trial

    def _case(self, value: float) -> Case:
        here = self.setting.present
        if here is not None and value == here:
            return self.trials.case
        return self.setting.applied(self.trials.case, value)

    def looked_round(self, span: Span) -> Curves:
        """Coarse trials over the span, closer where a limit is met or a value turns near it."""
        setting = self.setting
        low, high = setting.place(span.low), setting.place(span.high)
        places = set(np.linspace(low, high, SAMPLES).tolist())
        if setting.present is not None and low <= (here := setting.place(setting.present)) <= high:
            places = {p for p in places if p in (low, high) or abs(p - here) > (high - low) / 20}
            places.add(here)
        curves = Curves({}, self._light(low, high))
        for p in sorted(places):
            curves = curves.with_coarse(p, self.coarse(p))
        for _ in range(ROUNDS):
            wanted = [p for p in self._open(curves) if self._is_new(curves, p)]
            if not wanted:
                break
            for p in wanted:
                curves = curves.with_coarse(p, self.coarse(p))
        return curves

    def _light(self, low: float, high: float) -> dict[float, Trial]:
        """What the light alone decides, at few places where it is the same everywhere."""
        places = np.linspace(low, high, LIGHT).tolist()

        def tried(some: list[float]) -> dict[float, Trial]:
            return {p: self.trials.dose(self._case(self.setting.value(p))) for p in some}

        first = tried(places[:: LIGHT // 4])
        excess = [t.excess for t in first.values()]
        if all(e == excess[0] for e in excess):
            return first
        return first | tried([p for p in places if p not in first])

    def hopeless(self, curves: Curves) -> tuple[Curves, tuple[str, ...]]:
        """Limits that no value keeps, left out of the curves; the fine mesh has a say."""
        if not curves.never():
            return curves, ()
        if all(self._is_far(curves, n) for n in curves.never()):
            never = curves.never()
            return replace(curves, left_out=frozenset(never)), tuple(never)
        shares = [
            curves.excess(n, curves.places) / abs(curves.line(n).limit or 1.0)
            for n in curves.names()
        ]
        place = float(curves.places[np.max(shares, axis=0).argmin()])
        curves = curves.with_fine(place, self.fine(self.setting.value(place)))
        never = curves.never()
        return replace(curves, left_out=frozenset(never)), tuple(never)

    def _is_far(self, curves: Curves, name: str) -> bool:
        """Whether no value comes so near to a limit that the fine mesh could keep it."""
        least = float(curves.excess(name, curves.places).min())
        return least > BEYOND * abs(curves.line(name).limit)

    def _is_new(self, curves: Curves, place: float) -> bool:
        known = np.array([*curves.coarse])
        return bool(np.abs(known - place).min() > APART * np.ptp(known))

    def _open(self, curves: Curves) -> list[float]:
        """Places where another coarse trial tells more: ends of ranges, and turns near a limit."""
        places = curves.places
        found = []
        asked = replace(curves, left_out=frozenset(curves.never()))
        for first, last in allowed(asked, places):
            for p in (first, last):
                if places[0] < p < places[-1]:
                    found.append(p)
        for name in curves.names():
            found += curves.tips(name)
            excess = curves.excess(name, places)
            for p in curves.turns(name):
                known = np.array(sorted(curves.coarse))
                at = int(np.searchsorted(known, p))
                line = by_name(curves.coarse[p].lines)[name]
                if abs(curves.coarse[p].excess[name]) > CLOSE_TURN * abs(line.limit or 1.0):
                    continue
                beside = [(known[at - 1] + p) / 2, (p + known[min(at + 1, len(known) - 1)]) / 2]
                inside = np.interp(beside, places, excess)
                found.append(float(beside[int(np.argmin(inside))]))
        return found

    def ends(self, span: Span, curves: Curves) -> tuple[Curves, tuple[tuple[End, End], ...]]:
        """Every range with both ends tried; none where no limit is left."""
        if not curves.names():
            return curves, ()
        ranges: list[tuple[End, End]] = []
        seen: list[tuple[float, float]] = []
        for _ in range(2 * TRIES):
            open_ = [r for r in allowed(curves, curves.places) if not _within(r, seen)]
            if not open_:
                break
            curves, found, seen_now = self._range(span, curves, open_[0])
            seen.append(seen_now)
            if found is not None:
                ranges.append(found)
        return curves, tuple(sorted(ranges, key=lambda r: r[0].value))

    def _range(
        self, span: Span, curves: Curves, about: tuple[float, float]
    ) -> tuple[Curves, tuple[End, End] | None, tuple[float, float]]:
        """One allowed range with both ends tried."""
        found: list[End] = []
        for is_high in (False, True):
            curves, end = self._end(span, curves, about, is_high)
            if end is None:
                return curves, None, about
            found.append(end)
        low, high = found
        return curves, (low, high), (self.setting.place(low.value), self.setting.place(high.value))

    def _lit_end(self, curves: Curves, about: tuple[float, float], is_high: bool) -> Curves:
        """The curves with an end found exactly, where the light alone decides it."""
        last = np.nan
        for _ in range(LIT_TRIES):
            places, place = curves.places, _edge(curves, about, is_high)
            if place is None:
                break
            binds = curves.most(np.array([place]))[1][0]
            if place in (places[0], places[-1]) or place == last or binds not in curves.lit:
                break
            trial = self.trials.dose(self._case(self.setting.value(place)))
            curves, last = curves.with_light(place, trial), place
            if abs(trial.excess[binds] / curves.near(binds) + AIM) < AIM:
                break
        return curves

    def _end(
        self, span: Span, curves: Curves, about: tuple[float, float], is_high: bool
    ) -> tuple[Curves, End | None]:
        """One end: fine trials until the limit that binds is met as closely as asked."""
        best: tuple[float, Trial, bool] | None = None
        for _ in range(TRIES):
            curves = self._lit_end(curves, about, is_high)
            places, place = curves.places, _edge(curves, about, is_high)
            if place is None:
                break
            is_span = place in (places[0], places[-1])
            if is_span and curves.is_clear(curves.coarse[place], CLEAR):
                best = span.high if is_high else span.low, curves.coarse[place], True
                break
            value = span.high if is_high else span.low
            if not is_span:
                curves, place = self._closer(curves, about, is_high, place)
                value = rounded(self.setting, self.setting.value(place), up=not is_high)
                place = self.setting.place(value)
            trial = curves.fine.get(place) or self.fine(value)
            curves = curves.with_fine(place, trial)
            if curves.holds(trial):
                if best is None or _farther(value, best[0], is_high):
                    best = value, trial, is_span
                if is_span or curves.binding(trial)[1] >= -1:
                    break
        if best is None:
            return curves, None
        value, trial, is_span = best
        why = (span.why_high if is_high else span.why_low) if is_span else ""
        return curves, End(value, None if is_span else curves.binding(trial)[0], why, trial)

    def _closer(
        self, curves: Curves, about: tuple[float, float], is_high: bool, place: float
    ) -> tuple[Curves, float]:
        """Coarse trials at an end until they agree with the curves there: a fine one is dear."""
        for _ in range(LOOKS):
            binds = curves.most(np.array([place]))[1][0]
            told = float(curves.excess(binds, np.array([place]))[0])
            if place in curves.coarse or binds in curves.lit:
                break
            curves = curves.with_coarse(place, self.coarse(place))
            if abs(float(curves.excess(binds, np.array([place]))[0]) - told) < curves.near(binds):
                break
            place = _edge(curves, about, is_high) or place
        return curves, place


def _edge(curves: Curves, about: tuple[float, float], is_high: bool) -> float | None:
    """The end of what the curves allow about a range, None where they allow nothing there."""
    parts = [r for r in allowed(curves, curves.places) if _within(r, [about])]
    if not parts:
        return None
    return max(high for _, high in parts) if is_high else min(low for low, _ in parts)


def _farther(value: float, other: float, is_high: bool) -> bool:
    return value > other if is_high else value < other


def _within(part: tuple[float, float], seen: list[tuple[float, float]]) -> bool:
    return any(part[0] <= high and part[1] >= low for low, high in seen)


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
