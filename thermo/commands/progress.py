"""Progress of long work on a terminal."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Tell = Callable[[str, float], None]


@contextmanager
def progress(quiet: bool = False) -> Iterator[Tell]:
    """Stage, bar and time left on stderr; nothing where that is no terminal, or if quiet."""
    if quiet or not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description:<28}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading", total=1.0)
        yield lambda stage, share: bar.update(task, description=stage, completed=share)
