"""What to change: the smallest single change that cures, then changes together.

Each lever is tried on the model at the end of its reach, and then as far back as all limits still
hold.  Where none of the user's cures alone, two, three or four are turned together by the same
share of their reach; those are tried first of which their single effects promise most.  A change
that breaks a limit that was kept, of the dose too, cures nothing.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from scipy.interpolate import PchipInterpolator

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.left_alone import ELASTIC, is_as_stiff
from thermo.answer.outcome import Judged, Outcome
from thermo.decide.levers import Lever, levers_of
from thermo.decide.shift import shift_of
from thermo.decide.trial import by_name
from thermo.errors import CaseError, PhysicsError

ROOM = 5e-3  # of a limit that was broken: how far inside it a cure is put
SLACK = 0.1  # of a limit: sets that single effects leave so far above it are still tried
TRIES = 4  # runs of one change on the way back from its end
BACK = 0.95  # of a share that cures: a smaller one is not looked for above this
CLOSE = 0.01  # of a share: how near to one that does not cure another is tried
SETS = 3  # sets of as many levers that are tried
MOST = 4  # levers together
SHARES = np.linspace(0, 1, 401)
TRIFLE = 1e-9  # of a limit: round-off

Tell = Callable[[str, float], None]


@dataclass(frozen=True)
class Change:
    """Settings changed and what typical values then are beside the limits; time in s.

    excess : how far each known value lies above its limit, in its unit;  limits : those that moved
    ours : whether it is the user's own to make;  share : of the levers' reach
    """

    text: str
    values: Mapping[str, float]
    excess: Mapping[str, float]
    time: float
    ours: bool
    levers: tuple[Lever, ...] = ()
    share: float = 1.0
    limits: Mapping[str, float] = field(default_factory=dict)

    @property
    def cures(self) -> bool:
        """Whether typical values then keep every known limit."""
        return not self.breaks

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
    alone.sort(key=lambda c: (not c.cures, c.share if c.cures else search.worst(c.excess), c.time))
    if not alone or any(c.cures and c.ours for c in alone):
        return alone
    together = search.together([c for c in alone if c.ours], tell)
    return alone if together is None else [together, *alone]


class _Search:
    """Changes of one case tried on the coarse mesh."""

    def __init__(self, outcome: Outcome, runs: CoarseRuns) -> None:
        self.outcome, self.runs = outcome, runs
        self.shift = shift_of(outcome, runs.rough)
        self.before = by_name(outcome.judged)
        self.start = {n: j.over for n, j in self.before.items() if j.over is not None}
        self.broken = {n for n, over in self.start.items() if over > 0}

    def smallest(self, levers: tuple[Lever, ...]) -> Change | None:
        """The least share of the reach that cures, else the end of it; None where it is refused."""
        known: dict[float, Mapping[str, float]] = {0.0: self.start}
        cure: Change | None = None
        far: Change | None = None
        share, aimed = 1.0, all(lever.aimed for lever in levers)
        for _ in range(TRIES):
            found = self._tried(levers, share)
            if found is not None:
                known[share] = found.excess
                far = far or found
                if found.cures and (cure is None or share < cure.share):
                    cure = found
            if aimed:
                break
            least = share / 2 if found is None else self._least(known, cure is None)
            near = (1 - BACK if cure else CLOSE) * (least or 0.0)
            if least is None or min(abs(least - s) for s in known) <= near:
                break
            share = least
        return cure or far

    def together(self, alone: Sequence[Change], tell: Tell) -> Change | None:
        """The first set that cures: of as few levers as do, those first that promise most."""
        for count in range(2, min(MOST, len(alone)) + 1):
            sets = [
                (self._promise(some), some)
                for some in combinations(alone, count)
                if len({c.levers[0].what for c in some}) == count
            ]
            likely = sorted((s for s in sets if s[0][0] <= SLACK), key=lambda s: s[0])
            for _, some in likely[:SETS]:
                tell(f"{count} settings together", 0.5 + 0.5 * (count - 2) / (MOST - 1))
                found = self.smallest(tuple(c.levers[0] for c in some))
                if found is not None and found.cures:
                    return found
        return None

    def worst(self, excess: Mapping[str, float]) -> float:
        """The largest excess as a share of its limit."""
        return max(over / self._scale(name) for name, over in excess.items())

    def _scale(self, name: str) -> float:
        return self.before[name].scale if name in self.before else 1.0

    def _promise(self, some: Sequence[Change]) -> tuple[float, float]:
        """What single effects promise: excess at the end as a share of its limit, 0 if kept; share.

        Of each value the lower of two guesses: effects add up; rises multiply.
        """
        end = {
            name: min(self._added(name, some), self._multiplied(name, some)) for name in self.start
        }
        least = self._least({0.0: self.start, 1.0: end})
        return max(self.worst(end), 0.0), 1.0 if least is None else least

    def _added(self, name: str, some: Sequence[Change]) -> float:
        moved = (c.excess.get(name, -self._scale(name)) - self.start[name] for c in some)
        return self.start[name] + sum(moved)

    def _multiplied(self, name: str, some: Sequence[Change]) -> float:
        line = self.before[name]
        cold = self.shift.warmest if line.unit == "degC" else 0.0
        rise = self.start[name] + line.limit - cold
        if rise <= 0:
            return np.inf
        for c in some:
            after = c.excess.get(name, -self._scale(name)) + line.limit - cold
            rise *= max(after, 0.0) / (self.start[name] + line.limit - cold)
        return rise + cold - line.limit

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
        return Change(
            texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]} together",
            self._values(after.judged),
            self._excess(after.judged),
            after.dose.time,
            all(lever.ours for lever in levers),
            levers,
            share,
            self._moved_limits(after.judged),
        )

    def _values(self, judged: Iterable[Judged]) -> dict[str, float]:
        found = {j.name: self.shift.value(j) for j in judged}
        return {name: value for name, value in found.items() if value is not None}

    def _excess(self, judged: Iterable[Judged]) -> dict[str, float]:
        """How far values lie above their limits; one no longer known by as much as its limit.

        One that is not known in the case as it is either is left out.
        """
        over = {j.name: (j, self.shift.over(j)) for j in judged}
        return {
            name: j.scale if excess is None else excess
            for name, (j, excess) in over.items()
            if excess is not None or name in self.start
        }

    def _moved_limits(self, judged: Iterable[Judged]) -> dict[str, float]:
        """Limits that the change moves, as the dose moves that of softening."""
        coarse = self.shift.coarse
        return {
            j.name: self.before[j.name].limit + j.limit - coarse[j.name].limit
            for j in judged
            if j.name in self.before and j.name in coarse and j.limit != coarse[j.name].limit
        }

    def _least(
        self, known: Mapping[float, Mapping[str, float]], hopeful: bool = False
    ) -> float | None:
        """The least share at which all limits hold, by monotone cubics between known ones.

        A limit that was kept may keep as little room as it had.
        hopeful : where no share keeps all, the least that keeps those that were broken, once
        """
        shares = sorted(known)
        names = [*self.start]
        over = np.array(
            [[known[s].get(n, -self._scale(n)) / self._scale(n) for n in names] for s in shares]
        )
        broken = np.array([n in self.broken for n in names])
        room = np.where(broken, -ROOM, np.maximum(-ROOM, over[0]))
        inside = PchipInterpolator(shares, over)(SHARES) <= room + TRIFLE
        least = SHARES[inside.all(axis=1)]
        if not len(least) and hopeful and len(shares) == 2:
            least = SHARES[inside[:, broken].all(axis=1)]
        return float(least[0]) if len(least) else None


def _key(levers: tuple[Lever, ...]) -> str:
    """The input that stands for all of them in what a changed case takes over."""
    keys = [lever.setting.key for lever in levers]
    warm = [key for key in keys if not key.endswith(ELASTIC)]
    if len(keys) == 1 or not warm:
        return keys[0]
    return warm[0] if all(map(is_as_stiff, keys)) else ""
