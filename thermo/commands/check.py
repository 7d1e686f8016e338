"""`warmstack check`: read and check a case, show its stack and what a run would take."""

from thermo.commands.options import AsJson, CaseFile, Refine, Settings, Still, settings_from
from thermo.commands.terminal import say


def check(
    case: CaseFile,
    set_: Settings = None,
    json: AsJson = False,
    refine: Refine = 0,
    still: Still = False,
) -> None:
    """Check a case and print its stack, assumptions, mesh size, memory and time; solve nothing."""
    from thermo.answer.size import run_size
    from thermo.case import read_case
    from thermo.show.checked import checked_json, checked_text

    read = read_case(case, settings_from(set_))
    size = run_size(read, refine, still)
    say(checked_json(read, size) if json else checked_text(read, size), json)
