"""The verdict: go, change, no, or cannot tell; which body limits, why, and what to change.

go           every limit is met at the far end of its band
change       a typical value breaks its limit; with one named setting typical values keep all
no           a typical value breaks its limit, and no single setting of the user's does that; what
             several do together is told; so is less ring current, which is the ring's to give
cannot_tell  typical values keep every limit, but a band reaches over one, or a number that a limit
             needs is not known: the deciding input is named, with how to measure it
"""

from collections.abc import Mapping, Sequence
from math import hypot, inf

from thermo.answer.outcome import Judged
from thermo.answer.schema import LimitLine, Verdict, Word
from thermo.answer.spread import Band
from thermo.decide.advice import Change
from thermo.units import three_digits

MEASURE: Mapping[str, str] = {
    "sample.joint.resistance": "measure the joint: a thermometer at the sample's edge, or the "
    "cool-down time after the shutter closes (one in the holder cannot see it)",
    "sample.joint.thickness": "measure the joint's thickness after pressing",
    "gap.width": "measure the gap over the field with the parts mounted",
    "mask.frame.cooling": "measure the frame: a thermometer on it during a short exposure",
    "chamber.accommodation_mask": "time the mask's cool-down at two gas pressures",
    "chamber.accommodation_sample": "time the mask's cool-down at two gas pressures",
    "mask.absorber.kind": "look at the pattern: is the metal connected or islands",
    "mask.absorber.coverage": "take the coverage from the pattern data, in rows",
    "mask.membrane.tension": "measure the membrane's tension by its first resonance",
}
MATERIAL = "measure it on a piece of the same batch, or ask the maker"


def limit_lines(
    judged: Sequence[Judged], bands: Mapping[str, Band], mesh: Mapping[str, float]
) -> tuple[LimitLine, ...]:
    """Each limit with its value, band, margin, and whether it is met.

    mesh : what the mesh leaves open of each value, to both sides
    """
    return tuple(_line(j, bands.get(j.name), mesh.get(j.name, 0.0)) for j in judged)


def _line(j: Judged, band: Band | None, mesh: float) -> LimitLine:
    low = high = margin = None
    met: bool | None = None
    if j.value is not None:
        down, up = (band.down, band.up) if band else (0.0, 0.0)
        low = j.value - hypot(down, j.model[0], mesh)
        high = j.value + hypot(up, j.model[1], mesh)
        margin = j.limit - j.value
        met = False if margin < 0 else (True if high <= j.limit and not j.at_most else None)
        met = None if j.beyond and margin < 0 else met
    return LimitLine(
        name=j.name,
        part=j.part,
        unit=j.unit,
        value=j.value,
        low=low,
        high=high,
        limit=j.limit,
        limit_from=j.source,
        margin=margin,
        met=met,
        note=j.note,
    )


OWN = ("buckling", "contact")  # limits that no case names
TRIFLE = 1e-3  # of a limit: an effect that is not worth a line


def verdict(
    lines: Sequence[LimitLine], bands: Mapping[str, Band], changes: Sequence[Change]
) -> Verdict:
    """The verdict over all limits."""
    broken = [line for line in lines if line.met is False]
    open_ = [line for line in lines if line.met is None]
    if all(line.limit_from in OWN for line in lines) and not broken:
        reasons = ["the case names no limit: give one under [limits]"]
        reasons += [_open_reason(line, bands.get(line.name)) for line in open_]
        return _verdict("cannot_tell", None, reasons)
    if broken:
        return _broken(broken, open_, bands, changes)
    if open_:
        known = [line for line in open_ if line.value is not None]
        first = min(known, key=_room_share) if known else open_[0]
        reasons = [_open_reason(line, bands.get(line.name)) for line in open_]
        if len(open_) < len(lines):
            reasons.append("every other limit is met over its whole band")
        advice = dict.fromkeys(_measure(line, bands.get(line.name)) for line in open_)
        return _verdict("cannot_tell", first.part, reasons, [a for a in advice if a])
    first = min(lines, key=_room_share)
    reason = (
        f"every limit is met over its whole band; the tightest is {first.name.replace('_', ' ')}: "
        f"{_value(first.high, first.unit)} at most, limit {_value(first.limit, first.unit)}"
    )
    return _verdict("go", first.part, [reason])


def with_more(
    said: Verdict, reasons: Sequence[str], exceeded: bool, tension: float | None
) -> Verdict:
    """The verdict with what stress adds.

    exceeded : a part is above its strength, so nothing is "go"
    tension : Pa, that would keep a buckled membrane flat
    """
    advice = said.advice
    word: Word = "cannot_tell" if exceeded and said.word == "go" else said.word
    if tension is not None:
        words = f"stretch the membrane: it stays flat from {tension / 1e6:.2g} MPa of tension on"
        advice = (*advice, words)
    return said.model_copy(
        update={"word": word, "reasons": (*said.reasons, *reasons), "advice": advice}
    )


