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
FEWEST, MOST = 1_000, 100_000_000  # photons


class UsageError(WarmstackError):
    """An option that cannot be read."""

    exit_code = 2


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
