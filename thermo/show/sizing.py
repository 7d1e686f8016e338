"""What sizing a setting found, as a table that is read in ten seconds, and as JSON."""

import json
from collections.abc import Iterable
from typing import Any

from thermo.answer.outcome import Judged
from thermo.decide import Setting, Sizing
from thermo.decide.ranking import by_effect
from thermo.decide.search import End
from thermo.decide.trial import Trial, near
from thermo.show.words import duration, spoken, wrapped

DECIDES = {  # what decides on a plateau at the lower and at the upper end of a setting
    "chamber.pressure": ("so thin a gas carries hardly any heat", "the gap's width decides"),
    "scan.speed": ("the stripe's own heat decides", "the heat averaged over the scan decides"),
    "sample.joint.resistance": ("the rest of the way to the water decides", ""),
    "sample.holder.film": ("", "the rest of the way to the water decides"),
    "mask.frame.cooling": ("", "the way through membrane and frame decides"),
    "gap.width": ("the layers beside the gap decide", "the gap carries hardly any heat"),
}
MOVERS = 4  # settings named where a limit cannot be kept
SHORT = {
    "dose_under_absorber": "und. metal",
    "dose_ratio": "dose ratio",
    "dose_unevenness": "unevenness",
    "exposure_time": "time",
    "magnification": "scale",
}


def sizing_text(sizing: Sizing, title: str) -> str:
    """Allowed ranges with what binds at each end and what it costs, plain text."""
    rows = [title, *_ranges(sizing), "", *_table(sizing), "", *_turns(sizing), *_notes(sizing)]
    return "\n".join(wrapped(rows)).rstrip() + "\n"


def _ranges(s: Sizing) -> list[str]:
    setting, found = s.setting, []
    looked = f"{setting.text(s.span.low)} .. {setting.text(s.span.high)}"
    which = "the other limits hold" if s.never else "every limit holds"
    for low, high in s.ranges:
        found.append(f"{setting.key}: {which} from {_value(s, low)} to {_value(s, high)}")
        found += [f"  at {_value(s, end)}: {_end(end)}; {_cost(end.trial)}" for end in (low, high)]
    if found and not s.never:
        return found
    rows = [f"{setting.key}: no value in {looked} keeps every limit"]
    for name in s.never:
        at, line = s.nearest(name)
        rows.append(
            f"  {spoken(name)} cannot be kept: {_number(line)} "
            f"{'all along' if s.is_flat(name) else f'at best, at {setting.text(at, 3)}'}, "
            f"limit {line.limit:.4g} {line.unit}".rstrip()
        )
        rows += _movers(s, name, "K" if line.unit == "degC" else line.unit)
    if not found:
        for name in s.curves.names():
            parts = " and ".join(
                f"{setting.text(a)} .. {setting.text(b)}" for a, b in s.alone(name)
            )
            if name not in s.never:
                where = f"in {parts}" if parts else "nowhere, as far as the curves tell"
                rows.append(f"  {spoken(name)} alone holds {where}")
    return rows + found


def _movers(s: Sizing, name: str, unit: str) -> list[str]:
    """The settings that move a limit most, from the present point."""
    best = by_effect(s.movers, name, near(s.curves.line(name)))[:MOVERS]
    if not best:
        return []
    moved = "; ".join(f"{m.name} {m.step} {m.changes[name]:+.2g} {unit}".strip() for m in best)
    return [f"    what moves it most of its usual levers: {moved}"]


def _value(s: Sizing, end: End) -> str:
    return s.setting.text(end.value, 5)


def _end(end: End) -> str:
    if end.binds is not None:
        line = next(j for j in end.trial.lines if j.name == end.binds)
        bound = ", itself an upper bound only" if line.at_most else ""
        return f"{spoken(end.binds)} binds, {_number(line)} at a limit of {line.limit:.4g}{bound}"
    if end.why:
        return f"the case allows no more: {end.why.split(';')[0]}"
    return "the end of what was looked at"


def _cost(t: Trial) -> str:
    count = t.dose.passes
    passes = "" if count is None else f", {count} pass{'' if count == 1 else 'es'}"
    return (
        f"{duration(t.dose.time)}{passes}, dose ratio {t.dose.ratio:.2f}, "
        f"{t.on_mask / 100:.3g} W/cm on the mask"
    )


