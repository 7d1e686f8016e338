"""Kinds of fields of a case: what may stand behind a key, and in what span.

The span of a quantity is what is physically sensible, generously; it is said in the message when
a value, or an end of its range, lies outside.
"""

import re
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    PlainValidator,
    StringConstraints,
    Tag,
    ValidationInfo,
)
from pydantic_core import PydanticCustomError

from thermo.errors import QuantityError, shown
from thermo.units import Quantity, parse_quantity

__all__ = [
    "NAME",
    "Accommodation",
    "Bounds",
    "Contact",
    "Cooling",
    "Coverage",
    "Displacement",
    "DoseLimit",
    "DoseValue",
    "FileName",
    "Film",
    "FreeStrain",
    "Gas",
    "LayerName",
    "LimitTemperature",
    "Magnification",
    "Part",
    "Place",
    "Pressure",
    "ResistLimit",
    "RingCurrent",
    "Size",
    "Solid",
    "Stiffness",
    "Temperature",
    "Text",
    "Thickness",
    "Water",
    "within",
]


class Part(BaseModel):
    """A table of a case: frozen, no other keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


@dataclass(frozen=True)
class Bounds:
    """A kind of quantity and the physically allowed span of its value, low and high alike.

    exact : no range may be given, as for a limit, which is met or not
    """

    kind: str
    lowest: str
    highest: str
    exact: bool = False

    def __str__(self) -> str:
        return f"{self.lowest} .. {self.highest}"

    def read(self, value: object) -> Quantity:
        """Quantity from the user's text (or one read before), inside the span."""
        try:
            given = value if isinstance(value, Quantity) else parse_quantity(value, self.kind)
        except QuantityError as error:
            raise _refused(str(error)) from None
        if self.exact and given.has_range:
            raise _refused(f"'{given}' has a range; allowed: one value; give the one that counts")
        lowest = parse_quantity(self.lowest, self.kind).value
        highest = parse_quantity(self.highest, self.kind).value
        if not all(lowest <= bound <= highest for bound in (given.value, *given.bounds)):
            name = self.kind.replace("_", " ")
            raise _refused(f"{name} '{given}' is outside the allowed {self}; check number and unit")
        return given


def _refused(text: str) -> PydanticCustomError:
    return PydanticCustomError("refused", "{text}", {"text": text})


def within(
    kind: str, lowest: str, highest: str, exact: bool = False
) -> tuple[PlainValidator, Bounds]:
    """Marks of a quantity field: how it is read, and its span for the messages."""
    bounds = Bounds(kind, lowest, highest, exact)
    return PlainValidator(bounds.read), bounds


def _known(kind: Literal["solid", "gas"], name: object, info: ValidationInfo) -> str:
    """Name of a material of the wanted kind; the context knows all of them by name."""
    if not isinstance(name, str):
        raise _refused("is no text; allowed: the name of a material in quotes")
    refusal = info.context["refuse_material"](name, kind) if info.context else None
    if refusal:
        raise _refused(refusal)
    return name


def _number_of_rows(value: object) -> str:
    return "(rows)" if isinstance(value, (list, tuple)) else "(one)"


def _share(value: object) -> float:
    return Bounds("ratio", "0", "1", exact=True).read(value).value


def _or_word(word: str, bounds: Bounds, value: object) -> Quantity | str:
    """Quantity, or the one word that may stand instead."""
    if value == word:
        return word
    try:
        return bounds.read(value)
    except PydanticCustomError as error:
        raise _refused(f"{error.message()}, or say '{word}'") from None


def _cooling(value: object) -> Quantity | None:
    given = None if value is None else _or_word("none", _FILM, value)
    return given if isinstance(given, Quantity) else None


def _resist_limit(value: object) -> Quantity | str:
    return _or_word("from dose", _LIMIT, value)


def _other_limit(value: object) -> Quantity:
    if value == "from dose":
        raise _refused("'from dose' is for the resist alone; allowed: a temperature; give one")
    return _LIMIT.read(value)


def _printable(text: str) -> str:
    if not (text.isprintable() and text.strip()):
        raise _refused(
            "cannot be read on one line; allowed: one line of 1 to 200 printable characters"
        )
    return text


def _beside_the_case(text: str) -> str:
    if "://" in text:
        raise _refused(
            f"'{shown(text)}' is an address; allowed: a file beside the case, nothing else is "
            "read; save it there and give its name"
        )
    return _printable(text)


_SHARE = Bounds("ratio", "0", "1")
_FILM = Bounds("film", "0.1 W/(m2 K)", "1e6 W/(m2 K)")
_LIMIT = Bounds("temperature", "-50 degC", "1000 degC", exact=True)

Thickness = Annotated[Quantity, *within("length", "1 nm", "10 cm")]
Size = Annotated[Quantity, *within("length", "0.1 mm", "1 m")]
RingCurrent = Annotated[Quantity, *within("current", "0.01 mA", "2 A")]
Pressure = Annotated[Quantity, *within("pressure", "1e-6 mbar", "2 bar")]
Place = Annotated[Quantity, *within("length", "-1 m", "1 m")]
Temperature = Annotated[Quantity, *within("temperature", "-50 degC", "500 degC")]
Water = Annotated[Quantity, *within("temperature", "-50 degC", "200 degC")]
LimitTemperature = Annotated[Quantity, PlainValidator(_other_limit), _LIMIT]
ResistLimit = Annotated[Quantity | Literal["from dose"], PlainValidator(_resist_limit), _LIMIT]
Magnification = Annotated[Quantity, *within("relative", "1e-3 ppm", "1e5 ppm", exact=True)]
Contact = Annotated[Quantity, *within("resistance", "1e-9 m2 K/W", "1 m2 K/W")]
Stiffness = Annotated[Quantity, *within("stiffness", "1e3 N/m", "1e10 N/m")]
FreeStrain = Annotated[Quantity, *within("relative", "-20 %", "20 %")]
Film = Annotated[Quantity, PlainValidator(_FILM.read), _FILM]
Accommodation = Annotated[Quantity, *within("ratio", "0.01", "1")]
DoseValue = Annotated[Quantity, *within("dose", "1e-3 J/cm3", "1e3 kJ/cm3")]
Displacement = Annotated[Quantity, *within("length", "1 nm", "1 mm", exact=True)]
DoseLimit = Annotated[Quantity, *within("dose", "1e-3 J/cm3", "1e3 kJ/cm3", exact=True)]
Text = Annotated[str, StringConstraints(max_length=200), AfterValidator(_printable)]
FileName = Annotated[
    str, StringConstraints(min_length=1, max_length=200), AfterValidator(_beside_the_case)
]
Solid = Annotated[str, PlainValidator(lambda name, info: _known("solid", name, info))]
Gas = Annotated[str, PlainValidator(lambda name, info: _known("gas", name, info))]
Rows = Annotated[
    tuple[
        Annotated[tuple[Annotated[float, PlainValidator(_share)], ...], Field(min_length=1)],
        ...,
    ],
    Field(min_length=1),
]
Coverage = Annotated[
    Annotated[Quantity, PlainValidator(_SHARE.read), Tag("(one)")] | Annotated[Rows, Tag("(rows)")],
    Discriminator(_number_of_rows),
]
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _+-]{0,39}")
LayerName = Annotated[str, StringConstraints(pattern=f"^{NAME.pattern}$")]
Cooling = Annotated[Quantity | None, PlainValidator(_cooling), _FILM]
