"""The list of a result folder's files, each with its sha256."""

import hashlib
import json
import os
from collections.abc import Iterable, Mapping
from pathlib import Path

MANIFEST = "manifest.json"


def sum_of(path: Path) -> str:
    """The sha256 of a plain file, '' where there is none."""
    if not path.is_file():
        return ""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def write_manifest(folder: Path, only: Iterable[str] | None = None) -> None:
    """List every file of the folder but the list itself; only: these anew, the others as listed."""
    if only is None:
        names = [p.name for p in sorted(folder.iterdir()) if p.is_file() and p.name != MANIFEST]
        sums: Mapping[str, str] = {name: sum_of(folder / name) for name in names}
    else:
        sums = dict(sorted({**read_sums(folder), **{n: sum_of(folder / n) for n in only}}.items()))
    put(folder / MANIFEST, json.dumps({"sha256": sums}, indent=1) + "\n")


def read_sums(folder: Path) -> dict[str, str]:
    """The sums as listed, by plain names; raises OSError or ValueError."""
    listed = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))["sha256"]
    found = {str(name): str(value) for name, value in listed.items()}
    if any(Path(name).name != name for name in found):
        raise ValueError("the manifest names files that are elsewhere")
    return found


def put(path: Path, text: str) -> None:
    """Write a file in one step: a reader sees the old one or the new one, whole."""
    new = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        new.write_text(text, encoding="utf-8")
        os.replace(new, path)
    finally:
        new.unlink(missing_ok=True)