def _broken(
    broken: Sequence[LimitLine],
    open_: Sequence[LimitLine],
    bands: Mapping[str, Band],
    changes: Sequence[Change],
) -> Verdict:
    cured = any(c.cures and c.ours and c.alone for c in changes)
    word: Word = "change" if cured else "no"
    reasons = [
        f"{_words(line)} {_value(line.value, line.unit)}, limit "
        f"{_value(line.limit, line.unit)}" + (f" ({line.note})" if line.note else "")
        for line in broken
    ]
    reasons += [_open_reason(line, bands.get(line.name)) for line in open_]
    worst = min(broken, key=_room_share)
    ordered = sorted(changes, key=lambda c: (not (c.cures and c.ours), not c.cures))
    before = {line.name for line in open_ if line.value is not None and line.value > line.limit}
    advice = [_change_text(c, broken, before) for c in ordered if c.cures]
    tried = [_change_text(c, broken, before) for c in ordered if not c.cures and _helps(c, broken)]
    if changes and not any(c.cures and c.ours for c in changes):
        others = ", nor several of yours together" if sum(c.ours for c in changes) > 1 else ""
        advice.append(
            f"no setting was found to cure every limit alone{others}: the stack itself may have to "
            "change, or the limits"
        )
    if any(line.name == "resist" and line.value for line in broken):
        advice.append(
            "more gas or a narrower gap does not help the resist: it takes the mask's heat"
        )
    return _verdict(word, worst.part, reasons, advice, tried)


def _verdict(
    word: Word,
    limited_by: str | None,
    reasons: Sequence[str],
    advice: Sequence[str] = (),
    tried: Sequence[str] = (),
) -> Verdict:
    return Verdict(
        word=word,
        limited_by=limited_by,
        reasons=tuple(reasons),
        advice=tuple(advice),
        tried=tuple(tried),
    )


def _helps(change: Change, broken: Sequence[LimitLine]) -> bool:
    """Whether a change brings any broken value nearer to its limit by more than a trifle."""
    return any(
        line.value is not None
        and line.value - change.values.get(line.name, -inf) > TRIFLE * abs(line.limit)
        for line in broken
    )


def _change_text(change: Change, broken: Sequence[LimitLine], before: set[str]) -> str:
    """One line of advice; before: limits not counted as broken that lie below their values."""
    effects = ", ".join(_effect(line, change) for line in broken if line.value is not None)
    end = ": typical values then keep every known limit"
    if not change.cures:
        known = before | {line.name for line in broken}
        new = [name.replace("_", " ") for name in change.breaks if name not in known]
        end = f", but breaks {' and '.join(new)}" if new else ""
    return f"{change.text}: {effects}, {_time(change.time)}{end}"


def _effect(line: LimitLine, change: Change) -> str:
    """What becomes of one broken value, and of its limit where that moves."""
    before = f"{_words(line)} {three_digits(line.value or 0.0)}"
    if line.name not in change.values:
        known = line.name in change.excess
        return f"{before} -> {'no longer known' if known else 'kept'}"
    limit = change.limits.get(line.name)
    moved = "" if limit is None else f" of {_value(limit, line.unit)}"
    return f"{before} -> {_value(change.values[line.name], line.unit)}{moved}"


def _time(s: float) -> str:
    return f"{s:.0f} s" if s < 120 else f"{s / 60:.3g} min"


def _open_reason(line: LimitLine, band: Band | None) -> str:
    name = _words(line)
    if line.value is None:
        return f"{name} is not known: {line.note}"
    if line.value > line.limit:
        return f"{name} {_value(line.value, line.unit)}: {line.note}"
    if line.high is not None and line.high > line.limit:
        known = band is not None and band.decider and band.up >= (line.high - line.value) / 2
        decider = f", most by {band.decider}" if band and known else ""
        decider = decider or (
            f": {line.note}" if line.note else " by what model and mesh leave open"
        )
        return (
            f"{name} {_value(line.value, line.unit)} keeps its limit "
            f"{_value(line.limit, line.unit)}, but may reach "
            f"{_value(line.high, line.unit)}{decider}"
        )
    return f"{name}: the limit itself is an upper bound only ({line.note})"


def _measure(line: LimitLine, band: Band | None) -> str | None:
    if line.value is None or band is None or band.decider is None:
        return None
    if line.high is None or line.high <= line.limit:
        return "test the resist's softening at this dose: there are no published data"
    how = MEASURE.get(
        band.decider, MATERIAL if band.decider.startswith("materials.") else "measure it"
    )
    return f"{_words(line)} hangs on {band.decider}: {how}"


def _words(line: LimitLine) -> str:
    return line.name.replace("_", " ")


def _room_share(line: LimitLine) -> float:
    """Room left at the far end of the band, as a share of the limit."""
    far = line.high if line.high is not None else line.limit
    return (line.limit - far) / abs(line.limit or 1.0)


def _value(value: float | None, unit: str) -> str:
    return "not known" if value is None else f"{three_digits(value)} {unit}".strip()
