"""The plan mesh a case names: its bytes, guarded before anything reads them as a mesh."""

import hashlib
import re
from dataclasses import dataclass, field
from pathlib import Path

from thermo.case.guards import FileKind, read_bytes
from thermo.errors import CaseError, Fault, shown

__all__ = ["PlanFile", "plan_refused", "read_plan_file"]

LARGEST_PLAN = 16_000_000  # bytes
PLAN_FILE = FileKind(
    "plan mesh",
    LARGEST_PLAN,
    f"{LARGEST_PLAN // 1_000_000} MB",
    "check the name; it is looked for beside the case",
    "use a coarser plan",
    "save the file as .vtu",
    "mesh.plan",
)


@dataclass(frozen=True)
class PlanFile:
    """A plan mesh as read: bytes of a .vtu file, and their SHA-256."""

    path: str
    content: bytes = field(repr=False)
    sha256: str


def read_plan_file(path: Path) -> PlanFile:
    """Bytes of a .vtu file of at most 16 MB that unfold to no more than they are.

    Raises
    ------
    CaseError : no such file, no plain file, too large, no XML, with entities or compressed
    """
    content = read_bytes(path, PLAN_FILE)
    head = re.search(rb"<VTKFile[^>]*>", content)
    if head is None:
        raise plan_refused(path, "is no .vtu file; allowed: a plan mesh of quads; save it as .vtu")
    if b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        raise plan_refused(path, "defines XML entities; allowed: plain data; save it anew as .vtu")
    if b"compressor" in head[0]:
        text = "is compressed; allowed: ASCII or binary data; save it without compression"
        raise plan_refused(path, text)
    return PlanFile(str(path), content, hashlib.sha256(content).hexdigest())


def plan_refused(path: Path | str, text: str) -> CaseError:
    """What is raised for a plan mesh: one fault with its file, under the key that names it."""
    return CaseError((Fault(shown(str(path), 200), 0, PLAN_FILE.key, text),))
