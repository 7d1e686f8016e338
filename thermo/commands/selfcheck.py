"""`warmstack selfcheck`: whether the installation is whole and its numbers hold."""

import typer

from thermo.commands.options import AsJson
from thermo.commands.terminal import say


def selfcheck(json: AsJson = False) -> None:
    """Check the installation and known numbers: exit 2 if it is wrong, 4 if a number is off."""
    from thermo.show.selfcheck import check_json, check_text, self_check

    check = self_check()
    say(check_json(check) if json else check_text(check), json)
    if not check.is_installed:
        raise typer.Exit(2)
    if not check.holds:
        raise typer.Exit(4)
