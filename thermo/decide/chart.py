"""Two settings against each other: where every limit holds, and which binds elsewhere.

Coarse trials on a grid of both, interpolated by monotone cubics along each; what the fine mesh adds
is its difference at the present point.  Trials between the grid's lines say how far the
interpolation is off.  Placement is interpolated as the printed error at every point of the field,
magnification with its sign: their sizes fall to a kink and rise again, which no cubic follows.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator, RegularGridInterpolator

from thermo.answer.left_alone import ELASTIC, is_as_stiff, leaves_membrane
from thermo.answer.outcome import Judged
from thermo.case import Case
from thermo.decide.setting import Setting, SettingError, Span, span_of
from thermo.decide.trial import Placed, Trial, Trials, by_name
from thermo.errors import CaseError, PhysicsError
from thermo.solve import at_once, one_blas_thread

Array = NDArray[np.float64]
Tell = Callable[[str, float], None]
GRID = 6  # coarse trials along each setting
LIGHT = 13  # places along each at which what the light alone decides is worked out
FINE = 121  # places along each at which the chart is drawn
HELD_OUT = ((0.5, 0.5), (4.5, 0.5), (0.5, 4.5), (4.5, 4.5), (2.5, 2.5))  # in steps of the grid


@dataclass(frozen=True)
class Chart:
    """What two settings do together; places are those of `Setting.place`.

    places : of the grid, of first and second setting;  trials : by their numbers on the grid, None
        where the case refuses them;  light : the same without a solve on a closer grid
    shift : what the fine mesh adds, in the limit's unit: to each excess, and to what is printed
    off : largest error of the interpolation at the places held out, in the limit's unit
    """

    settings: tuple[Setting, Setting]
    spans: tuple[Span, Span]
    places: tuple[Array, Array]
    trials: Mapping[tuple[int, int], Trial | None]
    light: Mapping[tuple[int, int], Trial | None]
    shift: Mapping[str, Array]
    off: Mapping[str, float]

    def names(self) -> list[str]:
        """Limits, in the order of the case."""
        found: dict[str, None] = {}
        for trial in self.trials.values():
            found |= dict.fromkeys([] if trial is None else trial.excess)
        return list(found)

    def limit(self, name: str) -> tuple[float, str]:
        """A limit and its unit."""
        return self.line(name).limit, self.line(name).unit

    def line(self, name: str) -> Judged:
        """Any trial's line of a limit."""
        trials = [t for t in self.trials.values() if t is not None]
        return next(by_name(t.lines)[name] for t in trials if name in t.excess)

    def excess(self, name: str, first: Array, second: Array) -> Array:
        """How far a value lies above its limit at places (n,) and (m,), (n, m)."""
        if any(t is not None and name in t.excess for t in self.light.values()):
            where = np.stack(np.meshgrid(first, second, indexing="ij"), axis=-1)
            values = _on_grid(self.light, lambda t: t.excess[name])
            even = [np.linspace(p[0], p[-1], len(values)) for p in self.places]
            return np.asarray(RegularGridInterpolator(even, values)(where))
        more = self.shift.get(name, 0.0)
        if name in PLACED and self.is_placed:
            return self._between(PLACED[name], first, second, more) - self.limit(name)[0]
        return self._between(lambda t: np.array([t.excess[name]]), first, second, more)

    def _between(
        self, value: Callable[[Trial], Array], first: Array, second: Array, more: Array | float
    ) -> Array:
        """Largest size of values of the trials (any shape) at places (n,) and (m,), (n, m).

        more : is added to each beforehand.  A single value keeps its sign.
        """
        along = PchipInterpolator(self.places[0], _on_grid(self.trials, value), axis=0)(first)
        rows = (PchipInterpolator(self.places[1], row, axis=0)(second) for row in along)
        return np.stack([_largest(row + more) for row in rows])

    @property
    def is_placed(self) -> bool:
        """Whether the trials say where they print."""
        return all(t is None or t.placed is not None for t in self.trials.values())

    @cached_property
    def drawn_excess(self) -> Mapping[str, Array]:
        """How far each value lies above its limit at the places drawn."""
        return {name: self.excess(name, *self.drawn()) for name in self.names()}

    @cached_property
    def unknown(self) -> NDArray[np.bool_]:
        """Places drawn at which the membrane is past its flat state: nothing printed is known."""
        if not self.is_placed or not PLACED.keys() & set(self.names()):
            return np.zeros((FINE, FINE), bool)
        return self._between(_load, *self.drawn(), self.shift.get("buckling", 0.0)) >= 1

    def drawn(self) -> tuple[Array, Array]:
        """Places at which the chart is drawn."""
        first, second = (np.linspace(p[0], p[-1], FINE) for p in self.places)
        return first, second

    def binding(self) -> tuple[Array, NDArray[np.int64]]:
        """At the places drawn: the least room as a share of its limit, and that limit's number.

        Infinite and -1 where it is not known whether limits of placement hold, and all others do.
        """
        names = self.names()
        shares = np.stack([self.drawn_excess[n] / abs(self.limit(n)[0] or 1.0) for n in names])
        shares[[n in PLACED for n in names]] += np.where(self.unknown, -np.inf, 0.0)
        room, number = shares.max(0), shares.argmax(0)
        lost = self.unknown & (room <= 0) & ~self.refused()
        room, number = np.where(lost, np.inf, room), np.where(lost, -1, number)
        return np.where(self.refused(), np.nan, room), number

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
    key = common_key(first, second)
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


