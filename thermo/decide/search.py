"""The search along one setting for the ranges in which every limit holds.

1. coarse trials over the span, and closer where a limit is met or a value turns
2. every end found on their curves is tried on the fine mesh, and moved until the limit that binds
   is met there as closely as `near` says
Nothing is taken to be monotone: each limit's curve is looked at over the whole span.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.case import Case
from thermo.decide.curves import AIM, Curves, allowed, edge, within
from thermo.decide.setting import Setting, Span, rounded
from thermo.decide.trial import Trial, Trials, by_name
from thermo.solve import at_once

Array = NDArray[np.float64]
Tell = Callable[[str, float], None]
SAMPLES = 7  # coarse trials over the span at first, the present one besides
LIGHT = 49  # places at which what the light alone decides is worked out
ROUNDS = 5  # in which coarse trials are added
TRIES = 5  # fine trials of one end
LOOKS = 3  # coarse trials before a fine one
LIT_TRIES = 20  # of the light alone: doses jump where a pass more is needed
BEYOND = 0.1  # of a limit: what the fine mesh does not bring back
CLEAR = 20.0  # times near: room in which the fine mesh changes nothing
APART = 0.004  # of the span: trials that look round are no closer together
CLOSE_BY = 4e-4  # of the span: so far a coarse trial tells as well as another
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

    def coarse(self, curves: Curves, places: Sequence[float]) -> Curves:
        """The curves with coarse trials at some places."""
        cases = [self._case(self.setting.value(p)) for p in places]

        def tell(count: int) -> None:
            self.done += max(0.5 - self.done, 0.0) / 8
            text = self.setting.text(self.setting.value(places[count - 1]), 3)
            self.tell(f"coarse trial at {text}", self.done)

        found = at_once(lambda case: self.trials.coarse(case, self.setting.key), cases, tell)
        for place, trial in zip(places, found, strict=True):
            curves = curves.with_coarse(place, trial)
        return curves

    def fine(self, curves: Curves, values: Sequence[float]) -> Curves:
        """The curves with fine trials at some values, but where there is one."""
        new = [v for v in dict.fromkeys(values) if self.setting.place(v) not in curves.fine]
        if not new:
            return curves
        self.tell("fine mesh at " + " and ".join(map(self.setting.text, new)), self.done)
        found = self.trials.fine_at_once([self._case(v) for v in new], self.setting.key)
        for value, trial in zip(new, found, strict=True):
            curves = curves.with_fine(self.setting.place(value), trial)
            self.done += (1.0 - self.done) / 4
        return curves

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
        curves = self.coarse(Curves({}, self._light(low, high)), sorted(places))
        for _ in range(ROUNDS):
            wanted = [p for p in self._open(curves) if self._is_new(curves, p)]
            if not wanted:
                break
            curves = self.coarse(curves, wanted)
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
        curves = self.fine(curves, [self.setting.value(place)])
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
            open_ = [r for r in allowed(curves, curves.places) if not within(r, seen)]
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
        """One allowed range: fine trials of both ends until what binds there is just met."""
        sides = _Side(False), _Side(True)
        for _ in range(2 * TRIES):
            open_ = [s for s in sides if not s.is_done]
            if not open_:
                break
            wanted = []
            for side in open_ if curves.fine else open_[:1]:  # what the first adds tells the other
                curves, value = self._wanted(span, curves, about, side)
                if value is not None:
                    wanted.append((value, side))
            curves = self.fine(curves, [value for value, _ in wanted])
            for value, side in wanted:
                side.judge(curves, value, curves.fine[self.setting.place(value)])
        low, high = (self._end(span, curves, side) for side in sides)
        if low is None or high is None:
            return curves, None, about
        return curves, (low, high), (self.setting.place(low.value), self.setting.place(high.value))

    def _end(self, span: Span, curves: Curves, side: "_Side") -> End | None:
        if side.best is None:
            return None
        value, trial, is_span = side.best
        why = (span.why_high if side.is_high else span.why_low) if is_span else ""
        return End(value, None if is_span else curves.binding(trial)[0], why, trial)

    def _lit_end(self, curves: Curves, about: tuple[float, float], is_high: bool) -> Curves:
        """The curves with an end found exactly, where the light alone decides it."""
        last = np.nan
        for _ in range(LIT_TRIES):
            places, place = curves.places, edge(curves, about, is_high)
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

    def _wanted(
        self, span: Span, curves: Curves, about: tuple[float, float], side: "_Side"
    ) -> tuple[Curves, float | None]:
        """Value at which a fine trial of one end is wanted; None where the end is clear already."""
        curves = self._lit_end(curves, about, side.is_high)
        places, place = curves.places, edge(curves, about, side.is_high)
        value = span.high if side.is_high else span.low
        side.tries += 1
        side.is_span = place in (places[0], places[-1])
        if place is None and side.best is None and not side.is_last_try:
            side.is_last_try = True  # the fine mesh has not been asked where there is most room
            places = places[(places >= about[0]) & (places <= about[1])]
            value = self.setting.value(float(places[curves.most(places)[0].argmin()]))
            return curves, min(max(value, span.low), span.high)
        if place is None:
            side.is_done = True
            return curves, None
        if side.is_span:
            if not curves.is_clear(curves.coarse[place], CLEAR):
                return curves, value
            side.best, side.is_done = (value, curves.coarse[place], True), True
            return curves, None
        curves, place = self._closer(curves, about, side.is_high, place)
        return curves, rounded(self.setting, self.setting.value(place), up=not side.is_high)

    def _closer(
        self, curves: Curves, about: tuple[float, float], is_high: bool, place: float
    ) -> tuple[Curves, float]:
        """Coarse trials at an end until they agree with the curves there: a fine one is dear."""
        for _ in range(LOOKS):
            binds = curves.most(np.array([place]))[1][0]
            told = float(curves.excess(binds, np.array([place]))[0])
            apart = np.abs(np.array([*curves.coarse]) - place).min() / np.ptp([*curves.coarse])
            if apart < CLOSE_BY or binds in curves.lit:
                break
            curves = self.coarse(curves, [place])
            if abs(float(curves.excess(binds, np.array([place]))[0]) - told) < curves.near(binds):
                break
            place = edge(curves, about, is_high) or place
        return curves, place


@dataclass
class _Side:
    """One end of a range on the way to being found; best : value, trial, whether the span ends."""

    is_high: bool
    best: tuple[float, Trial, bool] | None = None
    tries: int = 0
    is_span: bool = False
    is_last_try: bool = False
    is_done: bool = False

    def judge(self, curves: Curves, value: float, trial: Trial) -> None:
        """Keep a fine trial that holds; done where it lies at the span's end or near a limit."""
        self.is_done = self.tries >= TRIES
        if curves.holds(trial):
            if self.best is None or _farther(value, self.best[0], self.is_high):
                self.best = value, trial, self.is_span
            self.is_done |= self.is_span or curves.binding(trial)[1] >= -1


def _farther(value: float, other: float, is_high: bool) -> bool:
    return value > other if is_high else value < other
