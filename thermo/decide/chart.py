"""Two settings against each other: where every limit holds, and which binds elsewhere.

Coarse trials on a grid of both, interpolated by monotone cubics along each; what the fine mesh adds
is its difference at the present point.  Trials between the grid's lines say how far the
interpolation is off.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator, RegularGridInterpolator

from thermo.answer.left_alone import is_as_stiff
from thermo.case import Case
from thermo.decide.setting import Setting, SettingError, Span, span_of
from thermo.decide.trial import Trial, Trials, by_name
from thermo.errors import CaseError, PhysicsError
from thermo.solve import at_once, one_blas_thread

Array = NDArray[np.float64]
Tell = Callable[[str, float], None]
GRID = 6  # coarse trials along each setting
LIGHT = 13  # places along each at which what the light alone decides is worked out
FINE = 121  # places along each at which the chart is drawn
HELD_OUT = ((1.5, 1.5), (3.5, 1.5), (1.5, 3.5), (3.5, 3.5), (2.5, 2.5))  # in steps of the grid


@dataclass(frozen=True)
class Chart:
    """What two settings do together; places are those of `Setting.place`.

    places : of the grid, of first and second setting;  trials : by their numbers on the grid, None
        where the case refuses them;  light : the same without a solve on a closer grid
    shift : what the fine mesh adds to each excess, in the limit's unit
    off : largest error of the interpolation at the places held out, in the limit's unit
    """

    settings: tuple[Setting, Setting]
    spans: tuple[Span, Span]
    places: tuple[Array, Array]
    trials: Mapping[tuple[int, int], Trial | None]
    light: Mapping[tuple[int, int], Trial | None]
    shift: Mapping[str, float]
    off: Mapping[str, float]

    def names(self) -> list[str]:
        """Limits, in the order of the case."""
        found: dict[str, None] = {}
        for trial in self.trials.values():
            found |= dict.fromkeys([] if trial is None else trial.excess)
        return list(found)

    def limit(self, name: str) -> tuple[float, str]:
        """A limit and its unit."""
        trials = [t for t in self.trials.values() if t is not None]
        line = next(by_name(t.lines)[name] for t in trials if name in t.excess)
        return line.limit, line.unit

    def excess(self, name: str, first: Array, second: Array) -> Array:
        """How far a value lies above its limit at places (n,) and (m,), (n, m)."""
        if any(t is not None and name in t.excess for t in self.light.values()):
            where = np.stack(np.meshgrid(first, second, indexing="ij"), axis=-1)
            values = _filled(_values(self.light, name))
            even = [np.linspace(p[0], p[-1], len(values)) for p in self.places]
            return np.asarray(RegularGridInterpolator(even, values)(where))
        values = _filled(_values(self.trials, name))
        along = PchipInterpolator(self.places[0], values, axis=0)(first)
        found = PchipInterpolator(self.places[1], along, axis=1)(second)
        return np.asarray(found + self.shift.get(name, 0.0))

    def drawn(self) -> tuple[Array, Array]:
        """Places at which the chart is drawn."""
        first, second = (np.linspace(p[0], p[-1], FINE) for p in self.places)
        return first, second

    def binding(self) -> tuple[Array, NDArray[np.int64]]:
        """At the places drawn: the least room as a share of its limit, and that limit's number."""
        names = self.names()
        shares = np.stack(
            [self.excess(n, *self.drawn()) / abs(self.limit(n)[0] or 1.0) for n in names]
        )
        return np.where(self.refused(), np.nan, shares.max(0)), shares.argmax(0)

    def refused(self) -> NDArray[np.bool_]:
        """Places drawn whose nearest trial the case refuses."""
        known = np.array(
            [[self.trials[i, j] is not None for j in range(GRID)] for i in range(GRID)]
        )
        i, j = (np.rint(np.linspace(0, GRID - 1, FINE)).astype(int) for _ in range(2))
        return np.asarray(~known[np.ix_(i, j)])


def check_pair(first: Setting, second: Setting) -> None:
    """Raise SettingError where two settings of a chart are one."""
    if first.key == second.key:
        raise SettingError(f"--map: {first.key} against itself; name two settings")


