"""From the file to a checked case, or to every fault it has.

text -> tables -> settings -> own materials -> assumed values -> models -> checks between keys
"""

import hashlib
import re
import tomllib
from collections.abc import Mapping
from os import PathLike
from pathlib import Path as FilePath
from typing import Any

from pydantic import BaseModel, ValidationError

from thermo.case.checks import cross_refusals
from thermo.case.faults import NAME_RULE, Places, Refusal, nearest, nearest_name, refusals
from thermo.case.fields import NAME
from thermo.case.filling import assumed_of_materials, fill_assumed, name_layers, solids
from thermo.case.guards import read_text, refuse_hostile
from thermo.case.library import Library, read_library
from thermo.case.plan_file import PlanFile, read_plan_file
from thermo.case.positions import Path, key_lines
from thermo.case.schema import SECTIONS, Case, Head, Raw, Sensor
from thermo.case.settings import apply_settings
from thermo.case.tables import NumberTable, read_table
from thermo.case.tree import dig
from thermo.errors import CaseError, Fault, shown
from thermo.materials import Material

__all__ = ["read_case"]

KEYS = ("title", *SECTIONS, "sensors", "materials")
OPTIONAL = {"scan", "limits", "mesh"}
TABLES = {  # key that names a file -> columns it may have
    "ring.spectrum": (
        ("energy_eV", "power_W_per_eV_per_mm"),
        ("energy_eV", "flux_photons_per_s_per_0.1%bw_per_mrad"),
    ),
    "scan.table": (("time_s", "position_mm"),),
}
LONGEST_NAME = 200  # characters of a file's name


def read_case(path: str | PathLike[str], settings: Mapping[str, str] | None = None) -> Case:
    """Checked case of a case file.

    Parameters
    ----------
    path : a TOML file, UTF-8, at most 256 kB
    settings : values by dotted key that replace those of the file before any check; list elements
        are counted from 1, as in 'beam.filters.1.thickness'

    Raises
    ------
    CaseError : with every fault of the file and the settings, each with its line
    """
    settings = settings or {}
    text = read_text(FilePath(path))
    name = str(path)
    refuse_hostile(text, name)
    raw = _parse(text, name)
    places = Places(name, key_lines(text))
    refused = apply_settings(raw, settings, places)
    library, more = read_library(raw.get("materials", {}))
    refused += more
    name_layers(raw)
    assumed, more = fill_assumed(raw, library)
    refused += more
    parts, more = _read_parts(raw, library)
    refused += more
    refused += cross_refusals(raw)
    refused += _softening(raw, library)
    tables, in_tables = _read_tables(raw, FilePath(path).parent)
    plan, in_plan = _read_plan(raw, FilePath(path).parent)
    in_tables += in_plan
    if refused or in_tables:
        faults = {places.fault(refusal): None for refusal in refused}
        own = sorted(faults, key=lambda fault: (fault.line, fault.key))
        raise CaseError((*own, *in_tables))
    materials = _materials(raw, library)
    return Case(
        **parts,
        materials=materials,
        tables=tables,
        plan=plan,
        assumed=(*assumed, *assumed_of_materials(raw, materials)),
        path=name,
        text=text,
        sha256=_hash(text, tables if plan is None else {**tables, "mesh.plan": plan}, settings),
        settings=dict(settings or {}),
    )


def _read_tables(raw: Raw, folder: FilePath) -> tuple[dict[str, NumberTable], list[Fault]]:
    """Tables the case names, read from beside it, and the faults in them."""
    tables: dict[str, NumberTable] = {}
    faults: list[Fault] = []
    for key, accepted in TABLES.items():
        name = dig(raw, key)
        if _is_file_name(name):
            try:
                tables[key] = read_table(folder / name, accepted)
            except CaseError as error:
                faults += error.faults
    return tables, faults


def _read_plan(raw: Raw, folder: FilePath) -> tuple[PlanFile | None, list[Fault]]:
    """The plan mesh the case names, read from beside it, and the faults in it."""
    name = dig(raw, "mesh.plan")
    if not _is_file_name(name):
        return None, []
    try:
        return read_plan_file(folder / name), []
    except CaseError as error:
        return None, list(error.faults)


