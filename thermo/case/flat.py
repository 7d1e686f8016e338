"""The keys of a case file with what stands at them, as two cases are compared.

Keys are written as in --set: names joined by points, elements of a list counted from 1.
"""

import re
import tomllib
from collections.abc import Iterator

from thermo.case.guards import refuse_hostile
from thermo.errors import CaseError, Fault, shown

__all__ = ["flat_case"]


def flat_case(text: str, name: str = "case.toml") -> dict[str, str]:
    """What stands at every dotted key of a case file, as text, in the order of the file.

    Nothing is checked but that it is TOML; a text is given without its quotes, a list or table
    without elements as [] or {}.

    Parameters
    ----------
    text : the case file
    name : what a fault calls it

    Raises
    ------
    CaseError : the text is no TOML
    """
    refuse_hostile(text, name)
    try:
        return {key: _text(value) for key, value in _leaves(tomllib.loads(text))}
    except ValueError as error:  # an integer of thousands of digits is a ValueError too
        reason = f"is not readable as TOML: {shown(error, 150)}; mend this line first"
        raise CaseError((Fault(shown(name, 200), 0, "", reason),)) from None


def _leaves(tree: dict[str, object]) -> Iterator[tuple[str, object]]:
    """Keys and values that hold nothing more, in their order; of any depth without recursion."""
    waiting: list[tuple[str, object]] = [("", tree)]
    while waiting:
        key, value = waiting.pop()
        if isinstance(value, dict) and value:
            inner = [(_name(part), held) for part, held in value.items()]
        elif isinstance(value, list) and value:
            inner = [(str(number), held) for number, held in enumerate(value, 1)]
        else:
            if key:
                yield key, value
            continue
        start = f"{key}." if key else ""
        waiting += [(start + part, held) for part, held in reversed(inner)]


def _name(part: str) -> str:
    """A name as it is written in a dotted key: in quotes where it is no plain word."""
    if re.fullmatch("[A-Za-z0-9_-]+", part):
        return part
    return '"' + part.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _text(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return str(value)
