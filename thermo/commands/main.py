"""The command `warmstack` and how its faults end: one clear line each, and the exit code.

0 done; 1 a fault of the program; 2 wrong usage or installation; 3 the case is wrong; 4 a solve
failed its own check or does not fit into memory; 5 a limit is not met and --strict was given.
"""

import os
import sys
from io import TextIOWrapper
from typing import Annotated

import typer

from thermo.commands import (
    check,
    compare,
    dose,
    estimate,
    materials,
    new,
    report,
    schema,
    selfcheck,
    size,
    view,
)
from thermo.errors import WarmstackError

STOPPED = 130  # exit code of what was interrupted

app = typer.Typer(
    help="Thermal and mechanical estimate of a deep X-ray lithography exposure.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.command("new")(new.new)
app.command("check")(check.check)
app.command("dose")(dose.dose)
app.command("estimate")(estimate.estimate)
app.command("size")(size.size)
app.command("report")(report.report)
app.command("compare")(compare.compare)
app.command("schema")(schema.schema)
app.command("selfcheck")(selfcheck.selfcheck)
app.command("view")(view.view)
app.command("materials")(materials.materials)


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        print(f"warmstack {version('warmstack')}")
        raise typer.Exit


@app.callback()
def _main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Hold the options that come before any command."""


def _stopped() -> None:
    """End after an interrupt, without waiting for solves that are under way."""
    print("stopped; nothing was written", file=sys.stderr, flush=True)
    if "thermo.solve" in sys.modules:
        from thermo.solve import is_busy

        if is_busy():
            os._exit(STOPPED)
    sys.exit(STOPPED)


def run() -> None:
    """Run the command line; faults a user can mend end without a traceback."""
    if isinstance(sys.stdout, TextIOWrapper):  # a title may hold what the terminal cannot show
        sys.stdout.reconfigure(errors="replace")
    try:
        app()
    except WarmstackError as error:
        print(error, file=sys.stderr)
        sys.exit(getattr(error, "exit_code", 1))
    except KeyboardInterrupt:
        _stopped()
    except SystemExit as end:
        if end.code == STOPPED:  # the interrupt, as typer passes it on
            _stopped()
        raise
    except BrokenPipeError:
        sys.exit(0)
