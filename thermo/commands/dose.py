"""`warmstack dose`: the exposure plan."""

from thermo.commands.options import AsJson, CaseFile, Settings, settings_from


def dose(case: CaseFile, set_: Settings = None, json: AsJson = False) -> None:
    """Print doses, time, passes, charge and overscan of a case."""
    from thermo.answer.blocks import dose_block
    from thermo.answer.exposure import dose_plan
    from thermo.answer.scene import describe
    from thermo.case import read_case
    from thermo.show.dose import dose_text

    scene = describe(read_case(case, settings_from(set_)))
    plan = dose_plan(scene)
    block = dose_block(plan)
    print(block.model_dump_json(indent=1) + "\n" if json else dose_text(scene, plan, block), end="")