@one_blas_thread()
def chart(trials: Trials, first: Setting, second: Setting, tell: Tell = lambda *_: None) -> Chart:
    """Chart of two settings round a case, over their usual spans.

    Raises
    ------
    SettingError : both are one, or the case names no limit
    """
    check_pair(first, second)
    spans = tuple(span_of(trials.case, s, None, None, trials.still) for s in (first, second))
    places = tuple(
        np.linspace(s.place(p.low), s.place(p.high), GRID)
        for s, p in zip((first, second), spans, strict=True)
    )
    key = first.key if is_as_stiff(first.key) and is_as_stiff(second.key) else ""
    count = GRID**2 + len(HELD_OUT) + 6  # the fine trial takes as long as some

    def tried(at: tuple[float, float]) -> Trial | None:
        x, y = (np.interp(i, np.arange(GRID), p) for i, p in zip(at, places, strict=True))
        return _tried(trials, (first, first.value(float(x))), (second, second.value(float(y))), key)

    tell("dose plans", 0.0)
    light = _light(trials, (first, second), places)  # type: ignore[arg-type]
    grid = [(i, j) for i, j in np.ndindex(GRID, GRID)]
    solved = at_once(tried, [*grid, *HELD_OUT], lambda done: tell("coarse trials", done / count))
    found = dict(zip(grid, solved, strict=False))
    if not any(t is not None for t in found.values()):
        raise SettingError("--map: the case allows none of these values; change it first")
    between = dict(zip(HELD_OUT, solved[len(grid) :], strict=True))
    tell("fine mesh", (GRID**2 + len(HELD_OUT)) / count)
    shift = _shift(trials)
    tell("done", 1.0)
    made = Chart((first, second), spans, places, found, light, shift, {})  # type: ignore[arg-type]
    return replace(made, off=_off(made, between))


def _tried(
    trials: Trials,
    one: tuple[Setting, float],
    other: tuple[Setting, float],
    key: str,
    solved: bool = True,
) -> Trial | None:
    case: Case = trials.case
    try:
        for setting, value in (one, other):
            case = setting.applied(case, value)
        return trials.coarse(case, key) if solved else trials.dose(case)
    except (CaseError, PhysicsError):
        return None


def _light(
    trials: Trials, settings: tuple[Setting, Setting], places: tuple[Array, Array]
) -> dict[tuple[int, int], Trial | None]:
    """What the light alone decides, at the corners alone where it is the same at them."""

    def tried(count: int) -> dict[tuple[int, int], Trial | None]:
        x, y = (np.linspace(p[0], p[-1], count) for p in places)
        first, second = settings
        return {
            (i, j): _tried(
                trials,
                (first, first.value(float(x[i]))),
                (second, second.value(float(y[j]))),
                "",
                solved=False,
            )
            for i, j in np.ndindex(count, count)
        }

    few = tried(3)
    excess = [None if t is None else t.excess for t in few.values()]
    return few if all(e == excess[0] for e in excess) else tried(LIGHT)


def _shift(trials: Trials) -> dict[str, float]:
    """What the fine mesh adds to each value of the case as it is."""
    fine, coarse = trials.fine(trials.case, ""), trials.base
    return {n: fine.excess[n] - coarse.excess[n] for n in fine.excess if n in coarse.excess}


def _off(made: Chart, between: Mapping[tuple[float, float], Trial | None]) -> dict[str, float]:
    steps = np.arange(GRID)
    found: dict[str, float] = {}
    for at, trial in between.items():
        if trial is None:
            continue
        x, y = (np.atleast_1d(np.interp(i, steps, p)) for i, p in zip(at, made.places, strict=True))
        for name, excess in trial.excess.items():
            if name in made.names():
                told = float(made.excess(name, x, y)[0, 0]) - made.shift.get(name, 0.0)
                found[name] = max(found.get(name, 0.0), abs(told - excess))
    return found


def _values(trials: Mapping[tuple[int, int], Trial | None], name: str) -> Array:
    """Excess of one limit at trials on an even grid, nan where the case refuses them."""
    count = 1 + max(i for i, _ in trials)
    values = np.full((count, count), np.nan)
    for at, trial in trials.items():
        if trial is not None:
            values[at] = trial.excess[name]
    return values


def _filled(values: Array) -> Array:
    """Values with what is not known taken from the nearest that is; it is not drawn as allowed."""
    known = np.argwhere(np.isfinite(values))
    found = values.copy()
    for at in np.argwhere(~np.isfinite(values)):
        found[tuple(at)] = values[tuple(known[((known - at) ** 2).sum(1).argmin()])]
    return found
