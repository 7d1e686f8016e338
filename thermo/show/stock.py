"""What is in stock compared, as a table and as JSON."""

import json
from typing import Any

from thermo.answer.temperature import ZERO_C
from thermo.decide.stock import Choice
from thermo.show.words import duration, length, spoken, wrapped

COLUMNS = ("time", "ratio", "resist", "mask", "scale", "left", "blur", "split", "tension", "metal")
HEADS = (
    "time",
    "dose",
    "resist",
    "mask",
    "scale",
    "after",
    "blur",
    "up/down",
    "tension",
    "u.metal",
)
UNITS = ("", "ratio", "degC", "degC", "ppm", "scale", "", "split", "left,MPa", "J/cm3")
WIDTH = 9


def stock_text(choices: tuple[Choice, ...], title: str) -> str:
    """Choices from the best to the worst, one row each, plain text."""
    parts = [title, "", *("".join(f"{h:>{WIDTH}}" for h in row) for row in (HEADS, UNITS))]
    for c in choices:
        parts += ["", *wrapped([c.name, f"    {_verdict(c)}", *_ranges(c)])]
        parts.append("".join(f"{cell:>{WIDTH}}" for cell in _cells(c)))
    notes = [
        "",
        "Best first: those that keep every limit by their room, then those that break least, each "
        "as a share of the limit.  Ranges are those of the inputs alone, without what mesh and "
        "model leave open: estimate the chosen one, its bands hold all.",
    ]
    return "\n".join([*parts, *wrapped(notes)]) + "\n"


def _cells(c: Choice) -> list[str]:
    if c.outcome is None:
        return ["-"] * len(COLUMNS)
    dose = c.outcome.dose
    return [
        duration(dose.time),
        f"{dose.ratio:.2f}",
        _degC(c.resist),
        _degC(c.mask),
        "-" if c.scale is None else f"{1e6 * c.scale:+.3g}",
        _length(c.left),
        _length(c.blur),
        _length(c.split),
        "-" if c.tension is None else f"{c.tension / 1e6:.3g}",
        f"{dose.under_absorber / 1e6:.3g}",
    ]


def _degC(T: float | None) -> str:
    return "-" if T is None else f"{T - ZERO_C:.1f}"


def _length(x: float | None) -> str:
    return "-" if x is None else length(x).replace(" ", "")


def _verdict(c: Choice) -> str:
    if c.refused:
        return f"not possible: {c.refused}"
    if c.outcome is None or not c.broken:
        return "keeps every limit"
    lines = {j.name: j for j in c.outcome.judged}
    parts = []
    for name in c.broken:
        j = lines[name]
        value = "not known" if j.value is None else f"{j.value:.3g}"
        parts.append(f"{spoken(name)} {value}, limit {j.limit:.3g} {j.unit}".strip())
    flat = "" if c.outcome.membrane.is_flat else "; the membrane buckles"
    return f"breaks {'; '.join(parts)}{flat}"


def _ranges(c: Choice) -> list[str]:
    """Peaks with their ranges, and which of them may break a limit that typical values keep."""
    found = []
    for name, T in (("resist", c.resist), ("mask", c.mask)):
        if name in c.bands and T is not None:
            band = c.bands[name]
            found.append(f"{name} {_degC(T - band.down)} .. {_degC(T + band.up)} degC")
    open_ = [spoken(name) for name in c.may_break]
    more = f"; {' and '.join(open_)} may break the limit" if open_ else ""
    return [f"    by the inputs' ranges {', '.join(found)}{more}"] if found else []


def stock_json(choices: tuple[Choice, ...]) -> str:
    """The same as JSON, best first."""
    return json.dumps({"choices": [_as_json(c) for c in choices]}, indent=1) + "\n"


def _as_json(c: Choice) -> dict[str, Any]:
    dose = None if c.outcome is None else c.outcome.dose

    def times(factor: float, value: float | None) -> float | None:
        return None if value is None else factor * value

    return {
        "choice": c.name,
        "holds": c.holds,
        "broken": list(c.broken),
        "refused": c.refused or None,
        "time_s": None if dose is None else dose.time,
        "dose_ratio": None if dose is None else dose.ratio,
        "under_absorber_J_per_cm3": None if dose is None else dose.under_absorber / 1e6,
        "resist_peak_C": None if c.resist is None else c.resist - ZERO_C,
        "mask_peak_C": None if c.mask is None else c.mask - ZERO_C,
        "scale_ppm": times(1e6, c.scale),
        "after_scale_nm": times(1e9, c.left),
        "blur_nm": times(1e9, c.blur),
        "up_down_split_nm": times(1e9, c.split),
        "tension_left_MPa": times(1e-6, c.tension),
        "range_K": {name: [-band.down, band.up] for name, band in c.bands.items()},
        "may_break": c.may_break,
    }
