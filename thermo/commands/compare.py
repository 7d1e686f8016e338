"""`warmstack compare`: result folders side by side."""

from pathlib import Path
from typing import Annotated

import typer

from thermo.commands.options import AsJson, UsageError
from thermo.commands.terminal import say


def compare(
    folders: Annotated[
        list[Path] | None,
        typer.Argument(metavar="DIR DIR [DIR...]", help="Result folders, two or more."),
    ] = None,
    json: AsJson = False,
) -> None:
    """Compare results: what each says side by side, and in which inputs their cases differ."""
    if not folders or len(folders) < 2:
        raise UsageError(
            f"{len(folders or [])} result folders are given, needed: 2 or more; write "
            "warmstack compare DIR DIR"
        )
    from thermo.show.compare import compare_json, compare_text
    from thermo.show.reading import read_answers

    results = read_answers(folders)
    say(compare_json(results) if json else compare_text(results), json)