def _table(s: Sizing) -> list[str]:
    """Every trial, low to high: value beside each limit."""
    trials = {**s.curves.coarse, **s.curves.fine}
    if not trials:
        return []
    names = [n for n in s.curves.names() if _is_told(n, trials.values())]
    lines = {n: next(j for t in trials.values() for j in t.lines if j.name == n) for n in names}
    rows = [
        f"  {s.setting.word[:16]:>16}"
        + "".join(f"{_short(n):>11}" for n in names)
        + f"{'time':>9}",
        f"  {'':>16}" + "".join(f"{lines[n].unit + '  ':>11}" for n in names),
        f"  {'limit':>16}" + "".join(f"{_limit(n, trials.values()):>9}  " for n in names),
    ]
    for place in sorted(trials):
        trial = trials[place]
        known = {j.name: j for j in trial.lines}
        cells = "".join(f"{_cell(known.get(n)):>11}" for n in names)
        value = s.setting.text(s.setting.value(place), 5)
        mesh = "" if trial.fine else " ~"
        rows.append(f"  {value:>16}{cells}{duration(trial.dose.time):>9}{mesh}".rstrip())
    return rows


def _is_told(name: str, trials: Iterable[Trial]) -> bool:
    """Whether a limit has a column; one of common practice where it comes near."""
    lines = [j for t in trials for j in t.lines if j.name == name]
    near = any(j.value is None or j.value > 0.5 * j.limit for j in lines)
    return near or any(j.source != "common practice" for j in lines)


def _limit(name: str, trials: Iterable[Trial]) -> str:
    """A limit as told in the table's head; one from the dose may move along the setting."""
    found = [f"{j.limit:.4g}" for t in trials for j in t.lines if j.name == name]
    return found[0] if len(set(found)) == 1 else "moves"


def _short(name: str) -> str:
    return SHORT.get(name, spoken(name))


def _cell(line: Judged | None) -> str:
    if line is None:
        return "kept"
    if line.value is None:
        return "not known"
    return f"{line.value:.4g}{' !' if line.value > line.limit else '  '}"


def _turns(s: Sizing) -> list[str]:
    return _plateaus(s) + [
        f"{spoken(name)} turns near {', '.join(s.setting.text(v, 3) for v in values)}: it does not "
        "rise or fall all along"
        for name, values in s.turns.items()
    ]


def _plateaus(s: Sizing) -> list[str]:
    found = []
    reasons = DECIDES.get(s.setting.key, ("", ""))
    for name in s.curves.names():
        if name not in s.moving:
            continue
        for low, high in s.curves.plateaus(name):
            a, b = (s.setting.text(s.setting.value(p), 3) for p in (low, high))
            reason = reasons[0] if low <= min(s.curves.coarse) else reasons[1]
            found.append(
                f"{spoken(name)} hardly moves from {a} to {b}, a plateau: "
                f"{reason or 'other things decide'}"
            )
    return found


def _notes(s: Sizing) -> list[str]:
    notes = [
        "Typical values; an end has no room for what is not known: estimate the case at the value "
        "you choose, its band tells.  ! breaks its limit; ~ on the coarse mesh."
    ]
    for low, high in s.ranges:
        for end in (low, high):
            for line in end.trial.own:
                if line.over is None or line.over > 0:
                    what = "the membrane buckles" if line.name == "buckling" else "the gap closes"
                    notes.append(f"at {_value(s, end)} {what}: {line.note}")
    return notes


def _number(line: Judged) -> str:
    return "not known" if line.value is None else f"{line.value:.4g} {line.unit}".strip()


def sizing_json(sizing: Sizing) -> str:
    """The same as JSON, values in the unit of the case file."""
    setting = sizing.setting
    body: dict[str, Any] = {
        "key": setting.key,
        "unit": setting.unit,
        "looked_at": [_in_unit(setting, v) for v in (sizing.span.low, sizing.span.high)],
        "ranges": [
            {"low": _end_json(setting, low), "high": _end_json(setting, high)}
            for low, high in sizing.ranges
        ],
        "never_kept": sizing.never,
        "turns": {n: [_in_unit(setting, v) for v in t] for n, t in sizing.turns.items()},
        "trials": [
            {
                "value": _in_unit(setting, setting.value(place)),
                "mesh": "fine" if trial.fine else "coarse",
                **_trial_json(trial),
            }
            for place, trial in sorted({**sizing.curves.coarse, **sizing.curves.fine}.items())
        ],
    }
    return json.dumps(body, indent=1) + "\n"


def _in_unit(setting: Setting, value: float) -> float:
    return float(setting.text(value, 10).split()[0])


def _end_json(setting: Setting, end: End) -> dict[str, Any]:
    return {
        "value": _in_unit(setting, end.value),
        "binds": end.binds,
        "why": end.why,
        **_trial_json(end.trial),
    }


def _trial_json(trial: Trial) -> dict[str, Any]:
    return {
        "limits": {
            j.name: {"value": j.value, "limit": j.limit, "unit": j.unit} for j in trial.lines
        },
        "time_s": trial.dose.time,
        "passes": trial.dose.passes,
        "dose_ratio": trial.dose.ratio,
        "on_mask_W_per_cm": trial.on_mask / 100,
    }
