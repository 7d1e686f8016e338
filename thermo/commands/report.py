"""`warmstack report`: the pages of a result folder made anew."""

from pathlib import Path
from typing import Annotated

import typer


def report(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="A folder written by 'warmstack estimate'.")
    ],
) -> None:
    """Make report.html and sheet.html of DIR anew from its results; nothing is solved."""
    from thermo.show.folder import write_report
    from thermo.show.report import REPORT, SHEET

    write_report(folder)
    print(f"{folder / REPORT}\n{folder / SHEET}")
