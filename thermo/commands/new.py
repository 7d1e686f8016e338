"""`warmstack new`: a commented case to start from."""

from pathlib import Path
from typing import Annotated

import typer

from thermo.commands.options import UsageError


def new(
    name: Annotated[Path, typer.Argument(metavar="NAME", help="File to write, .toml is added.")],
) -> None:
    """Write a commented starter case with invented numbers."""
    from thermo.case import starter_text

    if not name.name:
        raise UsageError(f"'{name}' is no file name; choose one, as in: warmstack new my-plate")
    path = name if name.suffix == ".toml" else name.with_name(name.name + ".toml")
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(starter_text(path.stem))
    except FileExistsError:
        raise UsageError(f"{path} exists already; choose another name") from None
    except OSError as error:
        raise UsageError(f"{path} cannot be written: {error.strerror}") from None
    print(f"{path}: an invented case to start from; then: warmstack check {path}")
