"""`warmstack materials`: the table with spread and source, and how far X-rays reach."""

from pathlib import Path
from typing import Annotated

import typer

from thermo.commands.options import AsJson, UsageError
from thermo.commands.terminal import say


def materials(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="One material.")] = None,
    case: Annotated[
        Path | None,
        typer.Option(metavar="CASE", help="Show what NAME takes of the beam of this case."),
    ] = None,
    json: AsJson = False,
) -> None:
    """Print all materials, or one with every value, its ranges and sources, and how X-rays fade."""
    from thermo.materials import material, material_names
    from thermo.show.materials import all_materials_text, material_json, material_text

    if name is None:
        if case is not None:
            raise UsageError("--case needs a material: write warmstack materials NAME --case CASE")
        chosen = [material(n) for n in material_names()]
        say(material_json(chosen) if json else all_materials_text(chosen), json)
        return
    from thermo.answer.attenuated import absorbed_shares, as_met, attenuation_lengths
    from thermo.answer.scene import describe
    from thermo.case import read_case
    from thermo.show.reach import reach_json, reach_text

    scene = None
    if case is None:
        one = material(name)
    else:
        read = read_case(case)
        one = read.materials[name] if name in read.materials else material(name)
        scene = describe(read)
    met = as_met(one, scene)
    lengths = attenuation_lengths(met)
    shares = () if scene is None else absorbed_shares(met, scene)
    if json:
        say(reach_json(one, lengths, shares), whole=True)
    else:
        say(material_text(one) + reach_text(met, lengths, shares))
