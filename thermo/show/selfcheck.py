"""Whether this installation is whole: its packages, what it can write and draw, and its numbers."""

import json
import platform
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from importlib.metadata import Distribution, PackageNotFoundError, distribution, distributions
from importlib.metadata import version as installed
from io import BytesIO
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from urllib.request import url2pathname

import thermo
from thermo.errors import shown
from thermo.show.words import wrapped

OURS, NAME = "warmstack", "thermo"  # distribution, and the package it is imported by
PACKAGES = (
    *(OURS, "numpy", "scipy", "numba", "pyamg", "xraylib", "pydantic", "meshio"),
    *("matplotlib", "plotly", "jinja2"),
)
EXTRAS = ("pyvista",)  # without it matplotlib stands in
ANEW = f"install {OURS} anew, in an environment of its own: python -m venv NAME"
PATIENCE = 8.0  # s for a picture by pyvista
SOLID = """
import pyvista
plotter = pyvista.Plotter(off_screen=True, window_size=(64, 64))
plotter.add_mesh(pyvista.Cube())
raise SystemExit(0 if plotter.screenshot(return_img=True).std() > 1 else 3)
"""


@dataclass(frozen=True)
class Installed:
    """One thing about the installation: what, what was found, and the way out if it is wrong."""

    what: str
    found: str
    way_out: str = ""


@dataclass(frozen=True)
class Number:
    """One closed form solved: its words and values; `found` is None where the solve failed."""

    what: str
    unit: str
    found: float | None
    expected: float
    tolerance: float
    source: str
    ok: bool
    reason: str


@dataclass(frozen=True)
class SelfCheck:
    """Everything that was looked at."""

    installed: tuple[Installed, ...]
    numbers: tuple[Number, ...]

    @cached_property
    def is_installed(self) -> bool:
        """Whether the installation is whole."""
        return not any(line.way_out for line in self.installed)

    @cached_property
    def holds(self) -> bool:
        """Whether all numbers agree."""
        return all(number.ok for number in self.numbers)


def self_check() -> SelfCheck:
    """Look at the installation and solve every closed form; takes seconds, writes nothing."""
    lines = [*_versions(), *(_looked(*look) for look in LOOKS.items())]
    try:
        numbers = tuple(_numbers())
    except ImportError as error:
        numbers = ()
        lines.append(Installed("numbers", f"cannot be solved ({shown(error)})", ANEW))
    return SelfCheck(tuple(lines), numbers)


def _looked(what: str, look: Callable[[], tuple[str, str]]) -> Installed:
    try:
        return Installed(what, *look())
    except Exception as error:  # a broken installation may raise anything
        return Installed(what, f"cannot be told ({shown(error, 100)})", ANEW)


def _versions() -> Iterator[Installed]:
    yield Installed("python", platform.python_version())
    for name in (*PACKAGES, *EXTRAS):
        try:
            yield Installed(name, shown(installed(name)))
        except PackageNotFoundError:
            yield Installed(name, "not installed", ANEW if name in PACKAGES else "")


def _import_package() -> tuple[str, str]:
    """Whether `thermo` is this distribution's: others have a package of that name too."""
    place = Path(thermo.__file__ or ".").parent.resolve()
    if others := sorted({d.name for d in distributions() if _is_other(d)}):
        return f"{shown(', '.join(others))} puts a package '{NAME}' here too", ANEW
    if place not in _homes(distribution(OURS)):
        way = f"leave that folder, take it out of PYTHONPATH, or {ANEW}"
        return f"{shown(place, 200)} is not of {OURS}", way
    return f"{shown(place, 200)}, of {OURS}", ""


def _is_other(found: Distribution) -> bool:
    """Whether a distribution that is not ours provides a package of our import name."""
    if (found.name or OURS).lower() == OURS:  # a broken one has no name
        return False
    tops = {Path(file).parts[0] for file in found.files or () if Path(file).parts}
    listed = (found.read_text("top_level.txt") or "").split()
    return bool({NAME, f"{NAME}.py"} & {*tops, *listed})


def _homes(ours: Distribution) -> set[Path]:
    """Folders from which the import package may come: where it was installed, or its sources."""
    homes = {Path(str(ours.locate_file(NAME))).resolve()}
    origin = json.loads(ours.read_text("direct_url.json") or "{}")
    if origin.get("dir_info", {}).get("editable"):
        sources = Path(url2pathname(urlsplit(origin["url"]).path))
        homes.add((sources / NAME).resolve())
    return homes


