"""The line of every key and list element of a TOML text, so that a fault can name it.

The standard TOML reader gives values without places. This one gives places without values: it
splits the text into tokens that know strings and comments, and follows tables, inline tables,
arrays, arrays of tables and dotted keys. It judges nothing; that is the reader's work.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

__all__ = ["Path", "Token", "key_lines", "key_parts", "line_of", "tokens"]

Path = tuple[str | int, ...]  # ("beam", "filters", 0, "material"); elements counted from 0

# Every alternative ends at the end of line or text if nothing else closes it, and never backtracks:
# the time is linear in the text whatever it holds.
_TOKEN = re.compile(
    r"""(?P<space>[ \t\r]++|\#[^\n]*+)
      | (?P<newline>\n)
      | (?P<text>\"{3}(?:[^"\\]|\\[\s\S]?|"(?!""))*+"{0,5}
               | '{3}(?:[^']|'(?!''))*+'{0,5}
               | "(?:[^"\\\n]|\\.?)*+"?
               | '[^'\n]*+'?)
      | (?P<mark>[\[\]{}=,.])
      | (?P<bare>[^\s\[\]{}=,."'#]++)
      | (?P<space2>\s)""",
    re.VERBOSE,
)


@dataclass(frozen=True, slots=True)
class Token:
    """A piece of the text: kind is 'text', 'mark', 'bare' or 'newline'; lines count from 1."""

    kind: str
    text: str
    line: int


def tokens(text: str) -> Iterator[Token]:
    """Pieces of a TOML text without spaces and comments."""
    line = 1
    for found in _TOKEN.finditer(text):
        kind = found.lastgroup or ""
        if not kind.startswith("space"):
            yield Token(kind, found.group(), line)
        line += found.group().count("\n")


def key_lines(text: str) -> dict[Path, int]:
    """Line of every table, key and list element of a valid TOML text."""
    walk = _Walk(list(tokens(text)))
    walk.document()
    return walk.lines


def line_of(path: Path, lines: Mapping[Path, int]) -> int:
    """Line of a path, or of the nearest table above it; 1 where nothing of it is written."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 1


def key_parts(text: str) -> tuple[str, ...] | None:
    """Parts of a dotted key, quoted or not; None where the text is no key."""
    pieces = list(tokens(text))
    names, dots = pieces[::2], pieces[1::2]
    if len(pieces) % 2 == 0 or any(dot.text != "." for dot in dots):
        return None
    if any(not _is_name(name) for name in names):
        return None
    return tuple(_name(name) for name in names)


def _is_name(token: Token) -> bool:
    if token.kind == "bare":
        return re.fullmatch(r"[A-Za-z0-9_-]+", token.text) is not None
    return token.kind == "text" and re.fullmatch(r'"[^"\\]*"|\'[^\']*\'', token.text) is not None


def _name(token: Token) -> str:
    if token.kind == "bare":
        return token.text
    return str(tomllib.loads(f"name = {token.text}")["name"])


class _Walk:
    """One pass over the tokens of a valid text; `lines` fills as it goes."""

    def __init__(self, pieces: list[Token]) -> None:
        self.pieces = pieces
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.last: dict[Path, int] = {}  # array of tables -> index of its latest element

    def next_is(self, *texts: str) -> bool:
        return self.at < len(self.pieces) and self.pieces[self.at].text in texts

    def step(self) -> Token:
        self.at += 1
        return self.pieces[self.at - 1]

    def skip_newlines(self) -> None:
        while self.next_is("\n"):
            self.at += 1

    def document(self) -> None:
        table: Path = ()
        self.skip_newlines()
        while self.at < len(self.pieces):
            if self.next_is("["):
                table = self.header()
            else:
                self.pair(table)
            self.skip_newlines()

    def header(self) -> Path:
        line = self.step().line
        is_array = self.next_is("[")
        if is_array:
            self.step()
        path: Path = ()
        names = self.names()
        for index, name in enumerate(names):
            path = (*path, name)
            self.lines.setdefault(path, line)
            if is_array and index == len(names) - 1:
                self.last[path] = self.last.get(path, -1) + 1
            if path in self.last:
                path = (*path, self.last[path])
        self.lines[path] = line
        while self.next_is("]"):
            self.step()
        return path

    def pair(self, table: Path) -> None:
        line = self.pieces[self.at].line
        for name in self.names():
            table = (*table, name)
            self.lines.setdefault(table, line)
        self.step()  # the equals sign
        self.value(table)

    def names(self) -> list[str]:
        found = [_name(self.step())]
        while self.next_is("."):
            self.step()
            found.append(_name(self.step()))
        return found

    def value(self, path: Path) -> None:
        if self.next_is("["):
            self.array(path)
        elif self.next_is("{"):
            self.inline_table(path)
        else:
            while self.at < len(self.pieces) and not self.next_is("\n", ",", "]", "}"):
                self.step()

    def array(self, path: Path) -> None:
        self.step()
        index = 0
        self.skip_newlines()
        while not self.next_is("]"):
            if self.next_is(","):
                self.step()
                index += 1
            else:
                self.lines[(*path, index)] = self.pieces[self.at].line
                self.value((*path, index))
            self.skip_newlines()
        self.step()

    def inline_table(self, path: Path) -> None:
        self.step()
        self.skip_newlines()
        while not self.next_is("}"):
            if self.next_is(","):
                self.step()
            else:
                self.pair(path)
            self.skip_newlines()
        self.step()
