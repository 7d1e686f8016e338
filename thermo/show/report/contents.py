"""What a result folder holds, read back for the report: nothing is solved."""

import base64
import csv
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermo.answer import Answer
from thermo.errors import CaseError, shown
from thermo.show.manifest import MANIFEST
from thermo.show.reading import ResultsError, read_answer
from thermo.show.surfaces import SURFACES

Columns = Mapping[str, list[str]]
TABLES = ("cycle", "exposure", "cooling", "depth", "field", "dose", "placement_middle")
MAY_LACK = ("cycle",)  # of a held beam
PICTURES = ("section.svg", "time.svg", "placement.svg", "field.svg", "stack.png")
REPORT, SHEET = "report.html", "sheet.html"
PAGES = (REPORT, SHEET)


@dataclass(frozen=True)
class Contents:
    """A result folder read back.

    case : the text of the case file;  tables : columns of text by the file's name
    pictures : by name, each as the address that holds it;  surfaces : arrays of surfaces.npz
    files : sha256 by name, of all but the pages;  changed : those whose sum is another now
    """

    answer: Answer
    case: str
    tables: Mapping[str, Columns]
    pictures: Mapping[str, str]
    surfaces: Mapping[str, NDArray[np.generic]]
    files: Mapping[str, str]
    changed: tuple[str, ...]

    def numbers(self, table: str, column: str) -> list[float]:
        """A column of a table as numbers."""
        return [float(cell) for cell in self.tables[table][column]]


def read_results(folder: Path) -> Contents:
    """Read a result folder.

    Raises ResultsError, one line, for a folder that lacks what `warmstack estimate` writes.
    """
    name = shown(folder, 200)
    try:
        return _read(folder)
    except FileNotFoundError as error:
        lacks = Path(error.filename).name if error.filename else "a file"
        raise ResultsError(
            f"{name} has no {lacks}; name a folder that 'warmstack estimate' wrote"
        ) from None
    except CaseError as error:
        raise ResultsError(str(error)) from None
    except OSError as error:
        raise ResultsError(f"{name} cannot be read: {error.strerror}; check the name") from None
    except (ValueError, LookupError, TypeError):
        raise ResultsError(f"{name} is damaged; estimate the case again") from None


def _read(folder: Path) -> Contents:
    answer = read_answer(folder / "answer.json")
    sums = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))["sha256"]
    files = {str(name): str(value) for name, value in sums.items() if name not in PAGES}
    tables = {
        name: _columns(folder / f"{name}.csv")
        for name in TABLES
        if name not in MAY_LACK or (folder / f"{name}.csv").exists()
    }
    pictures = {Path(name).stem: _picture(folder / name) for name in PICTURES}
    with np.load(folder / SURFACES, allow_pickle=False) as stored:
        surfaces = {key: stored[key] for key in stored.files}
    case = (folder / "case.toml").read_text(encoding="utf-8")
    changed = tuple(name for name, value in files.items() if _sum(folder / name) != value)
    return Contents(answer, case, tables, pictures, surfaces, files, changed)


def _picture(path: Path) -> str:
    """A picture as the address that holds it."""
    kind = "svg+xml" if path.suffix == ".svg" else "png"
    return f"data:image/{kind};base64,{base64.b64encode(path.read_bytes()).decode('ascii')}"


def _sum(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _columns(path: Path) -> Columns:
    with path.open(encoding="utf-8", newline="") as file:
        head, first, *more = csv.reader(file)
    rows = [first, *more]
    return {name: [row[i] for row in rows] for i, name in enumerate(head)}
