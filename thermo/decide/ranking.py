"""What moves what: how far a little more of each input moves every value beside a limit.

'Little more' is a tenth, of a temperature one kelvin, of a scale ten ppm.  Highest temperatures of
a settled case come from their derivatives (`answer.sensitivity`), first order in the change; all
other values from a coarse trial with the input changed.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from thermo.answer.left_alone import ELASTIC
from thermo.answer.sensitivity import PeakInfluences, number_at, peak_influences
from thermo.case import Case, Filter, input_at, ranges
from thermo.decide.setting import FILTER, KEYS, Setting, setting_of
from thermo.decide.trial import Trial, Trials
from thermo.errors import CaseError, PhysicsError
from thermo.materials import PROPERTY_KINDS
from thermo.solve import at_once, one_blas_thread

Tell = Callable[[str, float], None]
TENTH, KELVIN, PPM = 0.1, 1.0, 1e-5


@dataclass(frozen=True)
class Mover:
    """A little more of one input: the step in words, and what it changes by limit, in its unit.

    word : how it is spoken of;  ours : whether it is a setting to turn, not a property of the stack
    time : change of the exposure time, s
    """

    key: str
    word: str
    step: str
    changes: Mapping[str, float]
    time: float
    ours: bool

    @property
    def name(self) -> str:
        """A foil by its material, anything else by its key."""
        return self.word if self.word.startswith(FILTER) else self.key


def our_settings(case: Case) -> list[Setting]:
    """The settings of this case that its user can turn: those with a word, and its foils."""
    found = [setting_of(case, w) for w, key in KEYS.items() if input_at(case, key) is not None]
    foils = dict.fromkeys(f.material for f in case.beam.filters if isinstance(f, Filter))
    return found + [setting_of(case, f"filter:{name}") for name in foils]


@one_blas_thread()
def movers(
    trials: Trials,
    everything: bool = False,
    tell: Tell = lambda *_: None,
    among: frozenset[str] | None = None,
) -> tuple[Mover, ...]:
    """What a little more of every setting does.

    everything : of every input with a range too;  among : of settings with these keys alone,
        'filter:' for the last foil and the spare ones: what is before it is mostly the beamline's
    """
    case = trials.case
    ours = our_settings(case)
    spare = [(setting_of(case, FILTER + f.material), f) for f in case.beam.spare_filters]
    if among is not None:
        last = [f.material for f in case.beam.filters if isinstance(f, Filter)][-1:]
        foils = [setting_of(case, FILTER + name) for name in last if FILTER in among]
        ours = [s for s in ours if s.foil is None and s.key in among] + foils
        spare = spare if FILTER in among else []
    known = _influences(trials)
    keys = {s.key for s in ours}
    more = [r.key for r in ranges(case) if r.key not in keys and not isinstance(r.value, str)]
    steps: list[tuple[Setting, Filter | None]] = [*((s, None) for s in ours), *spare]
    steps += [(_input(case, key), None) for key in more if everything]
    found = at_once(
        lambda step: _mover(trials, *step, known, step[0].key in keys or step[1] is not None),
        steps,
        lambda done: tell(steps[done - 1][0].key, done / len(steps)),
    )
    tell("done", 1.0)
    return tuple(mover for mover in found if mover is not None)


def by_effect(found: Iterable[Mover], name: str, least: float) -> list[Mover]:
    """Those that move one value by more than `least`, the strongest first."""
    moving = [m for m in found if abs(m.changes.get(name, 0.0)) > least]
    return sorted(moving, key=lambda m: -abs(m.changes[name]))


def known_values(trial: Trial) -> frozenset[str]:
    """Limits beside which a trial has a value."""
    return frozenset(line.name for line in trial.lines if line.value is not None)


def _influences(trials: Trials) -> PeakInfluences | None:
    """Of the highest temperatures, where nothing else has to be solved for."""
    return None if trials.moved or trials.runs.short else peak_influences(trials.runs)


def _input(case: Case, key: str) -> Setting:
    kind, unit = "ratio", ""
    given = input_at(case, key)
    if given is not None:
        kind, unit = given.kind, given.unit
    elif key.startswith("materials."):
        kind = PROPERTY_KINDS[key.rpartition(".")[2]]
    return Setting(key, key, unit, kind, number_at(case, key), even=True)


def _mover(
    trials: Trials, setting: Setting, spare: Filter | None, known: PeakInfluences | None, ours: bool
) -> Mover | None:
    """One input changed; None where the case refuses that either way, or nothing has a scale.

    spare : a foil that is added as it is, not by a share
    """
    base, present = trials.base, setting.present or 0.0
    steps = {"temperature": KELVIN, "relative": PPM}
    step = steps.get(setting.kind, TENTH * present) if spare is None else spare.thickness.value
    for sign, word in ((1, "more"), (-1, "less")) if spare is None else ((1, "added"),):
        try:
            changed = setting.applied(trials.case, present + sign * step)
            after = _after(trials, changed, setting.key, known)
        except (CaseError, PhysicsError):
            continue
        if step == 0:
            return None
        text = {"temperature": "1 K", "relative": "10 ppm"}.get(setting.kind, "10 %")
        text = text if spare is None else setting.text(step)
        moved = {n: after[0][n] - base.excess[n] for n in after[0] if n in known_values(base)}
        moved |= after[1]
        return Mover(
            setting.key, setting.word, f"{text} {word}", moved, after[2] - base.dose.time, ours
        )
    return None


def _after(
    trials: Trials, case: Case, key: str, known: PeakInfluences | None
) -> tuple[dict[str, float], dict[str, float], float]:
    """Excess of the changed case, changes that are known without it, and its exposure time."""
    if known is not None and (change := _first_order(known, case, key)) is not None:
        light = trials.dose(case)
        return light.excess, change, light.dose.time
    after = trials.coarse(case, key)
    told = known_values(after)
    return {n: v for n, v in after.excess.items() if n in told}, {}, after.dose.time


def _first_order(known: PeakInfluences, case: Case, key: str) -> dict[str, float] | None:
    if key.endswith(ELASTIC):
        return dict.fromkeys(("resist", "mask"), 0.0)
    return known.change(case)
