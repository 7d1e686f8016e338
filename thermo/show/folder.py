"""The result folder: written beside its place under another name, then renamed in one step."""

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from thermo.case import Case
from thermo.decide import Result
from thermo.decide.chart import Chart
from thermo.errors import WarmstackError, shown
from thermo.show.chart import chart_table, chart_text, write_chart
from thermo.show.cycle_fields import write_cycle_fields
from thermo.show.fields import write_fields
from thermo.show.in_time import write_in_time
from thermo.show.manifest import MANIFEST, put, read_sums, write_manifest
from thermo.show.picture import write_section
from thermo.show.placement import write_placement
from thermo.show.profiles import write_profiles
from thermo.show.report import pages_of
from thermo.show.stack_picture import DRAWN, PICTURE, draw_stack
from thermo.show.surfaces import write_surfaces
from thermo.show.text import answer_text

ANSWER = "answer.json"


class FolderError(WarmstackError):
    """A result folder that cannot be written."""

    exit_code = 2


def check_folder(folder: Path) -> None:
    """Raise FolderError where results must not go: a file, or a folder with other things in it."""
    if folder.exists() and not folder.is_dir():
        raise FolderError(f"{folder} is no folder; name one with -o")
    if folder.is_dir() and (others := _others(folder)):
        raise FolderError(
            f"{folder} holds other files, as {shown(others[0])}; name a new or an earlier result "
            "folder with -o"
        )
    parent = folder.resolve().parent
    if not parent.is_dir():
        raise FolderError(f"{parent} does not exist; make it, or name another with -o")
    if not os.access(parent, os.W_OK):
        raise FolderError(f"{parent} cannot be written to; name another folder with -o")


def _others(folder: Path) -> list[str]:
    """Names in the folder that no earlier result put there."""
    try:
        own = set(read_sums(folder))
    except (OSError, ValueError, LookupError, TypeError, AttributeError):
        own = set()
    return sorted({p.name for p in folder.iterdir()} - own - {MANIFEST})


def write_results(result: Result, case: Case, folder: Path) -> str:
    """Write every file of the answer; a killed run leaves no half result.

    Returns a note for the user, empty where there is nothing to say.
    """
    notes: list[str] = []

    def fill(work: Path) -> None:
        (work / ANSWER).write_text(result.answer.to_json(), encoding="utf-8")
        (work / "answer.txt").write_text(answer_text(result.answer), encoding="utf-8")
        write_fields(result, work)
        write_section(result, work / "section.png")
        write_in_time(result, work)
        write_placement(result, work)
        write_profiles(result, work)
        write_surfaces(result, work)
        write_cycle_fields(result, work)
        drawn = draw_stack(work)
        if drawn != DRAWN:
            notes.append(f"{PICTURE} {drawn}")

    def finish(work: Path) -> None:
        for name, page in pages_of(work).items():
            (work / name).write_text(page, encoding="utf-8")

    write_folder(folder, case, fill, finish)
    return "; ".join(notes)


def write_report(folder: Path) -> None:
    """Make report and sheet of a result folder anew; nothing is solved.

    Raises ResultsError for a folder that is no result, FolderError where it cannot be written.
    """
    pages = pages_of(folder)
    try:
        for name, page in pages.items():
            put(folder / name, page)
        write_manifest(folder, only=pages)
    except OSError as error:
        raise FolderError(f"{folder} cannot be written: {error.strerror}; copy it first") from error


def write_map(chart: Chart, case: Case, folder: Path) -> None:
    """Write the chart of two settings and the table of its trials."""

    def fill(work: Path) -> None:
        write_chart(chart, case.title, work / "map.png")
        (work / "map.csv").write_text(chart_table(chart), encoding="utf-8")
        (work / "map.txt").write_text(chart_text(chart, case.title), encoding="utf-8")

    write_folder(folder, case, fill)


def write_folder(
    folder: Path,
    case: Case,
    fill: Callable[[Path], None],
    finish: Callable[[Path], None] = lambda _: None,
) -> None:
    """A folder with what `fill` writes, and the case with all it names, in one step.

    finish : writes what is made of the other files, once they are listed
    """
    check_folder(folder)
    try:
        _write(folder.resolve(), case, fill, finish)
    except OSError as error:
        raise FolderError(
            f"{folder} cannot be written: {error.strerror}; name another with -o"
        ) from error


def _write(
    folder: Path, case: Case, fill: Callable[[Path], None], finish: Callable[[Path], None]
) -> None:
    work = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        fill(work)
        (work / "case.toml").write_text(case.text, encoding="utf-8")
        for table in case.tables.values():
            _free(work, table.path).write_text(table.text, encoding="utf-8")
        if case.plan is not None:
            _free(work, case.plan.path).write_bytes(case.plan.content)
        write_manifest(work)
        finish(work)
        write_manifest(work)
        os.chmod(work, 0o755)
        _swap(work, folder)
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _free(folder: Path, path: str) -> Path:
    """Place for a copy of an input: its own name, with 'input-' before it where that is taken."""
    name = Path(path).name
    while name == MANIFEST or (folder / name).exists():
        name = f"input-{name}"
    return folder / name


def _swap(work: Path, folder: Path) -> None:
    """Put the new folder in the old one's place; the old one is kept until the new one stands."""
    if not folder.exists():
        os.rename(work, folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name}-old-", dir=folder.parent))
    os.rename(folder, old / "old")
    os.rename(work, folder)
    shutil.rmtree(old, ignore_errors=True)
