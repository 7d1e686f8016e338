"""What to change: the smallest single change that cures, then changes together.

Each lever is tried on the model at the end of its reach, and then as far back as all limits still
hold.  Where none cures alone, two, three or four are turned together by the same share of their
reach; which of them are tried is told by the sum of their single effects, which is the most they
can do together: each takes a share of what the others leave.  A change that breaks a limit that
was kept, of the dose too, cures nothing.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from thermo.answer.outcome import Judged, Outcome
from thermo.answer.spread import ELASTIC, CoarseRuns, is_as_stiff
from thermo.decide.levers import Lever, levers_of
from thermo.decide.trial import by_name
from thermo.errors import CaseError, PhysicsError

Array = NDArray[np.float64]
ROOM = 5e-3  # of a limit: how far inside it a cure is put
TRIES = 4  # runs of one change on the way back from its end
BACK = 0.95  # of a share that cures: a smaller one is not looked for above this
SETS = 3  # sets of as many levers that are tried
MOST = 4  # levers together
SHARES = np.linspace(0, 1, 401)

Tell = Callable[[str, float], None]


@dataclass(frozen=True)
class Change:
    """Settings changed and what typical values then are beside the limits; time in s.

    cures : typical values then keep every known limit;  ours : it is the user's own to make
    """

    text: str
    values: Mapping[str, float]
    time: float
    cures: bool
    ours: bool
    levers: tuple[Lever, ...] = ()
    share: float = 1.0
    excess: Mapping[str, float] = field(default_factory=dict)

    @property
    def breaks(self) -> list[str]:
        """Limits that are broken then."""
        return [name for name, over in self.excess.items() if over > 0]

    @property
    def alone(self) -> bool:
        """Whether it is one setting."""
        return len(self.levers) < 2


def advise(
    outcome: Outcome, runs: CoarseRuns, current: float | None, tell: Tell = lambda *_: None
) -> list[Change]:
    """Every lever of every broken limit alone, and what cures together where none does alone.

    current : highest ring current that keeps the temperature limits, A
    """
    broken = [j.name for j in outcome.judged if j.over is not None and j.over > 0]
    search = _Search(outcome, runs)
    levers = list(levers_of(outcome, runs, current, broken))
    alone = []
    for done, lever in enumerate(levers):
        tell(f"what {lever.setting.key} does", done / (2 * len(levers)))
        found = search.smallest((lever,))
        alone += [] if found is None else [found]
    alone.sort(key=lambda c: (not c.cures, c.share if c.cures else search.worst(c), c.time))
    if not alone or any(c.cures and c.ours for c in alone):
        return alone
    together = search.together([c for c in alone if c.ours], tell)
    return alone if together is None else [together, *alone]


@dataclass
class _Search:
    outcome: Outcome
    runs: CoarseRuns

    def smallest(self, levers: tuple[Lever, ...]) -> Change | None:
        """The least share of the reach that cures, else the end of it; None where it is refused."""
        known: dict[float, Mapping[str, float]] = {0.0: self._excess(self.outcome.judged, {})}
        cure: Change | None = None
        far: Change | None = None
        share = 1.0
        for _ in range(TRIES):
            found = self._tried(levers, share)
            if found is None:
                break
            known[share] = found.excess
            far = far or found
            cure = found if found.cures and (cure is None or share < cure.share) else cure
            least = self._least(known)
            if least is None or all(lever.aimed for lever in levers):
                break
            if min(abs(least - s) for s in known) < (1 - BACK) * least:
                break
            share = least
        return cure or far

    def together(self, alone: Sequence[Change], tell: Tell) -> Change | None:
        """The first set that cures: as few levers as do, those that need least of their reach."""
        start = self._excess(self.outcome.judged, {})
        for count in range(2, min(MOST, len(alone)) + 1):
            sets = []
            for some in combinations(alone, count):
                if len({c.levers[0].setting.key for c in some}) < count:
                    continue  # the same foil twice
                share = self._least({0.0: start, 1.0: _summed(start, some)})
                sets += [] if share is None else [(share, some)]
            for _, some in sorted(sets, key=lambda one: one[0])[:SETS]:
                tell(f"{count} settings together", 0.5 + 0.5 * (count - 2) / (MOST - 1))
                found = self.smallest(tuple(c.levers[0] for c in some))
                if found is not None and found.cures:
                    return found
        return None

    def worst(self, change: Change) -> float:
        """The largest excess of a change, as a share of its limit."""
        limits = {j.name: abs(j.limit) or 1.0 for j in self.outcome.judged}
        return max(over / limits.get(name, 1.0) for name, over in change.excess.items())

    def _tried(self, levers: tuple[Lever, ...], share: float) -> Change | None:
        """Settings at a share of their reach on the coarse mesh; None where they are refused."""
        case, texts = self.outcome.scene.case, []
        try:
            for lever in levers:
                value = lever.value(share)
                case = lever.setting.applied(case, value)
                texts.append(lever.text(value))
            after = self.runs.changed(case, _key(levers), far=True)
        except (CaseError, PhysicsError):
            return None
        shift = self._shift()
        excess = self._excess(after.judged, shift)
        values = {
            j.name: j.value + shift.get(j.name, 0.0) for j in after.judged if j.value is not None
        }
        cures = all(over <= 0 for over in excess.values())
        ours = all(lever.ours for lever in levers)
        text = texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]} together"
        return Change(text, values, after.dose.time, cures, ours, levers, share, excess)

    def _shift(self) -> dict[str, float]:
        """What the fine mesh adds to each value."""
        coarse = self.runs.rough.values
        return {n: v - coarse[n] for n, v in self.outcome.values.items() if n in coarse}

    def _excess(self, judged: Iterable[Judged], shift: Mapping[str, float]) -> Mapping[str, float]:
        """How far values lie above their limits; one no longer known by as much as its limit.

        One that is not known in the case as it is either is left out.
        """
        before = by_name(self.outcome.judged)
        return {
            j.name: abs(j.limit) if j.over is None else j.over + shift.get(j.name, 0.0)
            for j in judged
            if j.over is not None or (j.name in before and before[j.name].over is not None)
        }

    def _least(self, known: Mapping[float, Mapping[str, float]]) -> float | None:
        """The least share at which all limits hold, by monotone cubics between known ones."""
        limits = {j.name: abs(j.limit) or 1.0 for j in self.outcome.judged}
        shares = sorted(known)
        names = [n for n in limits if all(n in known[s] for s in shares)]
        over = np.array([[known[s][n] / limits[n] for n in names] for s in shares])
        worst: Array = PchipInterpolator(shares, over)(SHARES).max(axis=1)
        inside = SHARES[worst <= -ROOM]
        return float(inside[0]) if len(inside) else None


def _key(levers: tuple[Lever, ...]) -> str:
    """The input that stands for all of them in what a changed case takes over."""
    keys = [lever.setting.key for lever in levers]
    warm = [key for key in keys if not key.endswith(ELASTIC)]
    if len(keys) == 1 or not warm:
        return keys[0]
    return warm[0] if all(map(is_as_stiff, keys)) else ""


def _summed(start: Mapping[str, float], some: Iterable[Change]) -> dict[str, float]:
    """Excess if the single effects add up."""
    found = dict(start)
    for change in some:
        for name in found:
            found[name] += change.excess.get(name, start[name]) - start[name]
    return found
