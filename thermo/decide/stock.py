"""What is in stock compared: the same case with each choice, worked out whole, best first."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.outcome import Outcome, run_once
from thermo.answer.peak_bands import peak_bands
from thermo.answer.scene import describe, mesh
from thermo.answer.spread import Band
from thermo.answer.temperature import hottest
from thermo.case import Case, read_case
from thermo.decide.setting import FILTER, SettingError, setting_of
from thermo.decide.trial import OWN
from thermo.errors import CaseError, PhysicsError, QuantityError, shown
from thermo.solve import at_once, one_blas_thread
from thermo.units import parse_quantity

Tell = Callable[[str, float], None]
MEMBRANE = "membrane"  # its choices name material, thickness and tension
MOST = 24  # choices


@dataclass(frozen=True)
class Choice:
    """One choice worked out; SI, temperatures K.

    broken : limits of the case that typical values break or that are not known
    worst : excess of the limit with least room, as a share of the limit; negative: room
    scale, left, blur, split : of the printed pattern, largest over the depth; None once the
        membrane has buckled
    tension : lowest stress left in the clear membrane at its hottest, Pa; below 0 it is pushed
    bands : of the peaks by the ranges of the inputs alone, K, where they are known
    refused : why it could not be worked out, then all else is None
    """

    name: str
    outcome: Outcome | None
    broken: tuple[str, ...]
    worst: float
    resist: float | None = None
    mask: float | None = None
    scale: float | None = None
    left: float | None = None
    blur: float | None = None
    split: float | None = None
    tension: float | None = None
    bands: Mapping[str, Band] = field(default_factory=dict)
    refused: str = ""

    @property
    def may_break(self) -> list[str]:
        """Limits of temperature that typical values keep and the far end of their band breaks."""
        if self.outcome is None:
            return []
        kept = [j for j in self.outcome.judged if j.over is not None and j.over <= 0]
        room = {
            j.name: self.bands[j.name].up + (j.over or 0.0) for j in kept if j.name in self.bands
        }
        return [name for name, over in room.items() if over > 0]

    @property
    def holds(self) -> bool:
        """Whether typical values keep every limit of the case."""
        return not self.refused and not self.broken


@one_blas_thread()
def compare(
    cases: Mapping[str, Case], still: bool = False, tell: Tell = lambda *_: None
) -> tuple[Choice, ...]:
    """Every choice on the fine mesh: first those that keep every limit, most room first."""
    names = [*cases]
    found = at_once(
        lambda name: _choice(name, cases[name], still),
        names,
        lambda done: tell(names[done - 1], done / len(names)),
    )
    tell("done", 1.0)
    return tuple(sorted(found, key=lambda c: (bool(c.refused), len(c.broken) > 0, c.worst)))


def _choice(name: str, case: Case, still: bool) -> Choice:
    try:
        runs = CoarseRuns(case, still)
        scene = replace(describe(case, still), gap_change=runs.gap_change)
        outcome = run_once(*runs.fine(scene, mesh(scene)))
    except PhysicsError as error:
        return Choice(name, None, (), 0.0, refused=str(error))
    lines = [line for line in outcome.judged if line.name not in OWN]
    broken = tuple(line.name for line in lines if line.over is None or line.over > 0)
    worst = max(
        (1.0 if j.over is None else j.over / abs(j.limit or 1.0) for j in lines), default=0.0
    )
    state, membrane, expansion = outcome.state, outcome.membrane, outcome.expansion
    bands = _bands(case, runs)
    resist, *of_mask = (
        float(state.peak[hottest(state, part)])
        for part in (scene.stack.resist.name, "membrane", "absorber")
    )
    mask = max(of_mask)
    choice = Choice(
        name, outcome, broken, worst, resist, mask, tension=membrane.stress[0], bands=bands
    )
    if expansion is None or not membrane.is_flat:
        return choice
    fits, printed = expansion.fits, expansion.printed
    return replace(
        choice,
        scale=max((f.magnification for f in fits), key=abs),
        left=max(float((f.residual**2).sum(-1).max()) ** 0.5 for f in fits),
        blur=float(printed.blur.max()),
        split=float(printed.split.max()),
    )


def _bands(case: Case, runs: CoarseRuns) -> dict[str, Band]:
    """Bands of the peaks; none of an exposure of few passes, or where an end cannot be run."""
    if runs.short:
        return {}
    try:
        return peak_bands(case, runs)
    except (CaseError, PhysicsError):
        return {}


def choices_of(
    case: Case, settings: Mapping[str, str], word: str | None, among: Sequence[str]
) -> dict[str, Case]:
    """Cases by the text of each choice.

    A choice is a value of the setting `word`; for 'membrane' a material, its thickness and its
    tension; or, without a word, KEY=VALUE, several joined by ' + '.  The file is read again with
    it, so that all that hangs on it is checked and assumed anew.
    settings : those given for every choice

    Raises
    ------
    SettingError : a choice that cannot be read, or none
    CaseError : a choice that the case refuses, with its name before each fault
    """
    texts = [text.strip() for text in among if text.strip()]
    if not 2 <= len(texts) <= MOST:
        raise SettingError(
            f"--among names {len(texts)} choices; allowed: 2 .. {MOST}, with commas between them"
        )
    if len(set(texts)) < len(texts):
        raise SettingError("--among names a choice twice; leave one out")
    found = {}
    for text in texts:
        try:
            found[text] = _case_of(case, settings, word, text)
        except CaseError as error:
            faults = tuple(replace(f, file=f"--among {shown(text)}", line=0) for f in error.faults)
            raise CaseError(faults) from None
    return found


def _case_of(case: Case, settings: Mapping[str, str], word: str | None, text: str) -> Case:
    if word is None:
        return read_case(case.path, {**settings, **_pairs(text)})
    if word == MEMBRANE:
        return read_case(case.path, {**settings, **_membrane(text)})
    if word in WORDED:
        return read_case(case.path, {**settings, word: text})
    setting = setting_of(case, word)
    try:
        value = parse_quantity(text, setting.kind)
    except QuantityError as error:
        raise SettingError(f"--among: {error}") from None
    if word.startswith(FILTER):
        return setting.applied(case, value.value)
    return read_case(case.path, {**settings, setting.key: text})


WORDED = (  # keys whose values are words
    "sample.held",
    "mask.frame.held",
    "mask.frame.mount",
    "mask.frame.material",
    "mask.absorber.material",
    "mask.absorber.kind",
    "chamber.gas",
    "sample.holder.material",
)


def _pairs(text: str) -> dict[str, str]:
    found = {}
    for pair in text.split(" + "):
        key, sign, value = pair.partition("=")
        if not (sign and key.strip() and value.strip()):
            raise SettingError(
                f"--among: '{shown(pair)}' is no KEY=VALUE; write 'scan.speed=25 mm/s + "
                "gap.width=150 um', or name the setting with --for"
            )
        found[key.strip()] = value.strip()
    return found


def _membrane(text: str) -> dict[str, str]:
    """'titanium 2.5 um 80 MPa' as settings."""
    parts = text.split()
    if len(parts) not in (3, 5):
        raise SettingError(
            f"--among: '{shown(text)}' is no membrane; write material, thickness and tension as in "
            "'titanium 2.5 um 80 MPa'"
        )
    found = {"mask.membrane.material": parts[0], "mask.membrane.thickness": " ".join(parts[1:3])}
    if len(parts) == 5:
        found["mask.membrane.tension"] = " ".join(parts[3:])
    return found
