"""What can go wrong, as one tree.

    WarmstackError
      QuantityError    a text that is no quantity of the wanted kind
      MaterialError    a material that is unknown or lacks a property
      CaseError        a case file that is wrong; carries every fault found
      PhysicsError     a physical function called outside its range (a ValueError too)
      SolveError       a solve that failed its own check
      SizeError        a run that does not fit into this machine's memory

A message says what, the value with its unit, what is allowed, and the way out.
"""

from dataclasses import dataclass

__all__ = [
    "CaseError",
    "Fault",
    "MaterialError",
    "PhysicsError",
    "QuantityError",
    "SizeError",
    "SolveError",
    "WarmstackError",
    "shown",
]


class WarmstackError(Exception):
    """Any error this package raises on purpose."""

    exit_code = 1


class QuantityError(WarmstackError):
    """A text that is no quantity of the wanted kind."""

    exit_code = 3


class MaterialError(WarmstackError):
    """A material that is unknown or lacks a property."""

    exit_code = 3


@dataclass(frozen=True)
class Fault:
    """One fault of a case: where it stands, and what, value, allowed, way out in `text`.

    `file` is '--set' for a setting given on the command line; `line` is 0 where there is none.
    """

    file: str
    line: int
    key: str
    text: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        return ": ".join(part for part in (place, self.key, self.text) if part)


class CaseError(WarmstackError):
    """A case that is wrong: all its faults at once, one line each."""

    exit_code = 3

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = faults

    def __reduce__(self) -> tuple[type["CaseError"], tuple[tuple[Fault, ...]]]:
        return type(self), (self.faults,)


class PhysicsError(WarmstackError, ValueError):
    """A physical function called outside the range it holds for."""

    exit_code = 3


class SolveError(WarmstackError):
    """A solve that failed its own check: the number is not given out."""

    exit_code = 4


class SizeError(WarmstackError):
    """A run that does not fit into this machine's memory; nothing was started."""

    exit_code = 4


def shown(value: object, longest: int = 60) -> str:
    """Value as it may stand in a message: short, on one line, harmless to a terminal."""
    if isinstance(value, int) and value.bit_length() > 200:
        return "an integer beyond reason"
    text = "".join(c if c.isprintable() else "?" for c in str(value)[: longest + 1])
    return text if len(text) <= longest else text[: longest - 3] + "..."
