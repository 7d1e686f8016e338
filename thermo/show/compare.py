"""Result folders side by side: what their answers say, and in which inputs their cases differ."""

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

from thermo.answer import Answer
from thermo.answer.placement_schema import Placement
from thermo.answer.schema import LimitLine
from thermo.errors import shown
from thermo.show.columns import folded, side_by_side
from thermo.show.reading import Compared
from thermo.show.text import MET, WORDS
from thermo.show.words import dose_value, duration, length, spoken, wrapped
from thermo.units import three_digits

LONGEST = 120  # characters of a value that are shown
INSIDE = 94  # columns of a folder's name and title


@dataclass(frozen=True)
class Quantity:
    """One line of the comparison: label, key with unit, value in an answer, and how it is shown."""

    label: str
    key: str
    value: Callable[[Answer], Any]
    text: Callable[[Any], str] = str

    def cell(self, answer: Answer) -> str:
        """Value as shown."""
        value = self.value(answer)
        return "-" if value is None else self.text(value)


def _largest(name: str) -> Callable[[Answer], float | None]:
    """Value of the largest size over the depths of the resist."""

    def found(answer: Answer) -> float | None:
        p = answer.placement
        depths: tuple[Placement, ...] = (p.top, p.middle, p.base)
        values = [v for v in (getattr(d, name) for d in depths) if v is not None]
        return max(values, key=abs, default=None)

    return found


def _degC(T: float) -> str:
    return f"{T:.4g} degC"


def _nm(value: float) -> str:
    return length(1e-9 * value)


QUANTITIES = (
    Quantity("verdict", "verdict", lambda a: a.verdict.word, lambda word: WORDS[word]),
    Quantity("limited by", "limited_by", lambda a: a.verdict.limited_by),
    Quantity("regime", "regime", lambda a: a.regime, spoken),
    Quantity("exposure time", "exposure_time_s", lambda a: a.dose.time_s, duration),
    Quantity("passes", "passes", lambda a: a.dose.passes, shown),
    Quantity(
        "dose, resist top",
        "resist_top_J_per_cm3",
        lambda a: a.dose.resist_top_J_per_cm3,
        dose_value,
    ),
    Quantity(
        "dose, resist bottom",
        "resist_bottom_J_per_cm3",
        lambda a: a.dose.resist_bottom_J_per_cm3,
        dose_value,
    ),
    Quantity("dose ratio", "dose_ratio", lambda a: a.dose.ratio, three_digits),
    Quantity(
        "dose under absorber",
        "under_absorber_J_per_cm3",
        lambda a: a.dose.under_absorber_J_per_cm3,
        dose_value,
    ),
    Quantity("resist, peak", "resist_peak_C", lambda a: a.resist_peak_C, _degC),
    Quantity("mask, peak", "mask_peak_C", lambda a: a.mask_peak_C, _degC),
    Quantity("printed scale", "scale_ppm", _largest("magnification_ppm"), "{:+.3g} ppm".format),
    Quantity("after scale", "after_scale_nm", _largest("residual_max_nm"), _nm),
    Quantity("blur", "blur_nm", _largest("blur_max_nm"), _nm),
    Quantity("up/down split", "up_down_split_nm", _largest("up_down_split_nm"), _nm),
    Quantity("placement not believed", "placement_reason", lambda a: a.placement.reason),
    Quantity(
        "highest ring current",
        "highest_current_mA",
        lambda a: a.highest_current_mA,
        "{:.3g} mA".format,
    ),
    Quantity(
        "power on the mask",
        "on_mask_W_per_cm",
        lambda a: a.beam.on_mask_W_per_cm,
        "{:.3g} W/cm".format,
    ),
)


def compare_text(results: Sequence[Compared]) -> str:
    """Answers, limits and differing inputs side by side, plain text, at most 100 columns wide."""
    head = ["Results side by side; * marks a row that differs"]
    for number, r in enumerate(results, 1):
        first, *more = folded(shown(r.folder, 200), INSIDE)
        more += folded(shown(r.answer.case.title, LONGEST), INSIDE)
        head += [f"  {number:<4}{first}", *(f"      {line}" for line in more)]
    said = [(q.label, [_safe(q.cell(r.answer)) for r in results]) for q in QUANTITIES]
    parts = [head, side_by_side(said, len(results))]
    if limits := _limit_rows(results):
        parts.append(["Limits", *side_by_side(limits, len(results))])
    parts.append(_case_part(results))
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def _safe(cell: str) -> str:
    return shown(cell, LONGEST)


