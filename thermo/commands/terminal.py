"""What a command says on the terminal."""

import shutil
import sys

from thermo.show.words import WIDTH, fitted

NARROWEST = 60  # columns


def say(text: str, whole: bool = False) -> None:
    """Print a text, broken to fit a terminal that is narrower than tables are.

    whole : as it is, because it is data
    """
    columns = shutil.get_terminal_size((WIDTH, 24)).columns if sys.stdout.isatty() else WIDTH
    narrow = columns < WIDTH and not whole
    print(fitted(text, max(columns, NARROWEST)) if narrow else text, end="")
