"""A setting that is sized: its word, its key in the case, and between which values it is sought."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from thermo.answer.exposure import dose_plan
from thermo.answer.scene import describe
from thermo.case import Case, Filter, foil_number, input_at, with_filter, with_value
from thermo.errors import CaseError, PhysicsError, QuantityError, WarmstackError, shown
from thermo.units import Quantity, parse_quantity, to_unit

KEYS: Mapping[str, str] = {
    "speed": "scan.speed",
    "stroke": "scan.stroke",
    "acceleration": "scan.acceleration",
    "current": "ring.current",
    "pressure": "chamber.pressure",
    "gap": "gap.width",
    "water": "sample.holder.water",
    "frame-water": "mask.frame.water",
    "cooling": "mask.frame.cooling",
    "film": "sample.holder.film",
    "joint": "sample.joint.resistance",
    "scale": "mask.scale",
    "absorber": "mask.absorber.thickness",
    "membrane": "mask.membrane.thickness",
    "tension": "mask.membrane.tension",
    "dose": "dose.bottom",
}
FILTER = "filter:"
COMPARED = ("limits.", "sensors.")  # keys that move nothing
SPAN = 10.0  # factor up and down from the present value
SPANS: Mapping[str, float] = {
    "scan.speed": 4.0,
    "ring.current": 5.0,
    "scan.stroke": 2.0,
    "chamber.pressure": 100.0,
    "gap.width": 5.0,
    "sample.joint.resistance": 30.0,
    "mask.absorber.thickness": 3.0,
    "mask.membrane.thickness": 3.0,
}
MOST_PRESSURE = 1.1e5  # Pa: chambers hold a vacuum, not a pressure
FOIL = (1e-6, 2e-3)  # m: of a foil that is not yet in the beam
WATER = (278.15, 333.15)  # K: what a cooling circuit brings
SCALE = 5e-4  # how far a mask may be written beside its design
HAIR = 1e-12  # of a value: it is rounded to itself where it has no more digits
CLOSE = 1e-3  # of the span: how closely the end of what is allowed is found


class SettingError(WarmstackError):
    """A setting that cannot be sized, or a range that is none."""

    exit_code = 2


@dataclass(frozen=True)
class Setting:
    """One numeric input that is varied, SI.

    word : as it is spoken of;  key : in the case file;  foil : its material where it is a filter
    present : None where a foil is not in the beam yet;  even : sought on a linear scale
    """

    word: str
    key: str
    unit: str
    kind: str
    present: float | None
    even: bool
    foil: str | None = None

    def applied(self, case: Case, value: float) -> Case:
        """The case with this setting at a value; CaseError where it is not allowed."""
        if self.foil is not None:
            return with_filter(case, self.foil, value)
        if self.key == "mask.scale" and case.mask.scale is None:
            mask = case.mask.model_copy(
                update={"scale": Quantity(0.0, None, None, self.unit, self.kind)}
            )
            case = case.model_copy(update={"mask": mask})
        return with_value(case, self.key, value)

    def text(self, value: float, digits: int = 4) -> str:
        """A value with its unit, as in the case file."""
        return f"{to_unit(value, self.unit, self.kind):.{digits}g} {self.unit}".strip()

    def place(self, value: float) -> float:
        """Where a value stands on the scale on which it is sought."""
        return value if self.even else float(np.log(value))

    def value(self, place: float) -> float:
        """The value at a place of that scale."""
        return place if self.even else float(np.exp(place))


def check_limits(case: Case) -> None:
    """Raise SettingError where a case names no limit: then every value would be allowed."""
    if not any(value is not None for _, value in case.limits):
        raise SettingError(
            "the case names no limit, so every value is allowed; give one under [limits]"
        )


def setting_of(case: Case, word: str) -> Setting:
    """The setting of a word ('speed', 'filter:titanium') or of a key of the case file.

    Raises
    ------
    SettingError : no such word, or an input this case does not have
    CaseError : a filter of a material that is unknown or no solid
    """
    if word.startswith(FILTER):
        return _foil(case, word)
    key = KEYS.get(word, word)
    given = None if key.startswith(COMPARED) else input_at(case, key)
    if given is None and key == "mask.scale":
        given = Quantity(0.0, None, None, "ppm", "relative")
    if given is None:
        raise SettingError(_unknown(word, key))
    even = given.kind in ("temperature", "relative") or not given.bounds[0] > 0
    unit = given.unit
    return Setting(word, key, unit, given.kind, given.value, even)


def _unknown(word: str, key: str) -> str:
    name = shown(word)
    if word in KEYS:
        return f"{name}: this case gives no {key}; write it into the case first"
    words = ", ".join((*KEYS, f"{FILTER}MATERIAL"))
    return (
        f"{name}: is no setting with a number; allowed: {words}, or a key of the case file "
        "as in mask.frame.contact; check the word"
    )


def _foil(case: Case, word: str) -> Setting:
    material = word.removeprefix(FILTER)
    if not material:
        raise SettingError(f"{word}: names no material; write it as filter:aluminium-foil")
    number = foil_number(case, material)
    foil = None if number is None else case.beam.filters[number - 1]
    if not isinstance(foil, Filter):
        key = f"beam.filters.{len(case.beam.filters) + 1}.thickness"
        return Setting(word, key, "um", "length", None, False, material)
    given = foil.thickness
    key = f"beam.filters.{number}.thickness"
    return Setting(word, key, given.unit, given.kind, given.value, False, material)


@dataclass(frozen=True)
class Span:
    """Between which values a setting is sought, SI, and why not beyond ('' where by choice)."""

    low: float
    high: float
    why_low: str = ""
    why_high: str = ""


def span_of(
    case: Case, setting: Setting, low: str | None, high: str | None, still: bool = False
) -> Span:
    """The span of a setting: as given, else a plausible one round the present value.

    still : the beam is held

    Raises
    ------
    SettingError : an end that cannot be read or is not allowed, or ends upside down
    """
    usual = (0.0, 0.0) if low is not None and high is not None else _usual(setting)
    ends = tuple(
        default if text is None else _read(setting, text, option)
        for text, default, option in ((low, usual[0], "--from"), (high, usual[1], "--to"))
    )
    if not ends[0] < ends[1]:
        raise SettingError(
            f"--from {setting.text(ends[0])} is not below --to {setting.text(ends[1])}; allowed: "
            "a lower value first; turn them round"
        )
    if not setting.even and not ends[0] > 0:
        raise SettingError(f"--from {setting.text(ends[0])}: allowed: above 0; raise it")
    middle = setting.present
    if middle is None or not ends[0] <= middle <= ends[1]:
        middle = next((e for e in ends if not _refusal(case, setting, e, still)), None)
    if middle is None or _refusal(case, setting, middle, still):
        raise SettingError(f"--from, --to: {_refusal(case, setting, ends[0], still)}")
    (first, why), (last, end) = (_allowed(case, setting, middle, e, still) for e in ends)
    return Span(first, last, why, end)


def _usual(setting: Setting) -> tuple[float, float]:
    if setting.kind == "temperature":
        return WATER
    if setting.kind == "relative":
        return -SCALE, SCALE
    if setting.present is None:
        return FOIL
    if setting.even:
        if setting.present == 0:
            raise SettingError(f"{setting.word}: it is 0, so say where to look: --from, --to")
        return 0.0, 2 * setting.present
    factor = SPANS.get(setting.key, SPAN)
    most = setting.present * factor
    if setting.key == "chamber.pressure":
        most = max(min(most, MOST_PRESSURE), setting.present)
    return setting.present / factor, most


def _read(setting: Setting, text: str, option: str) -> float:
    try:
        return parse_quantity(text, setting.kind).value
    except QuantityError as error:
        raise SettingError(f"{option}: {error}") from None


def _refusal(case: Case, setting: Setting, value: float, still: bool) -> str:
    """Why the case refuses a value or never reaches its dose with it, '' where it does neither."""
    try:
        dose_plan(describe(setting.applied(case, value), still))
    except CaseError as error:
        return "; ".join(fault.text for fault in error.faults)
    except PhysicsError as error:
        return str(error)
    return ""


def _allowed(
    case: Case, setting: Setting, inside: float, end: float, still: bool
) -> tuple[float, str]:
    """The last allowed value from `inside` towards `end`, and why none beyond it is."""
    why = _refusal(case, setting, end, still)
    if not why:
        return end, ""
    good, bad = setting.place(inside), setting.place(end)
    width = abs(bad - good)
    while abs(bad - good) > CLOSE * width:
        middle = (good + bad) / 2
        text = _refusal(case, setting, setting.value(middle), still)
        good, bad = (good, middle) if text else (middle, bad)
        why = text or why
    return setting.value(good), why


def rounded(setting: Setting, value: float, up: bool, digits: int = 5) -> float:
    """A value with so many digits in its unit, rounded up or down."""
    shown_ = to_unit(value, setting.unit, setting.kind)
    if shown_ == 0 or not np.isfinite(shown_):
        return value
    step = 10.0 ** (np.floor(np.log10(abs(shown_))) + 1 - digits)
    near = (np.ceil if up else np.floor)(shown_ / step * (1 - HAIR if up else 1 + HAIR)) * step
    return parse_quantity(f"{near:.10g} {setting.unit}".strip(), setting.kind).value


__all__ = ["Setting", "SettingError", "Span", "rounded", "setting_of", "span_of"]
