"""A room imports only from the rooms below it, and heavy packages stay in their rooms."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import thermo

ROOT = Path(thermo.__file__).parent
FLOORS = [
    {"errors"},
    {"units"},
    {"materials"},
    {"case"},
    {"beam", "mesh"},
    {"solve"},
    {"heat"},
    {"elastic"},
    {"answer"},
    {"decide"},
    {"show"},
    {"commands"},
]
FLOOR = {name: i for i, floor in enumerate(FLOORS) for name in floor}
HOMES = {  # package: the only rooms that may import it
    "typer": {"commands"},
    "matplotlib": {"show"},
    "numba": {"solve"},
    "meshio": {"mesh", "show"},
    "tomllib": {"case", "materials"},
    "xraylib": {"beam"},
    "xraylib_np": {"beam"},
    "pyamg": {"solve"},
    "pyvista": {"show"},
    "plotly": {"show"},
    "jinja2": {"show"},
}
MODULES = sorted(p for p in ROOT.rglob("*.py") if p != ROOT / "__init__.py")
HEAVY = (
    "pyvista",
    "plotly",
    "jinja2",
    "matplotlib",
    "typer",
    "numba",
    "pyamg",
    "meshio",
    "xraylib",
)


def room(path):
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imported(tree):
    """Full names of all imported modules, those inside functions too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (a.name for a in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative import: name the module in full"
            base = node.module or ""
            yield from (f"thermo.{a.name}" for a in node.names) if base == "thermo" else (base,)


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_point_down(path):
    own = room(path)
    assert own in FLOOR, f"{own} has no floor: add it to FLOORS and to DEVELOPERS.md"
    for name in imported(ast.parse(path.read_text(encoding="utf-8"))):
        top, *rest = name.split(".")
        if top == "thermo" and rest and rest[0] != own:
            assert FLOOR[rest[0]] < FLOOR[own], f"{own} must not import {rest[0]}"
        assert own in HOMES.get(top, {own}), f"{own} must not import {top}"


@pytest.mark.parametrize(
    ("module", "forbidden"),
    [
        ("thermo", HEAVY),
        ("thermo.errors", HEAVY),
        ("thermo.units", HEAVY),
        ("thermo.materials", HEAVY),
        ("thermo.case", HEAVY),
        ("thermo.mesh", HEAVY),
        ("thermo.solve", tuple(set(HEAVY) - {"numba"})),
        ("thermo.heat", tuple(set(HEAVY) - {"numba"})),
        ("thermo.beam", tuple(set(HEAVY) - {"xraylib"})),
    ],
)
def test_an_import_loads_no_heavy_package_it_may_not_need(module, forbidden):
    code = f"import sys, {module}; print(*sorted(set(sys.modules) & set({forbidden!r})))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not run.stdout.split()
