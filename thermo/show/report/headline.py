"""The five numbers of the first screen, each with its error and limit."""

from dataclasses import dataclass

from thermo.answer import Answer
from thermo.answer.schema import LimitLine
from thermo.show.words import duration, spoken
from thermo.units import three_digits

FIVE = (  # limit's name, words
    ("resist", "resist, highest"),
    ("mask", "mask, highest"),
    ("placement", "pattern placed off by"),
    ("blur", "edge blur by heat"),
    ("exposure_time", "exposure time"),
)
BROKEN = ("broken", "exceeded")
MET = {True: "met", False: "broken", None: "open"}


@dataclass(frozen=True)
class Headline:
    """One number: what it is, the value, what it may be, the limit, how they stand, a note."""

    name: str
    value: str
    band: str
    limit: str
    state: str
    note: str = ""


def broken_words(answer: Answer) -> str:
    """Limits that typical values lie above, the farthest first, as a share of the limit."""
    over = {
        j.name: (j.value - j.limit) / (abs(j.limit) or 1.0)
        for j in answer.limits
        if j.value is not None and j.value > j.limit
    }
    return ", ".join(spoken(name) for name in sorted(over, key=lambda name: -over[name]))


def headlines(answer: Answer) -> list[Headline]:
    """Highest temperatures, placement, blur and time, beside the limits of the case."""
    lines = {line.name: line for line in answer.limits}
    return [
        _of_limit(words, lines[name]) if name in lines else _of_answer(name, words, answer)
        for name, words in FIVE
    ]


def other_limits(answer: Answer) -> list[Headline]:
    """The limits that are not among the five, those that are broken first."""
    first = {name for name, _ in FIVE}
    others = [_of_limit(spoken(j.name), j) for j in answer.limits if j.name not in first]
    return sorted(others, key=lambda h: h.state not in BROKEN)


def _of_limit(words: str, line: LimitLine) -> Headline:
    limit = f"{three_digits(line.limit)} {line.unit}".strip()
    state = MET[line.met]
    if line.met is None and line.value is not None and line.value > line.limit:
        state = "exceeded"
    if line.value is None:
        return Headline(words, "not known", line.note, limit, state)
    band = ""
    if line.low is not None and line.high is not None:
        band = f"{three_digits(line.low)} .. {three_digits(line.high)}"
    value = f"{three_digits(line.value)} {line.unit}".strip()
    most = "at most " if line.met is None and "at most this" in line.note else ""
    return Headline(words, value, band, f"{most}{limit}", state, line.note)


def _of_answer(name: str, words: str, answer: Answer) -> Headline:
    """A number the case sets no limit to: its error is what the mesh leaves open."""
    difference = answer.mesh.difference_on_refinement or {}
    if name == "exposure_time":
        return Headline(words, duration(answer.dose.time_s), "", "", "no limit")
    if name in ("resist", "mask"):
        peak = answer.mask_peak_C if name == "mask" else answer.resist_peak_C
        return Headline(
            words,
            f"{three_digits(peak)} degC",
            _mesh(difference.get(f"{name}_peak_K"), "K"),
            "",
            "no limit",
        )
    if answer.placement.reason:
        return Headline(words, "not known", answer.placement.reason, "", "no limit")
    depths = (answer.placement.top, answer.placement.middle, answer.placement.base)
    if name == "placement":
        value = max(d.raw_max_nm for d in depths)
        return Headline(f"{words}, raw", _length(value), "", "", "no limit")
    found = [d.blur_max_nm for d in depths if d.blur_max_nm is not None]
    if not found:
        return Headline(words, "not known", "", "", "no limit")
    return Headline(
        words, _length(max(found)), _mesh(difference.get("blur_nm"), "nm"), "", "no limit"
    )


def _mesh(change: float | None, unit: str) -> str:
    return "" if change is None else f"by the mesh alone +- {change:.2g} {unit}"


def _length(nm: float) -> str:
    return f"{nm / 1e3:.3g} um" if nm >= 1e3 else f"{nm:.3g} nm"
