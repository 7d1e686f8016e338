"""A small table of numbers in a CSV file beside a case: a spectrum, a stage's log.

    # comment
    time_s,position_mm       one line of column names, units in the name
    0.00,-40.0               finite numbers with a decimal point, separated by commas

Size, rows and length of lines are bounded, so that any file is read or refused in bounded time.
"""

import hashlib
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydantic import ConfigDict

from thermo.case.guards import FileKind, decoded, read_bytes
from thermo.errors import CaseError, Fault, shown

__all__ = ["NumberTable", "read_table"]

LARGEST_TABLE = 8_000_000  # bytes
FEWEST_ROWS, MOST_ROWS = 2, 200_000
LONGEST_LINE = 500  # characters
MOST_FAULTS = 10
TABLE_FILE = FileKind(
    "CSV file",
    LARGEST_TABLE,
    f"{LARGEST_TABLE // 1_000_000} MB",
    "check the name; it is looked for beside the case",
    "thin it out",
    "save the file as CSV in UTF-8",
)

_NUMBER = re.compile(r"[+-]?+(?:[0-9]++(?:\.[0-9]*+)?+|\.[0-9]++)(?:[eE][+-]?+[0-9]++)?+")
_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")  # a number with a decimal comma
_NO_NUMBER = re.compile(r"[+-]?(nan|inf|infinity)", re.IGNORECASE)

Line = tuple[int, str]  # its number and text


@dataclass(frozen=True, eq=False)
class NumberTable:
    """Numbers by column name, each (rows,) and read-only; names in the order of `accepted`.

    text : as read;  sha256 : of the file's bytes
    """

    __pydantic_config__ = ConfigDict(arbitrary_types_allowed=True)  # a case may hold tables

    path: str
    columns: Mapping[str, NDArray[np.float64]]
    sha256: str
    text: str


def read_table(path: Path, accepted: Sequence[tuple[str, ...]]) -> NumberTable:
    """Table of a CSV file.

    Parameters
    ----------
    path : UTF-8 file, at most 8 MB and 200 000 rows
    accepted : sets of column names, one of which the file must have, in any order

    Raises
    ------
    CaseError : no readable table, or up to ten faulty rows, each with its line
    """
    name = str(path)
    content = read_bytes(path, TABLE_FILE)
    text = decoded(content, name, TABLE_FILE)
    lines = _lines(text)
    found = _header(lines, accepted, name)
    rows = _rows(lines, found, name)
    numbers = np.array(rows, float).T
    numbers.flags.writeable = False
    columns = dict(zip(found, numbers, strict=True))
    wanted = next(names for names in accepted if set(names) == set(found))
    return NumberTable(
        name, {key: columns[key] for key in wanted}, hashlib.sha256(content).hexdigest(), text
    )


def _lines(text: str) -> Iterator[Line]:
    """Lines that say something; they end as on any system."""
    for number, line in enumerate(StringIO(text, newline=None), 1):
        said = line.strip()
        if said and not said.startswith("#"):
            yield number, said


def _header(lines: Iterator[Line], accepted: Sequence[tuple[str, ...]], name: str) -> list[str]:
    allowed = " or ".join(f"'{','.join(names)}'" for names in accepted)
    number, line = next(lines, (0, ""))
    if not line:
        raise _refused(name, 0, f"is empty; allowed: the columns {allowed}; add them")
    found = [part.strip() for part in line.split(",")]
    if any(len(found) == len(names) and set(found) == set(names) for names in accepted):
        return found
    way_out = "write these names as the first line, no quotes"
    if all(_NUMBER.fullmatch(part) for part in found):
        way_out = "the first line holds numbers: put the names above it"
    elif _foreign(line):
        way_out = f"it is separated by {_foreign(line)}: separate columns by commas"
    text = f"'{shown(line)}' does not name the columns; allowed: {allowed}; {way_out}"
    raise _refused(name, number, text)


def _foreign(line: str) -> str:
    """What separates the columns of a line instead of commas; empty where nothing else does."""
    return next((say for mark, say in ((";", "';'"), ("\t", "tabs")) if mark in line), "")


def _rows(lines: Iterator[Line], names: list[str], name: str) -> list[list[float]]:
    rows: list[list[float]] = []
    faults: list[Fault] = []
    for number, line in lines:
        try:
            rows.append(_row(line, names))
        except _RowError as error:
            faults.append(Fault(shown(name, 200), number, error.column, str(error)))
        if len(faults) == MOST_FAULTS:
            break
        if len(rows) > MOST_ROWS:
            text = f"has more than {MOST_ROWS} rows, the allowed number; thin it out"
            raise _refused(name, number, text)
    if faults:
        raise CaseError(tuple(faults))
    if len(rows) < FEWEST_ROWS:
        text = f"has {len(rows)} rows of numbers; allowed: {FEWEST_ROWS} to {MOST_ROWS}; add rows"
        raise _refused(name, 0, text)
    return rows


class _RowError(Exception):
    """What is wrong with a row, and in which column (empty: the whole row)."""

    def __init__(self, text: str, column: str = "") -> None:
        super().__init__(text)
        self.column = column


def _row(line: str, names: list[str]) -> list[float]:
    if len(line) > LONGEST_LINE:
        text = (
            f"is longer than {LONGEST_LINE} characters; allowed: {len(names)} numbers; shorten it"
        )
        raise _RowError(text)
    parts = line.split(",")
    if len(parts) != len(names):
        raise _wrong_count(line, parts, names)
    return [_number(part.strip(), column) for part, column in zip(parts, names, strict=True)]


def _wrong_count(line: str, parts: list[str], names: list[str]) -> _RowError:
    what = f"'{shown(line)}' has {len(parts)} fields"
    allowed = f"allowed: {len(names)} numbers separated by commas"
    foreign = _foreign(line)
    if foreign and _COMMA.search(line):
        way_out = f"decimal points for the commas, and commas for {foreign}"
        return _RowError(f"'{shown(line)}' has decimal commas; {allowed}; write {way_out}")
    if foreign:
        return _RowError(f"'{shown(line)}' is separated by {foreign}; {allowed}; write commas")
    if len(parts) > len(names) and all(_NUMBER.fullmatch(part.strip()) for part in parts):
        return _RowError(f"{what}; {allowed}; write decimal points if these are decimal commas")
    return _RowError(f"{what}; {allowed}; mend the row")


def _number(part: str, column: str) -> float:
    if _NUMBER.fullmatch(part):
        value = float(part)
        if math.isfinite(value):
            return value
    what = (
        "is not finite" if _NUMBER.fullmatch(part) or _NO_NUMBER.fullmatch(part) else "is no number"
    )
    if not part:
        what = "is left empty"
    text = (
        f"'{shown(part)}' {what}; allowed: a finite number, as 12.5 or 1e-3; mend or drop the row"
    )
    raise _RowError(text, column)


def _refused(name: str, line: int, text: str) -> CaseError:
    return CaseError((Fault(shown(name, 200), line, "", text),))
