"""`warmstack materials`: the table with spread and source."""

from typing import Annotated

import typer

from thermo.commands.options import AsJson


def materials(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="One material.")] = None,
    json: AsJson = False,
) -> None:
    """Print all materials, or one with every value, range, temperature and source."""
    from thermo.materials import material, material_names
    from thermo.show.materials import all_materials_text, material_json, material_text

    chosen = [material(n) for n in (material_names() if name is None else [name])]
    if json:
        print(material_json(chosen), end="")
    else:
        print(all_materials_text(chosen) if name is None else material_text(chosen[0]), end="")
