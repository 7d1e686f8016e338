"""The range of one setting in which every limit of a case holds."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from thermo.answer.outcome import Judged
from thermo.decide.curves import Curves, allowed
from thermo.decide.levers import LEVERS
from thermo.decide.ranking import Mover, movers
from thermo.decide.search import End, Search
from thermo.decide.setting import Setting, Span, check_limits, span_of
from thermo.decide.trial import Trials, by_name
from thermo.solve import one_blas_thread

Tell = Callable[[str, float], None]


@dataclass(frozen=True)
class Sizing:
    """What sizing one setting found.

    ranges : low to high; where `never` is not empty of the other limits alone
    never : limits that no value keeps
    movers : what a little more of its usual levers does, where a limit is never kept
    curves : trials along the setting, to look at;  turns : values at which a limit's value turns
    """

    setting: Setting
    span: Span
    ranges: tuple[tuple[End, End], ...]
    curves: Curves
    turns: dict[str, tuple[float, ...]]
    never: tuple[str, ...]
    movers: tuple[Mover, ...] = ()

    def nearest(self, name: str) -> tuple[float, Judged]:
        """The value at which a limit has most room, or is least broken, and its line there."""
        places = self.curves.places
        excess = self.curves.excess(name, places)
        place = float(places[excess.argmin()])
        trials = {**self.curves.light, **self.curves.coarse, **self.curves.fine}
        near_by = min((p for p in trials if name in trials[p].excess), key=lambda p: abs(p - place))
        line = by_name(trials[near_by].lines)[name]
        value = None if line.value is None else line.limit + float(excess.min())
        return self.setting.value(place), replace(line, value=value)

    def is_flat(self, name: str) -> bool:
        """Whether the setting moves a limit's value by no more than counts as near."""
        excess = self.curves.excess(name, self.curves.places)
        return bool(excess.max() - excess.min() <= self.curves.near(name))

    @property
    def moving(self) -> frozenset[str]:
        """Limits whose values are solved for, not told by the light alone."""
        return frozenset(self.curves.names()) - self.curves.lit

    def alone(self, name: str) -> list[tuple[float, float]]:
        """Ranges in which one limit holds, whatever the others do, from the curves."""
        curves = self.curves
        others = frozenset(curves.names()) - {name}
        own = replace(curves, left_out=others)
        found = allowed(own, curves.places)
        return [(self.setting.value(a), self.setting.value(b)) for a, b in found]


@one_blas_thread()
def size(
    trials: Trials,
    setting: Setting,
    low: str | None = None,
    high: str | None = None,
    tell: Tell = lambda *_: None,
) -> Sizing:
    """Allowed ranges of a setting between low and high (texts with a unit), typical values.

    Raises
    ------
    SettingError : no limit in the case, or a span that is none
    SolveError, PhysicsError : a trial failed
    """
    check_limits(trials.case)
    span = span_of(trials.case, setting, low, high, trials.still)
    tell("coarse trials", 0.0)
    search = Search(trials, setting, tell)
    curves = search.looked_round(span)
    curves, never = search.hopeless(curves)
    curves, ranges = search.ends(span, curves)
    curves = replace(curves, left_out=frozenset())
    turns = {n: tuple(map(setting.value, t)) for n in curves.names() if (t := curves.turns(n))}
    others: tuple[Mover, ...] = ()
    if never:
        tell("what moves it", search.done)
        usual = frozenset(key for name in never for key in LEVERS.get(name, ()))
        own = setting.key if setting.foil is None else setting.word
        others = tuple(m for m in movers(trials, among=usual) if m.name != own)
    tell("done", 1.0)
    return Sizing(setting, span, ranges, curves, turns, never, others)
