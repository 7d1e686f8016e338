"""The result folder: written beside its place under another name, then renamed in one step."""

import hashlib
import json
import os
import shutil
import tempfile
from pathlib import Path

from thermo.answer import Result
from thermo.case import Case
from thermo.errors import WarmstackError
from thermo.show.fields import write_fields
from thermo.show.picture import write_section
from thermo.show.text import answer_text

ANSWER = "answer.json"


class FolderError(WarmstackError):
    """A result folder that cannot be written."""

    exit_code = 2


def check_folder(folder: Path) -> None:
    """Raise FolderError where results must not go: a file, or a folder with other things in it."""
    if folder.is_file():
        raise FolderError(f"{folder} is a file; name a folder with -o")
    if folder.is_dir() and any(folder.iterdir()) and not (folder / ANSWER).is_file():
        raise FolderError(
            f"{folder} holds other files; name a new or an earlier result folder with -o"
        )
    if not folder.absolute().parent.is_dir():
        raise FolderError(
            f"{folder.absolute().parent} does not exist; make it, or name another with -o"
        )


def write_results(result: Result, case: Case, folder: Path) -> None:
    """Write every file of the answer; a killed run leaves no half result."""
    check_folder(folder)
    work = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.absolute().parent))
    try:
        (work / ANSWER).write_text(result.answer.to_json(), encoding="utf-8")
        (work / "answer.txt").write_text(answer_text(result.answer), encoding="utf-8")
        (work / "case.toml").write_text(case.text, encoding="utf-8")
        write_fields(result, work)
        write_section(result, work / "section.png")
        (work / "manifest.json").write_text(_manifest(work), encoding="utf-8")
        os.chmod(work, 0o755)
        _swap(work, folder)
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _manifest(folder: Path) -> str:
    files = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())}
    return json.dumps({"sha256": files}, indent=1) + "\n"


def _swap(work: Path, folder: Path) -> None:
    """Put the new folder in the old one's place; the old one is kept until the new one stands."""
    if not folder.exists():
        os.rename(work, folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name}-old-", dir=folder.absolute().parent))
    os.rename(folder, old / "old")
    os.rename(work, folder)
    shutil.rmtree(old, ignore_errors=True)
