"""Numbers and rows as people read them."""

from textwrap import wrap

WIDTH = 100  # columns
SEEN = 5e-4  # less is not worth a row


def wrapped(rows: list[str]) -> list[str]:
    """Long rows broken at blanks; what follows stands under the row's own text."""
    return [
        line
        for row in rows
        for line in wrap(row, WIDTH, subsequent_indent=12 * " ", break_long_words=False) or [row]
    ]


def fitted(text: str, columns: int) -> str:
    """A text whose lines are no longer than so many columns; what is broken stands further in."""
    lines = []
    for line in text.splitlines():
        inset = " " * (len(line) - len(line.lstrip()) + 4)
        broken = wrap(
            line,
            columns,
            subsequent_indent=inset,
            break_long_words=False,
            break_on_hyphens=False,
        )
        lines += broken if len(line) > columns and broken else [line]
    return "".join(f"{line}\n" for line in lines)


def spoken(name: str) -> str:
    """The name of a limit as it is spoken."""
    return name.replace("_", " ")


def duration(s: float) -> str:
    """A time in the unit in which it is spoken of."""
    if s < 9.95:
        return f"{s:.2g} s"
    if s < 120:
        return f"{s:.0f} s"
    if s < 7200:
        return f"{s / 60:.1f} min" if s < 600 else f"{s / 60:.0f} min"
    return f"{s / 3600:.1f} h"


def growth(ppm: float) -> str:
    """Which way and how far a body grows."""
    return f"{'grows' if ppm >= 0 else 'shrinks'} by {abs(ppm):.3g} ppm"


def length(metres: float) -> str:
    """A length in the unit in which it is spoken of."""
    for factor, unit in ((1.0, "m"), (1e-3, "mm"), (1e-6, "um")):
        if metres >= factor * (1 - 1e-9):
            return f"{metres / factor:.3g} {unit}"
    return f"{metres / 1e-9:.3g} nm"


def small(value: float) -> str:
    """A value with three digits, 0 where it is too small to matter."""
    return f"{value:.3g}" if value >= SEEN else "0"


def dose_value(J_per_cm3: float) -> str:
    """A dose in the unit in which it is spoken of."""
    if J_per_cm3 >= 1000:
        return f"{J_per_cm3 / 1000:.3g} kJ/cm3"
    return f"{J_per_cm3:.3g} J/cm3"
