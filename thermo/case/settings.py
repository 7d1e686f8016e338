"""Settings KEY=VALUE given beside a case: they change the file's values before any check.

A key is the dotted key of the case file; elements of a list are counted from 1, as in
`beam.filters.1.thickness`. A value is the text of the quantity; a number, a list or a text in
quotes may be written as in the file.
"""

import re
import tomllib
from collections.abc import Mapping

from thermo.case.faults import Places, Refusal, key_text
from thermo.case.guards import LARGEST_FILE, refuse_hostile
from thermo.case.positions import Path, key_parts
from thermo.case.schema import Raw
from thermo.errors import CaseError, shown

__all__ = ["apply_settings"]


def apply_settings(raw: Raw, settings: Mapping[str, str], places: Places) -> list[Refusal]:
    """Write every setting into the tables as read; gives those that could not be written."""
    refused: list[Refusal] = []
    for key, text in settings.items():
        parts = key_parts(key)
        if parts is None:
            path: Path = (key,)
            reason = "is no key; allowed: names joined by points, like gap.width; check it"
        else:
            path, reason = _write(raw, parts, _value(text))
        places.settings.add(path)
        if reason:
            refused.append((path, reason))
    return refused


def _write(raw: Raw, parts: tuple[str, ...], value: object) -> tuple[Path, str]:
    """Path that was written, and why it could not be ('' if it could)."""
    path: Path = ()
    here: object = raw
    for index, part in enumerate(parts):
        last = index == len(parts) - 1
        if isinstance(here, list):
            if not (re.fullmatch("[0-9]{1,6}", part) and 1 <= int(part) <= len(here)):
                reason = f"there is no element '{shown(part)}'; allowed: 1 .. {len(here)}"
                return (*path, part), f"{reason}; count from 1"
            position: str | int = int(part) - 1
        elif isinstance(here, dict):
            position = part
            if not last:
                here.setdefault(part, {})
        else:
            names = f"'{shown(here)}' holds no keys"
            return (*path, part), f"{names}; allowed: {key_text(path)}; leave out the rest"
        path = (*path, position)
        if last:
            here[position] = value  # type: ignore[index]
        else:
            here = here[position]  # type: ignore[index]
    return path, ""


def _value(text: str) -> object:
    """Value of a setting: a number, list, table, truth value or quoted text, else plain text."""
    try:
        if len(text) > LARGEST_FILE:
            return text
        refuse_hostile(text, "--set")
        table = tomllib.loads(f"value = {text}")
    except (ValueError, CaseError):
        return text
    value = table["value"]
    known = isinstance(value, (str, int, float, list, dict))
    return value if known and len(table) == 1 else text
