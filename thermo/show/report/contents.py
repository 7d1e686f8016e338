"""What a result folder holds, read back for the report: nothing is solved."""

import base64
import csv
from collections.abc import Mapping
from dataclasses import dataclass
from io import BytesIO, StringIO
from math import isfinite
from pathlib import Path
from zipfile import ZipFile

import numpy as np
from numpy.typing import NDArray

from thermo.answer import Answer
from thermo.case.guards import FileKind, decoded, read_bytes
from thermo.errors import CaseError, shown
from thermo.show.manifest import read_sums, sum_of
from thermo.show.reading import ResultsError, read_answer
from thermo.show.surfaces import BODIES, SURFACES

Column = list[float] | list[str]
TIMES = ("time_s", "resist_degC", "mask_degC")
ERRORS = tuple(f"error_{c}_nm" for c in "xy")
BLURS = tuple(f"blur_{c}_nm2" for c in ("xx", "xy", "yy"))
SPLITS = tuple(f"up_minus_down_{c}_nm" for c in "xy")
TABLES: Mapping[str, tuple[str, ...]] = {  # columns that are needed
    "cycle": TIMES,
    "exposure": TIMES,
    "cooling": TIMES,
    "depth": ("layer", "z_mm", "lowest_degC", "mean_degC", "printing_degC", "peak_degC"),
    "field": ("x_mm", "y_mm", "resist_peak_degC", "mask_peak_degC"),
    "dose": ("depth_um", "dose_J_per_cm3"),
    "placement_middle": ("x_mm", "y_mm", *ERRORS, *BLURS, *SPLITS),
}
MAY_LACK = ("cycle",)  # of a held beam
WORDS = ("layer",)  # columns that hold no numbers
PICTURES = ("section.svg", "time.svg", "placement.svg", "field.svg", "stack.png")
LARGEST = 60_000_000  # bytes of a file that is read whole, packed or not
PART = FileKind(
    "part of a result",
    LARGEST,
    "60 MB",
    "estimate the case again",
    "estimate the case again",
    "estimate the case again",
)
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
    tables: Mapping[str, Mapping[str, Column]]
    pictures: Mapping[str, str]
    surfaces: Mapping[str, NDArray[np.generic]]
    files: Mapping[str, str]
    changed: tuple[str, ...]

    def numbers(self, table: str, column: str) -> list[float]:
        """A column of a table as numbers."""
        return [float(cell) for cell in self.tables[table][column]]

    def words(self, table: str, column: str) -> list[str]:
        """A column of words."""
        return [str(cell) for cell in self.tables[table][column]]


def read_results(folder: Path) -> Contents:
    """Read a result folder.

    Raises ResultsError, one line, for a folder that lacks what `warmstack estimate` writes.
    """
    name = shown(folder, 200)
    if not folder.is_dir():
        raise ResultsError(f"{name}: no such folder; name one that 'warmstack estimate' wrote")
    try:
        return _read(folder)
    except (CaseError, ResultsError) as error:
        raise ResultsError(str(error)) from None
    except OSError as error:
        raise ResultsError(f"{name} cannot be read: {error.strerror}; check the name") from None
    except Exception as error:  # whatever damage does to what reads it
        what = shown(f"{type(error).__name__}: {error}", 80)
        raise ResultsError(f"{name} is damaged ({what}); estimate the case again") from None


def _read(folder: Path) -> Contents:
    answer = read_answer(folder / "answer.json")
    files = read_sums(folder)
    tables = {
        name: _columns(folder / f"{name}.csv", needed)
        for name, needed in TABLES.items()
        if name not in MAY_LACK or (folder / f"{name}.csv").exists()
    }
    pictures = {Path(name).stem: _picture(folder / name) for name in PICTURES}
    surfaces = _surfaces(folder / SURFACES)
    case = _text(folder / "case.toml")
    own = {name: value for name, value in files.items() if name not in PAGES}
    changed = tuple(name for name, value in own.items() if sum_of(folder / name) != value)
    return Contents(answer, case, tables, pictures, surfaces, own, changed)


def _text(path: Path) -> str:
    return decoded(read_bytes(path, PART), str(path), PART)


def _picture(path: Path) -> str:
    """A picture as the address that holds it."""
    kind = "svg+xml" if path.suffix == ".svg" else "png"
    return f"data:image/{kind};base64,{base64.b64encode(read_bytes(path, PART)).decode('ascii')}"


def _columns(path: Path, needed: tuple[str, ...]) -> Mapping[str, Column]:
    """Columns of a table by their names, finite numbers but for words."""
    head, first, *more = csv.reader(StringIO(_text(path)))
    rows = [first, *more]
    found: dict[str, Column] = {}
    for i, name in enumerate(head):
        cells = [row[i] for row in rows]
        found[name] = cells if name in WORDS else [_finite(cell) for cell in cells]
    if lacks := [name for name in needed if name not in found]:
        raise ResultsError(f"{shown(path, 200)} has no column {lacks[0]}; estimate the case again")
    return found


def _finite(cell: str) -> float:
    number = float(cell)
    if not isfinite(number):
        raise ValueError(f"{cell} is no number")
    return number


def _surfaces(path: Path) -> dict[str, NDArray[np.generic]]:
    """Arrays of surfaces.npz, of shapes that fit each other, finite."""
    content = BytesIO(read_bytes(path, PART))
    with ZipFile(content) as packed:
        if sum(one.file_size for one in packed.infolist()) > LARGEST:
            raise ValueError("its surfaces are too large")
    with np.load(content, allow_pickle=False) as stored:
        found = {key: stored[key] for key in stored.files}
    for body in BODIES:
        points, quads, active = (found[f"{body}_{key}"] for key in ("points", "quads", "active"))
        nodes, cells, layers = points.shape[1], quads.shape[1], len(found[f"{body}_layers"])
        shapes = {
            "points": (2, nodes),
            "quads": (4, cells),
            "levels": (layers + 1,),
            "active": (layers, cells),
            "peak": (layers + 1, nodes),
            "moved": (3, layers + 1, nodes),
        }
        fits = all(found[f"{body}_{key}"].shape == shape for key, shape in shapes.items())
        numbers = all(np.isfinite(found[f"{body}_{k}"]).all() for k in ("points", "levels", "peak"))
        if not (fits and numbers and np.isfinite(found[f"{body}_moved"]).all()):
            raise ValueError("its surfaces do not fit each other")
        if not (active.any() and int(quads.max()) < nodes):
            raise ValueError("its surfaces name nodes that are not there")
    return found
