"""`warmstack view`: the stack of a result in three dimensions, in a window of its own."""

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from thermo.errors import WarmstackError

SCREENS = ("DISPLAY", "WAYLAND_DISPLAY")  # either names a screen under Linux


class ViewError(WarmstackError):
    """A window that cannot be opened."""

    exit_code = 2


def view(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="A folder written by 'warmstack estimate'.")
    ],
) -> None:
    """Open a window with the cut stack of DIR, coloured by peak temperature, to turn and to ask."""
    from thermo.show.cutaway import read_cutaway
    from thermo.show.stack_picture import run_drawer

    read_cutaway(folder)
    if sys.platform == "linux" and not any(os.environ.get(name) for name in SCREENS):
        raise ViewError(f"no screen here ({' and '.join(SCREENS)} are not set); {_way_out(folder)}")
    fault = run_drawer([str(folder.resolve())])
    if fault is not None:
        raise ViewError(f"no window could be opened: {fault}; {_way_out(folder)}")


def _way_out(folder: Path) -> str:
    return (
        f"look at {folder / 'stack.png'}, or open {folder / 'temperature.vtu'} with any VTK viewer"
    )