def _by_limit(results: Sequence[Compared]) -> dict[tuple[str, str], list[LimitLine | None]]:
    """Lines of each limit, by name and unit; None where an answer has none."""
    own = [{(line.name, line.unit): line for line in r.answer.limits} for r in results]
    return {key: [lines.get(key) for lines in own] for key in _keys(own)}


def _keys(tables: Iterable[Iterable[Any]]) -> list[Any]:
    """Every key of some tables once, in the order in which they come up."""
    return list(dict.fromkeys(key for table in tables for key in table))


def _limit_rows(results: Sequence[Compared]) -> list[tuple[str, list[str]]]:
    """Three rows a limit: value and whether it is met, band, and limit."""
    rows = []
    for (name, unit), lines in _by_limit(results).items():
        label = f"{_safe(spoken(name))}, {_safe(unit)}" if unit else _safe(spoken(name))
        rows.append((label, [_value(line) for line in lines]))
        rows.append(("  band", [_band(line) for line in lines]))
        rows.append(("  limit", ["-" if x is None else three_digits(x.limit) for x in lines]))
    return rows


def _value(line: LimitLine | None) -> str:
    if line is None:
        return "-"
    return f"{'unknown' if line.value is None else f'{line.value:.4g}'} {MET[line.met]}"


def _band(line: LimitLine | None) -> str:
    if line is None or line.low is None or line.high is None:
        return "-"
    return f"{three_digits(line.low)} .. {three_digits(line.high)}"


def _apart(texts: Sequence[str | None]) -> list[str]:
    """Values that differ as cells that differ, cut where they part if they are long."""
    cells = ["-" if text is None else _safe(text) for text in texts]
    if len(set(cells)) > 1:
        return cells
    letters = zip_longest(*(text or "" for text in texts))
    start = next((i for i, own in enumerate(letters) if len(set(own)) > 1), 0)
    return ["-" if text is None else f"...{text[start : start + 30]!a}" for text in texts]


def _differing(results: Sequence[Compared]) -> dict[str, list[str | None]]:
    """What the case files have at every key at which they differ."""
    cases = [r.case for r in results]
    values = {key: [case.get(key) for case in cases] for key in _keys(cases)}
    return {key: texts for key, texts in values.items() if len(set(texts)) > 1}


def _case_part(results: Sequence[Compared]) -> list[str]:
    """Keys of the case files at which they differ, and which answers know more than their file."""
    rows = [(_safe(key), _apart(texts)) for key, texts in _differing(results).items()]
    part = ["What differs in the cases"] if rows else ["The case files differ in no key"]
    part += side_by_side(rows, len(results)) if rows else []
    if more := [str(number) for number, r in enumerate(results, 1) if r.more]:
        part += wrapped(
            [
                f"  {', '.join(more)}: answered with --set, or with a table or a plan mesh beside "
                "the case; those inputs are not among these rows"
            ]
        )
    return part


def compare_json(results: Sequence[Compared]) -> str:
    """The same as JSON, units in the keys, null where a folder has no value."""

    def told(values: list[Any]) -> dict[str, Any]:
        return {"values": values, "differs": any(value != values[0] for value in values)}

    data = {
        "folders": [
            {
                "folder": r.folder,
                "title": r.answer.case.title,
                "sha256": r.answer.case.sha256,
                "more_than_case_file": r.more,
            }
            for r in results
        ],
        "quantities": {q.key: told([q.value(r.answer) for r in results]) for q in QUANTITIES},
        "limits": {
            _limit_key(*key): told([_limit_data(line) for line in lines])
            for key, lines in _by_limit(results).items()
        },
        "case": {key: told(list(texts)) for key, texts in _differing(results).items()},
    }
    return json.dumps(data, indent=1) + "\n"


def _limit_key(name: str, unit: str) -> str:
    """Name with its unit, as the keys of answer.json have it: dose_top_kJ_per_cm3."""
    unit = {"degC": "C", "%": "percent"}.get(unit, unit).replace("/", "_per_")
    return f"{name}_{unit}" if unit else name


def _limit_data(line: LimitLine | None) -> dict[str, Any] | None:
    keys = {"value", "low", "high", "limit", "margin", "met"}
    return None if line is None else line.model_dump(include=keys)
