"""`warmstack estimate`: the main job."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from thermo.commands.options import (
    AsJson,
    CaseFile,
    Photons,
    Refine,
    Settings,
    Still,
    settings_from,
)

Tell = Callable[[str, float], None]


def estimate(
    case: CaseFile,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="DIR", help="Result folder [CASE name.results]."),
    ] = None,
    set_: Settings = None,
    json: AsJson = False,
    strict: Annotated[bool, typer.Option(help="Exit with 5 unless every limit is met.")] = False,
    refine: Refine = 0,
    still: Still = False,
    photons: Photons = 0,
    check_cycle: Annotated[
        bool, typer.Option("--check-cycle", help="March through the limit cycle in time too.")
    ] = False,
) -> None:
    """Estimate an exposure: print the answer and write it with fields and picture to DIR."""
    from thermo.case import read_case
    from thermo.show.folder import check_folder, write_results
    from thermo.show.text import answer_text

    read = read_case(case, settings_from(set_))
    folder = output or Path(f"{case.stem}.results")
    check_folder(folder)
    with _progress() as tell:
        from thermo.answer import run

        result = run(read, refine, still, tell, photons, check_cycle)
    write_results(result, read, folder)
    print(result.answer.to_json() if json else answer_text(result.answer), end="")
    print(f"written to {folder}", file=sys.stderr)
    if strict and any(line.met is not True for line in result.answer.limits):
        raise typer.Exit(5)


@contextmanager
def _progress() -> Iterator[Tell]:
    """Stage, bar and time left on stderr; nothing where stderr is no terminal."""
    if not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description:<22}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading", total=1.0)
        yield lambda stage, share: bar.update(task, description=stage, completed=share)
