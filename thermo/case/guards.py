"""Guards before a case file is parsed: a file that is no case is refused cheaply.

Size, encoding, depth of brackets and length of dotted keys are bounded first, so that what comes
after is bounded in time and depth whatever the file holds.
"""

from dataclasses import dataclass
from pathlib import Path

from thermo.case.positions import tokens
from thermo.errors import CaseError, Fault, shown

__all__ = ["LARGEST_FILE", "FileKind", "decoded", "read_bytes", "read_text", "refuse_hostile"]

LARGEST_FILE = 256_000  # bytes
DEEPEST_BRACKETS = 32
LONGEST_KEY = 16  # parts of a dotted key


@dataclass(frozen=True)
class FileKind:
    """A kind of text file: name, largest size (bytes, and as said), ways out of its faults.

    key : that names the file in a case, if only one does
    """

    name: str
    largest: int
    size: str
    absent: str
    shorten: str
    unreadable: str
    key: str = ""


CASE_FILE = FileKind(
    "case file",
    LARGEST_FILE,
    f"{LARGEST_FILE // 1000} kB",
    "check the path, or write one with 'warmstack new'",
    "shorten it",
    "save the file as UTF-8",
)


def read_text(path: Path) -> str:
    """Text of a case file, a leading byte order mark left out.

    Raises
    ------
    CaseError : no such file, no plain file, unreadable, too large, or not UTF-8 text
    """
    return decoded(read_bytes(path, CASE_FILE), str(path), CASE_FILE)


def read_bytes(path: Path, kind: FileKind) -> bytes:
    """Content of a plain file that is not too large; raises CaseError."""
    name = str(path)
    try:
        if not path.exists():
            raise _fault(name, 0, f"no such file; {kind.absent}", kind.key)
        if not path.is_file():
            raise _fault(name, 0, f"is no plain file; give the path of a {kind.name}", kind.key)
        with path.open("rb") as file:
            content = file.read(kind.largest + 1)
    except (OSError, ValueError) as error:  # a path holding a NUL is a ValueError
        reason = getattr(error, "strerror", None) or str(error)
        text = f"cannot be read ({shown(reason)}); check the path"
        raise _fault(name, 0, text, kind.key) from None
    if len(content) > kind.largest:
        text = f"is larger than {kind.size}, the allowed size; {kind.shorten}"
        raise _fault(name, 0, text, kind.key)
    return content


def decoded(content: bytes, name: str, kind: FileKind) -> str:
    """Text of a file's bytes, a leading byte order mark left out; raises CaseError."""
    if b"\0" in content:
        line = content.count(b"\n", 0, content.index(b"\0")) + 1
        text = f"holds a NUL byte; allowed is UTF-8 text; is this a {kind.name}?"
        raise _fault(name, line, text)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        byte = content[error.start]
        text = f"byte 0x{byte:02X} is no UTF-8 text; {kind.unreadable}"
        raise _fault(name, line, text) from None


def refuse_hostile(text: str, name: str) -> None:
    """Refuse brackets nested too deep and dotted keys too long, before anything recurses.

    Raises
    ------
    CaseError : one fault with its line
    """
    depth, parts, after_dot = 0, 0, True
    for token in tokens(text):
        if token.text in {"[", "{"} and token.kind == "mark":
            depth += 1
        elif token.text in {"]", "}"} and token.kind == "mark":
            depth = max(0, depth - 1)
        is_dot = token.kind == "mark" and token.text == "."
        if not is_dot:
            parts = parts + 1 if after_dot else 1
        after_dot = is_dot
        if depth > DEEPEST_BRACKETS:
            raise _fault(
                name,
                token.line,
                f"brackets are nested deeper than {DEEPEST_BRACKETS} levels; flatten the list",
            )
        if parts > LONGEST_KEY:
            raise _fault(
                name,
                token.line,
                f"a dotted key has more than {LONGEST_KEY} parts; no key of a case needs that",
            )


def _fault(name: str, line: int, text: str, key: str = "") -> CaseError:
    return CaseError((Fault(shown(name, 200), line, key, text),))
