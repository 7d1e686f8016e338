"""`warmstack estimate`: the main job."""

import sys
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
from thermo.commands.progress import progress

SOLVED = 0.93  # share of the whole job: the rest draws and writes


def estimate(
    case: CaseFile,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="DIR", help="Result folder [CASE name.results]."),
    ] = None,
    set_: Settings = None,
    json: AsJson = False,
    quiet: Annotated[
        bool, typer.Option("-q", "--quiet", help="Print the verdict alone; no progress.")
    ] = False,
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
    from thermo.commands.terminal import say
    from thermo.show.folder import check_folder, write_results
    from thermo.show.text import answer_text, verdict_line

    read = read_case(case, settings_from(set_))
    folder = output or Path(f"{case.stem}.results")
    check_folder(folder)
    with progress(quiet) as tell:
        from thermo.decide import run

        result = run(
            read, refine, still, lambda what, done: tell(what, SOLVED * done), photons, check_cycle
        )
        tell("pictures and report", SOLVED)
        note = write_results(result, read, folder)
    if json:
        print(result.answer.to_json(), end="")
    elif quiet:
        print(verdict_line(result.answer))
    else:
        say(answer_text(result.answer))
    if note or not quiet:
        print(f"written to {folder}" + (f"; {note}" if note else ""), file=sys.stderr)
    if strict and any(line.met is not True for line in result.answer.limits):
        raise typer.Exit(5)
