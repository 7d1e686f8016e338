"""The materials a case may name: those of the table and the user's own under [materials]."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from thermo.case.faults import NAME_RULE, Refusal, nearest, refusals
from thermo.case.fields import NAME
from thermo.case.schema import OwnMaterial, Raw
from thermo.errors import MaterialError, shown
from thermo.materials import Material, material, material_names, own_material

__all__ = ["Library", "read_library"]


@dataclass(frozen=True)
class Library:
    """Materials by name; own ones that are faulty are None, so that their users are not blamed."""

    own: Mapping[str, Material | None]
    like: Mapping[str, str]  # own name -> table name

    def find(self, name: object) -> Material | None:
        """Material of a name; None where it is unknown or faulty."""
        if not isinstance(name, str) or len(name) > 100:
            return None
        if name in self.own:
            return self.own[name]
        try:
            return material(name)
        except MaterialError:
            return None

    def refuse(self, name: str, kind: str) -> str:
        """Why a name is no material of this kind ('solid' or 'gas'); '' if it is one."""
        found = self.find(name)
        if found is not None and found.kind != kind:
            names = ", ".join(n for n in material_names() if material(n).kind == kind)
            return (
                f"the material '{shown(name)}' is a {found.kind}; allowed: a {kind} ({names}); "
                "choose another"
            )
        if found is not None or name in self.own:
            return ""
        known = [n for n in material_names() if material(n).kind == kind]
        own = f" or of [materials] ({', '.join(map(shown, self.own))})" if self.own else ""
        return (
            f"unknown material '{shown(name)}'; allowed: one of the {len(known)} {kind} materials "
            f"that 'warmstack materials' lists{own}; {nearest(name, [*known, *self.own])} or "
            "describe it under [materials]"
        )

    def is_or_is_like(self, name: object, table_name: str) -> bool:
        """Whether a material is this one of the table, or was derived from it and is made of it."""
        found = self.find(self.like.get(name, name) if isinstance(name, str) else None)
        own = self.find(name)
        alike = found is not None and own is not None and own.composition == found.composition
        return alike and found is not None and found.name == table_name


def read_library(table: Any) -> tuple[Library, list[Refusal]]:
    """Own materials from the [materials] tables, and what was refused."""
    own: dict[str, Material | None] = {}
    like: dict[str, str] = {}
    refused: list[Refusal] = []
    if not isinstance(table, dict):
        text = f"'{shown(table)}' is no table; allowed: tables [materials.NAME]; write it as one"
        return Library({}, {}), [(("materials",), text)]
    for name, entry in table.items():
        own[name] = None
        found = list(_refuse_entry(name, entry))
        if not found:
            try:
                own[name] = _read(name, entry)
                if "like" in entry:
                    like[name] = entry["like"]
            except MaterialError as error:
                found = [(("materials", name), str(error))]
        refused += found
    return Library(own, like), refused


def _read(name: str, entry: Raw) -> Material:
    model = OwnMaterial.model_validate(entry)
    given = {key: value for key, value in model if value is not None and key != "like"}
    return own_material(name, material(model.like) if model.like else None, given)


def _refuse_entry(name: str, entry: object) -> list[Refusal]:
    path = ("materials", name)
    if not NAME.fullmatch(name):
        return [(path, f"the name '{shown(name)}' {NAME_RULE}")]
    if Library({}, {}).find(name) is not None:
        return [
            (
                path,
                f"'{name}' is a material of the table; allowed: a name of your own; "
                f'choose another and say like = "{name}"',
            )
        ]
    try:
        like = OwnMaterial.model_validate(entry).like
    except ValidationError as error:
        return refusals(error, OwnMaterial, path)
    if like is None or not (reason := Library({}, {}).refuse(like, "solid")):
        return []
    return [((*path, "like"), reason)]
