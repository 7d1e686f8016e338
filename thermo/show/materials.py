"""The materials table as text and JSON."""

import json
from collections.abc import Sequence
from typing import Any

from thermo.materials import Material, describe

ROOM = 293.15  # K


def all_materials_text(chosen: Sequence[Material]) -> str:
    """One line a material: what it is, and its conductivity at 20 degC, expansion and limit."""
    width = 1 + max(len("material"), *(len(m.name) for m in chosen))
    rows = [
        f"{'material':<{width}}{'k, W/(m K)':>13}{'expansion, 1e-6/K':>19}{'limit, degC':>13}  what"
    ]
    for m in chosen:
        conductivity = f"{m.conductivity(ROOM):.3g}"
        alpha = "" if m.expansion is None else f"{1e6 * m.expansion.typical[0]:.3g}"
        limit = "" if m.limit is None else f"{m.limit.typical[0] - 273.15:.0f}"
        rows.append(f"{m.name:<{width}}{conductivity:>13}{alpha:>19}{limit:>13}  {m.title}")
    rows.append("one material with all values, ranges and sources: warmstack materials NAME")
    return "\n".join(rows) + "\n"


def material_text(m: Material) -> str:
    """Every value of one material with range, temperature and source."""
    rows = [f"{m.name}: {m.title}"]
    for row in describe(m):
        where = f" at {row.temperature}" if row.temperature else ""
        rows.append(f"  {row.property}: {row.value}{where}")
        rows.append(f"      {row.source}")
    return "\n".join(rows) + "\n"


def material_data(chosen: Sequence[Material]) -> dict[str, dict[str, Any]]:
    """The same rows as data, by name."""
    rows = {m.name: [row._asdict() for row in describe(m)] for m in chosen}
    return {m.name: {"title": m.title, "values": rows[m.name]} for m in chosen}


def material_json(chosen: Sequence[Material]) -> str:
    """The same as JSON."""
    return json.dumps(material_data(chosen), indent=1) + "\n"
