"""Quantities as text: "60 um (45 .. 80)" is a value with a unit and, in brackets, its range.

Inside the package every number is SI (temperature in K); units are text at the door alone.

    text  = NUMBER [UNIT] ["(" LOW ".." HIGH ")"]        LOW and HIGH: NUMBER [UNIT]
    unit  = products and quotients of symbols: "W/(m2 K)", "W/m2/K", "W m-2 K-1", "W/(m²·K)"

A bound without a unit takes the unit of the value. Everything after the first '/' divides.
A millikelvin is no unit here, so "W/mK" is refused rather than guessed.
"""

import math
import re
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from difflib import get_close_matches

from thermo.errors import QuantityError, shown

__all__ = [
    "KINDS",
    "Quantity",
    "format_quantity",
    "parse_quantity",
    "si_unit",
    "three_digits",
    "to_unit",
]

ELEMENTARY_CHARGE = 1.602176634e-19  # C, exact in the SI of 2019

KINDS: dict[str, dict[str, float]] = {  # kind -> unit -> factor to SI; SI = number * factor + zero
    "length": {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "um": 1e-6, "nm": 1e-9},
    "temperature": {"degC": 1.0, "K": 1.0},
    "temperature_difference": {"K": 1.0},
    "pressure": {
        "Pa": 1.0,
        "hPa": 1e2,
        "mbar": 1e2,
        "kPa": 1e3,
        "bar": 1e5,
        "MPa": 1e6,
        "GPa": 1e9,
    },
    "stress": {"Pa": 1.0, "kPa": 1e3, "MPa": 1e6, "GPa": 1e9},
    "time": {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0},
    "speed": {"m/s": 1.0, "cm/s": 1e-2, "mm/s": 1e-3, "um/s": 1e-6},
    "acceleration": {"m/s2": 1.0, "mm/s2": 1e-3},
    "particle_energy": {
        "GeV": 1e9 * ELEMENTARY_CHARGE,
        "MeV": 1e6 * ELEMENTARY_CHARGE,
        "J": 1.0,
    },
    "current": {"A": 1.0, "mA": 1e-3},
    "charge": {"C": 1.0, "A s": 1.0, "A min": 60.0, "A h": 3600.0, "mA min": 0.06, "mA h": 3.6},
    "charge_per_length": {
        "A s/m": 1.0,
        "C/m": 1.0,
        "C/cm": 1e2,
        "A h/m": 3600.0,
        "mA min/cm": 6.0,
        "mA min/mm": 60.0,
        "mA h/cm": 360.0,
    },
    "field": {"T": 1.0, "mT": 1e-3},
    "density": {"kg/m3": 1.0, "g/cm3": 1e3},
    "conductivity": {"W/(m K)": 1.0, "W/(cm K)": 1e2},
    "heat_capacity": {"J/(kg K)": 1.0, "J/(g K)": 1e3},
    "film": {"W/(m2 K)": 1.0, "W/(cm2 K)": 1e4},
    "resistance": {"m2 K/W": 1.0, "cm2 K/W": 1e-4},
    "expansion": {"1/K": 1.0, "1e-6/K": 1e-6, "ppm/K": 1e-6},
    "dose": {"J/m3": 1.0, "J/cm3": 1e6, "kJ/cm3": 1e9},
    "molar_mass": {"kg/mol": 1.0, "g/mol": 1e-3},
    "ratio": {"": 1.0, "%": 1e-2},
    "relative": {"ppm": 1e-6, "%": 1e-2},
    "stiffness": {"N/m": 1.0, "N/mm": 1e3, "kN/mm": 1e6, "N/um": 1e6},
    "angle": {"rad": 1.0, "mrad": 1e-3, "urad": 1e-6},
}
ZERO = {"degC": 273.15}  # where a unit's own zero lies, SI

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.(?!\.)[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_SYMBOL = re.compile(r"(1e-6|%|[A-Za-z]+)([+-]?[1-9])?")
_SPELLINGS = str.maketrans(
    {
        "µ": "u",
        "μ": "u",
        "²": "2",
        "³": "3",
        "⁻": "-",
        "¹": "1",
        "·": " ",
        "⋅": " ",
        "*": " ",
        "^": "",
    }
)
_LONGEST = 200  # characters; no quantity needs more


@dataclass(frozen=True)
class Quantity:
    """A value in SI with the range the user gave, and the unit it was written in."""

    value: float
    low: float | None
    high: float | None
    unit: str
    kind: str

    @property
    def has_range(self) -> bool:
        """Whether the user was unsure and said between what."""
        return self.low is not None

    @property
    def bounds(self) -> tuple[float, float]:
        """Low and high in SI; the value twice where no range was given."""
        if self.low is None or self.high is None:
            return self.value, self.value
        return self.low, self.high

    def __str__(self) -> str:
        """Give the text that reads back as this quantity."""
        text = format_quantity(self.value, self.unit, self.kind)
        if self.low is None or self.high is None:
            return text
        low, high = (to_unit(bound, self.unit, self.kind) for bound in (self.low, self.high))
        return f"{text} ({low:.12g} .. {high:.12g})"


def parse_quantity(text: object, kind: str) -> Quantity:
    """Quantity of a given kind from its text, in SI.

    Parameters
    ----------
    text : what the user wrote: text with a unit; for the kind 'ratio' a bare number too
    kind : one of KINDS

    Raises
    ------
    QuantityError : one line that says what, the value, what is allowed and the way out
    """
    if isinstance(text, bool):
        raise _refused(kind, text, "is true or false, not a number", _write(kind))
    if isinstance(text, (int, float)):
        if "" not in KINDS[kind]:
            raise _refused(kind, text, "has no unit", _write(kind))
        text = shown(text)
    if not isinstance(text, str):
        what = "is a date or time" if isinstance(text, (date, time)) else "is no quantity"
        raise _refused(kind, text, what, _write(kind))
    if len(text) > _LONGEST:
        raise _refused(kind, text, f"is longer than {_LONGEST} characters", "shorten it")
    body, bounds = _split_range(text, kind)
    value, unit = _value_and_unit(body, kind, None, text)
    if bounds is None:
        return Quantity(value, None, None, unit, kind)
    low, high = (_value_and_unit(bound, kind, unit, text)[0] for bound in bounds)
    if not low <= value <= high:
        raise _refused(kind, text, "lies outside its own range", "order it low <= value <= high")
    return Quantity(value, low, high, unit, kind)


def to_unit(value: float, unit: str, kind: str) -> float:
    """Number of `value` (SI) in `unit`: (value - zero)/factor."""
    name = _known_unit(unit, kind, unit)
    return (value - ZERO.get(name, 0.0)) / KINDS[kind][name]


def format_quantity(value: float, unit: str, kind: str) -> str:
    """Text of `value` (SI) in `unit`, 12 digits: enough to read back, too few for round-off."""
    return f"{to_unit(value, unit, kind):.12g} {unit}".rstrip()


def three_digits(value: float) -> str:
    """A number as people read it: three digits, no exponent between 1000 and a million."""
    return f"{value:.0f}" if 1000 <= abs(value) < 1e6 else f"{value:.3g}"


def si_unit(kind: str) -> str:
    """SI unit of a kind; '' for pure numbers."""
    names = (name for name, factor in KINDS[kind].items() if factor == 1.0 and name not in ZERO)
    return next(names, "")


def _split_range(text: str, kind: str) -> tuple[str, tuple[str, str] | None]:
    """Split "60 um (45 .. 80)" into "60 um" and ("45", "80")."""
    text = text.strip()
    if ".." not in text:
        return text, None
    start = _opening_bracket(text)
    parts = text[start + 1 : -1].split("..")
    if (
        start <= 0
        or len(parts) != 2
        or ".." in text[:start]
        or "." in (parts[0][-1:], parts[1][:1])
    ):
        raise _refused(kind, text, "has no readable range", "write 'value unit (low .. high)'")
    return text[:start], (parts[0], parts[1])


def _opening_bracket(text: str) -> int:
    """Index of the bracket that the last character closes; -1 if it closes none."""
    depth = 0
    for index in range(len(text) - 1, -1, -1):
        depth += {")": 1, "(": -1}.get(text[index], 0)
        if depth == 0:
            return index if text[index] == "(" else -1
    return -1


def _value_and_unit(body: str, kind: str, unit: str | None, text: str) -> tuple[float, str]:
    """SI value and the unit as written; `unit` stands in where a bound has none."""
    body = body.strip()
    found = _NUMBER.match(body)
    if found is None:
        if re.match(r"[+-]?(nan|inf)", body, re.IGNORECASE):
            raise _refused(kind, text, "is not finite", "give a finite number")
        raise _refused(kind, text, "does not begin with a number", _write(kind))
    number, written = found.group(), body[found.end() :].strip()
    if re.match(r",[0-9]", written):
        raise _refused(kind, text, "has a decimal comma", "write a decimal point")
    if not math.isfinite(float(number)):
        raise _refused(kind, text, "is not finite", "give a finite number")
    if written == "" and unit is None and "" not in KINDS[kind]:
        raise _refused(kind, text, "has no unit", _write(kind))
    written = unit if written == "" and unit is not None else written
    name = _known_unit(written, kind, text)
    value = _exactly(number, KINDS[kind][name], ZERO.get(name, 0.0))
    if not math.isfinite(value):
        raise _refused(kind, text, "is not finite", "give a finite number")
    return value, written


def _exactly(number: str, factor: float, zero: float) -> float:
    """number * factor + zero, rounded once, so that 0.06 mm and 60 um are the same number."""
    if float(number) == 0.0:
        return zero
    return float(Decimal(number) * Decimal(repr(factor)) + Decimal(repr(zero)))


def _known_unit(written: str, kind: str, text: object) -> str:
    """Name in KINDS of a unit however it is spelt."""
    wanted = _normal(written)
    for name in KINDS[kind]:
        if wanted is not None and wanted == _normal(name):
            return name
    near = get_close_matches(written, [name for name in KINDS[kind] if name], n=1, cutoff=0.5)
    way_out = f"did you mean '{near[0]}'?" if near else _write(kind)
    raise _refused(kind, text, f"has the unknown unit '{shown(written)}'", way_out)


def _normal(unit: str) -> dict[str, int] | None:
    """Exponent of each symbol of a unit; None where the text is no unit."""
    unit = unit.replace("**", "").translate(_SPELLINGS).replace("°C", "degC")
    unit = re.sub(r"^1\s*/|^/", " /", unit)  # 1/K and /K
    if unit.startswith(" /") and not unit[2:].strip():
        return None
    exponents: dict[str, int] = {}
    for index, part in enumerate(unit.split("/")):
        part = part.strip()  # noqa: PLW2901
        if index and part.startswith("(") and part.endswith(")"):
            part = part[1:-1].strip()  # noqa: PLW2901
        if index and not part:
            return None
        sign = -1 if index else 1
        for token in part.split():
            pieces = _SYMBOL.findall(token)
            if "".join(symbol + power for symbol, power in pieces) != token:
                return None
            for symbol, power in pieces:
                exponents[symbol] = exponents.get(symbol, 0) + sign * int(power or 1)
    return exponents


def _write(kind: str) -> str:
    unit = next(iter(KINDS[kind]))
    return f"write it as text, like '1 {unit}'" if unit else "write it like '0.5'"


def _refused(kind: str, text: object, what: str, way_out: str) -> QuantityError:
    units = ", ".join(unit or "no unit" for unit in KINDS[kind])
    name = kind.replace("_", " ")
    return QuantityError(
        f"{name} '{shown(text)}' {what}; allowed: a finite number in {units}; {way_out}"
    )
