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
    with progress() as tell:
        from thermo.decide import run

        result = run(read, refine, still, tell, photons, check_cycle)
    note = write_results(result, read, folder)
    print(result.answer.to_json() if json else answer_text(result.answer), end="")
    print(f"written to {folder}" + (f"; {note}" if note else ""), file=sys.stderr)
    if strict and any(line.met is not True for line in result.answer.limits):
        raise typer.Exit(5)