def _shift(trials: Trials) -> dict[str, Array]:
    """What the fine mesh adds to each value of the case as it is."""
    fine, coarse = trials.fine(trials.case, ""), trials.base
    both = fine.excess.keys() & coarse.excess.keys()
    found = {n: np.array([fine.excess[n] - coarse.excess[n]]) for n in both}
    if fine.placed is not None and coarse.placed is not None:
        found |= {n: value(fine) - value(coarse) for n, value in PLACED.items()}
        found["buckling"] = _load(fine) - _load(coarse)
    return found


def common_key(first: Setting, second: Setting) -> str:
    """A key that tells what both leave alone: but for their heat both bodies, else nothing, ''."""
    keys = first.key, second.key
    alone = all(is_as_stiff(k) and leaves_membrane(k) and not k.endswith(ELASTIC) for k in keys)
    return first.key if alone else ""


def _off(made: Chart, between: Mapping[tuple[float, float], Trial | None]) -> dict[str, float]:
    steps, bare = np.arange(GRID), replace(made, shift={})
    found: dict[str, float] = {}
    for at, trial in between.items():
        if trial is None:
            continue
        x, y = (np.atleast_1d(np.interp(i, steps, p)) for i, p in zip(at, made.places, strict=True))
        lines = by_name(trial.lines)
        for name, excess in trial.excess.items():
            if name in made.names() and lines[name].value is not None:
                told = float(bare.excess(name, x, y)[0, 0])
                found[name] = max(found.get(name, 0.0), abs(told - excess))
    return found


def _on_grid(
    trials: Mapping[tuple[int, int], Trial | None], value: Callable[[Trial], Array | float]
) -> Array:
    """Values of trials on an even grid; where the case refuses one, of the nearest it allows.

    What is refused is not drawn as allowed.
    """
    known = {at: value(trial) for at, trial in trials.items() if trial is not None}
    steps = range(1 + max(i for i, _ in trials))

    def nearest(i: int, j: int) -> Array | float:
        return known[min(known, key=lambda at: (at[0] - i) ** 2 + (at[1] - j) ** 2)]

    return np.array([[nearest(i, j) for j in steps] for i in steps])


def _largest(row: Array) -> Array:
    """Largest size of values (n, ...) at each of n places; vectors in the last of four axes."""
    if row.ndim == 4:
        row = np.hypot(row[..., 0], row[..., 1])
    flat = row.reshape(len(row), -1)
    return flat[:, 0] if flat.shape[1] == 1 else np.abs(flat).max(1)


def _placed(trial: Trial) -> Placed:
    assert trial.placed is not None  # looked at beforehand
    return trial.placed


def _load(trial: Trial) -> Array:
    return np.array([_placed(trial).load])


PLACED: Mapping[str, Callable[[Trial], Array]] = {  # in the units of the limits: um, ppm, um
    "placement": lambda trial: 1e6 * _placed(trial).aligned,
    "magnification": lambda trial: 1e6 * _placed(trial).scale,
    "blur": lambda trial: np.array([1e6 * _placed(trial).blur]),
}
