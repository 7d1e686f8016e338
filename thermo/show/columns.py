"""Rows of text in columns that fit the page, whatever letters they hold."""

from collections.abc import Iterator, Sequence
from itertools import zip_longest
from unicodedata import east_asian_width

from thermo.show.words import WIDTH

MARK = "* "
GAP = 2  # blanks between columns
NARROWEST, WIDEST_LABEL = 6, 34
SIDE = 3  # columns that stand side by side at least

Rows = Sequence[tuple[str, Sequence[str]]]  # label, and one cell for each column


def columns(text: str) -> int:
    """Places a text takes on a terminal: two for a wide letter."""
    return sum(2 if east_asian_width(letter) in "WF" else 1 for letter in text)


def folded(text: str, width: int) -> list[str]:
    """A text in lines of at most `width` places, broken at blanks where there are any."""
    lines, line = [], ""
    for letter in text:
        if columns(line) + columns(letter) > width:
            head, _, tail = line.rpartition(" ")
            lines.append(head if head.strip() else line)
            line = tail if head.strip() else ""
        line += letter
    return [*lines, line]


def side_by_side(rows: Rows, count: int) -> list[str]:
    """Rows under the numbers of their columns, in as many blocks as the page needs.

    Rows whose cells are not all the same are marked.
    """
    label = min(max(columns(name) for name, _ in rows), WIDEST_LABEL)
    room = WIDTH - len(MARK) - label
    widest = max(columns(cell) for _, cells in rows for cell in cells)
    most = room // min(count, SIDE) - GAP
    width = max(NARROWEST, min(widest, most))
    together = room // (width + GAP)
    lines: list[str] = []
    for first in range(0, count, together):
        shown = range(first, min(first + together, count))
        heads = "".join(" " * GAP + f"{number + 1:<{width}}" for number in shown)
        lines += [""] * bool(lines) + [(" " * (len(MARK) + label) + heads).rstrip()]
        for name, cells in rows:
            mark = MARK if len(set(cells)) > 1 else " " * len(MARK)
            lines += _row(mark, folded(name, label), label, [cells[i] for i in shown], width)
    return lines


def _row(mark: str, name: list[str], label: int, cells: Sequence[str], width: int) -> Iterator[str]:
    """The lines of one row: label and cells, each folded in its own column."""
    parts = [folded(cell, width) for cell in cells]
    for i, (head, *texts) in enumerate(zip_longest(name, *parts, fillvalue="")):
        line = (mark if i == 0 else " " * len(MARK)) + _padded(head, label)
        line += "".join(" " * GAP + _padded(text, width) for text in texts)
        yield line.rstrip()


def _padded(text: str, width: int) -> str:
    return text + " " * (width - columns(text))
