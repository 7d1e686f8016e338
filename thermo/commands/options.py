"""Options that several commands share."""

from pathlib import Path
from typing import Annotated

import typer

from thermo.errors import WarmstackError

CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="The case file (TOML).")]
Settings = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Change one input, as in --set 'scan.speed=20 mm/s'; list elements count from 1.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")]
MOST_HALVINGS = 3
FEWEST, MOST = 1_000, 100_000_000  # photons


class UsageError(WarmstackError):
    """An option that cannot be read."""

    exit_code = 2


def _halvings(refine: int) -> int:
    """A number of halvings that can be run at all."""
    if not 0 <= refine <= MOST_HALVINGS:
        raise UsageError(
            f"--refine {refine} is outside 0 .. {MOST_HALVINGS}; each step takes 8 times as long"
        )
    return refine


Refine = Annotated[
    int,
    typer.Option(metavar="N", callback=_halvings, help="Halve every spacing of the mesh N times."),
]
Still = Annotated[bool, typer.Option(help="Hold the beam at the middle of the field.")]


def _checked(photons: int) -> int:
    """A number of photons that tells something and does not take hours."""
    if photons != 0 and not FEWEST <= photons <= MOST:
        raise UsageError(
            f"--photons {photons} is outside {FEWEST} .. {MOST}; 600000 are right to about 0.1 %"
        )
    return photons


Photons = Annotated[
    int,
    typer.Option(
        metavar="N",
        callback=_checked,
        help="Check absorbed power and dose by following N photons (try 600000).",
    ),
]


def settings_from(pairs: list[str] | None) -> dict[str, str]:
    """Settings by key from KEY=VALUE texts."""
    found = {}
    for pair in pairs or []:
        key, sign, value = pair.partition("=")
        if not (sign and key.strip()):
            raise UsageError(f"--set: '{pair}' is no KEY=VALUE; write --set 'scan.speed=20 mm/s'")
        found[key.strip()] = value.strip()
    return found
