"""Result folders read back: each one's answer, and the keys of its case."""

import hashlib
import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from thermo.answer import Answer
from thermo.answer.schema import SCHEMA
from thermo.case.flat import flat_case
from thermo.case.guards import CASE_FILE, FileKind, decoded, read_bytes
from thermo.errors import WarmstackError, shown

ANSWER_FILE = FileKind(
    "result folder's answer",
    20_000_000,
    "20 MB",
    "no result folder; name folders that 'warmstack estimate' wrote",
    "estimate the case again",
    "estimate the case again",
)


class ResultsError(WarmstackError):
    """Result folders that cannot be read: all their faults, one line each."""

    exit_code = 2


@dataclass(frozen=True)
class Compared:
    """One result folder: its answer, and its case as {dotted key: text}.

    more : the case was answered with --set, or with files beside it
    """

    folder: str
    answer: Answer
    case: dict[str, str]
    more: bool


def read_answers(folders: Sequence[Path]) -> tuple[Compared, ...]:
    """Answer and case of every result folder.

    Raises
    ------
    ResultsError : folders that hold no answer of this program's schema, or are given twice
    """
    found, faults, places = [], [], set()
    for folder in folders:
        try:
            found.append(_read(folder))
        except WarmstackError as error:
            faults.append(str(error))
            continue
        place = os.path.realpath(folder)
        if place in places:
            faults.append(f"{shown(folder, 200)}: given twice; name each result folder once")
        places.add(place)
    if faults:
        raise ResultsError("\n".join(faults))
    return tuple(found)


def _read(folder: Path) -> Compared:
    name = shown(folder, 200)
    if not os.path.isdir(folder):  # a path that is too long or closed to us is none either
        raise ResultsError(f"{name}: no such folder; name folders that 'warmstack estimate' wrote")
    answer = read_answer(folder / "answer.json")
    path = folder / "case.toml"
    text = decoded(read_bytes(path, CASE_FILE), str(path), CASE_FILE)
    same = hashlib.sha256(text.encode()).hexdigest() == answer.case.sha256
    return Compared(str(folder), answer, flat_case(text, str(path)), not same)


def read_answer(path: Path) -> Answer:
    """Answer of a file; raises ResultsError or CaseError."""
    text = decoded(read_bytes(path, ANSWER_FILE), str(path), ANSWER_FILE)
    name, again = shown(path, 200), "estimate the case again"
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise ResultsError(f"{name}: is no JSON ({shown(error, 100)}); {again}") from None
    schema = data.get("schema") if isinstance(data, dict) else None
    if schema != SCHEMA:
        raise ResultsError(
            f"{name}: has schema {shown(schema)}, allowed: {SCHEMA}; {again} with this program"
        )
    try:
        return Answer.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = shown(".".join(map(str, first["loc"])), 80)
        raise ResultsError(f"{name}: {place}: {shown(first['msg'], 100)}; {again}") from None