def _memory() -> tuple[str, str]:
    from thermo.answer.size import machine_memory

    found = machine_memory()
    return "not told by the system" if found is None else f"{found / 1e3:.3g} GB", ""


def _loops() -> tuple[str, str]:
    """Whether compiled loops are kept for the next run; without, every run waits some 15 s."""
    from thermo.solve import loops

    stats = getattr(loops.times, "stats", None)
    if stats is None:
        found = "not compiled, NUMBA_DISABLE_JIT is set: every run takes very long"
    elif stats.cache_path is None:
        found = "compiled anew by every run: set NUMBA_CACHE_DIR to a folder that can be written"
    else:
        found = f"kept in {shown(stats.cache_path, 200)}"
    return found, ""


def _pictures() -> tuple[str, str]:
    from matplotlib.figure import Figure

    file = BytesIO()
    figure = Figure(figsize=(1, 1))
    figure.subplots().plot([0, 1])
    figure.savefig(file, format="png")
    return "drawn by matplotlib", "" if file.getvalue().startswith(b"\x89PNG") else ANEW


def _solid_pictures() -> tuple[str, str]:
    """Pictures of solids, tried in a process of its own: a graphics driver may end or hang it."""
    stands_in = "matplotlib stands in"
    try:
        installed("pyvista")
        command = [sys.executable, "-P", "-c", SOLID]
        done = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=PATIENCE,
            check=False,
        )
    except PackageNotFoundError:
        found = f"pyvista is not installed: {stands_in}"
    except subprocess.TimeoutExpired:
        found = f"pyvista draws nothing within {PATIENCE:g} s: {stands_in}"
    except OSError as error:
        found = f"pyvista cannot be tried ({shown(error)}): {stands_in}"
    else:
        failed = f"pyvista draws nothing off screen (exit {done.returncode}): {stands_in}"
        found = failed if done.returncode else "drawn off screen by pyvista"
    return found, ""


LOOKS = {
    f"import {NAME}": _import_package,
    "memory": _memory,
    "compiled loops": _loops,
    "pictures": _pictures,
    "solid pictures": _solid_pictures,
}


def _numbers() -> Iterator[Number]:
    from thermo.answer.closed_forms import CLOSED_FORMS

    for form in CLOSED_FORMS:
        found, reason = None, ""
        try:
            found = form.found()
        except Exception as error:  # a broken library may raise anything: told, not passed on
            reason = f"{type(error).__name__}: {shown(error, 150)}"
        yield Number(
            form.what,
            form.unit,
            found,
            form.expected,
            form.tolerance,
            form.source,
            found is not None and form.holds(found),
            reason,
        )


def check_text(check: SelfCheck) -> str:
    """Every line as a table, at most 100 columns wide but for long paths."""
    rows = ["Installation"]
    for line in check.installed:
        rows.append(f"  {line.what:<16}{'NOT OK: ' if line.way_out else ''}{line.found}")
        rows += [f"      {line.way_out}"] * bool(line.way_out)
    if check.numbers:
        head = f"{'Numbers against closed forms':<56}{'found':>10}{'known':>10}{'within':>8}"
        rows += ["", head]
    for n in check.numbers:
        found = "none" if n.found is None else f"{n.found:.6g}"
        label = f"{n.what}, {n.unit}" if n.unit else n.what
        rows.append(
            f"  {label:<54}{found:>10}{n.expected:>10.6g}{n.tolerance:>8.0e}  "
            f"{'ok' if n.ok else 'NOT OK'}"
        )
        rows += [f"      {n.reason or n.source}"] * (not n.ok)
    return "\n".join(wrapped([*rows, "", _verdict(check)])) + "\n"


def _verdict(check: SelfCheck) -> str:
    if not check.is_installed:
        return "The installation is wrong: mend what is NOT OK above"
    if not check.holds:
        return f"Numbers are wrong: trust no answer of this installation; {ANEW}"
    return "The installation is whole and its numbers hold"


def check_json(check: SelfCheck) -> str:
    """The same as JSON; tolerances are relative."""
    data: dict[str, Any] = {
        "installed": [
            {"what": x.what, "found": x.found, "ok": not x.way_out, "way_out": x.way_out or None}
            for x in check.installed
        ],
        "numbers": [
            {
                "what": n.what,
                "unit": n.unit,
                "found": n.found
                if n.found is None or abs(n.found) < float("inf")
                else str(n.found),
                "expected": n.expected,
                "tolerance_relative": n.tolerance,
                "source": n.source,
                "ok": n.ok,
                "reason": n.reason or None,
            }
            for n in check.numbers
        ],
    }
    return json.dumps(data, indent=1) + "\n"
