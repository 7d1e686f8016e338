"""The list of a result folder's files, each with its sha256."""

import hashlib
import json
from pathlib import Path

MANIFEST = "manifest.json"


def manifest_text(folder: Path) -> str:
    """Every file of the folder but the list itself, as JSON."""
    files = {
        p.name: hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.iterdir())
        if p.name != MANIFEST
    }
    return json.dumps({"sha256": files}, indent=1) + "\n"