def _is_file_name(name: object) -> bool:
    if not isinstance(name, str) or "://" in name:
        return False
    return name.isprintable() and 0 < len(name) <= LONGEST_NAME


def _parse(text: str, name: str) -> Raw:
    try:
        return tomllib.loads(text)
    except ValueError as error:  # an integer of thousands of digits is a ValueError too
        reason = shown(str(error), 150)
        found = re.search(r"\(?at line (\d+), (column \d+)\)?", reason)
        line = int(found[1]) if found else text.count("\n") + 1
        reason = reason.replace(found[0], f"({found[2]})") if found else reason
        fault = Fault(
            shown(name, 200), line, "", f"is not readable as TOML: {reason}; mend this line first"
        )
        raise CaseError((fault,)) from None


def _read_parts(raw: Raw, library: Library) -> tuple[Raw, list[Refusal]]:
    """Models of all tables by key, and what they refused."""
    unknown = sorted(raw.keys() - set(KEYS))
    meant = {nearest_name(key, KEYS) for key in unknown}
    refused: list[Refusal] = [
        ((key,), f"unknown key; allowed: {', '.join(KEYS)}; {nearest(key, KEYS)}")
        for key in unknown
    ]
    head = _model(Head, {"title": raw["title"]} if "title" in raw else {}, (), library, refused)
    parts: Raw = {"title": head.title} if isinstance(head, Head) else {}
    for key, model in SECTIONS.items():
        if key in raw:
            parts[key] = _model(model, raw[key], (key,), library, refused)
        elif key not in OPTIONAL | meant:
            keys = ", ".join(model.model_fields)
            refused.append(((key,), f"the table is missing; allowed: keys {keys}; add [{key}]"))
    parts["sensors"] = _sensors(raw.get("sensors", {}), library, refused)
    return parts, refused


def _sensors(table: object, library: Library, refused: list[Refusal]) -> dict[str, Any]:
    if not isinstance(table, dict):
        text = f"'{shown(table)}' is no table; allowed: tables [sensors.NAME]; write it as one"
        refused.append((("sensors",), text))
        return {}
    for name in table:
        if not NAME.fullmatch(name):
            refused.append((("sensors", name), f"the name '{shown(name)}' {NAME_RULE}"))
    return {
        name: _model(Sensor, entry, ("sensors", name), library, refused)
        for name, entry in table.items()
    }


def _model(
    model: type[BaseModel], table: object, path: Path, library: Library, refused: list[Refusal]
) -> BaseModel | None:
    """Model of one table; None after adding to `refused`."""
    try:
        return model.model_validate(table, context={"refuse_material": library.refuse})
    except ValidationError as error:
        refused += refusals(error, model, path)
        return None


def _softening(raw: Raw, library: Library) -> list[Refusal]:
    """Refuse a limit 'from dose' where no softening by dose is known for the resist."""
    layers = dig(raw, "sample.layers")
    resist = dig(layers[0], "material") if isinstance(layers, list) and layers else None
    known = library.find(resist) is None or library.is_or_is_like(resist, "PMMA")
    if dig(raw, "limits.resist") != "from dose" or known:
        return []
    text = (
        f"'from dose' is known for PMMA alone, the resist is {shown(resist)}; "
        "allowed: a temperature; give one in degC"
    )
    return [(("limits", "resist"), text)]


def _materials(raw: Raw, library: Library) -> dict[str, Material]:
    """Every material the case uses, by the name written in it."""
    names = [*solids(raw), raw["chamber"]["gas"]]
    met = [*raw["beam"].get("filters", ()), *raw["beam"].get("spare_filters", ())]
    names += [part["gas"] if "gas" in part else part["material"] for part in met]
    found = {name: library.find(name) for name in names}
    return {name: stuff for name, stuff in found.items() if stuff is not None}


def _hash(
    text: str, files: Mapping[str, NumberTable | PlanFile], settings: Mapping[str, str]
) -> str:
    """SHA-256 of the text, and of the files and settings beside it where there are any."""
    lines = [f"\n{key} {file.sha256}" for key, file in files.items()]
    lines += [f"\n--set {key}={value}" for key, value in settings.items()]
    return hashlib.sha256("".join([text, *lines]).encode()).hexdigest()
