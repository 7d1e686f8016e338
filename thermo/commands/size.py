"""`warmstack size`: what a setting may be so that every limit is met; what is in stock compared."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from thermo.commands.options import AsJson, CaseFile, Settings, Still, UsageError, settings_from
from thermo.commands.progress import progress
from thermo.commands.terminal import say

if TYPE_CHECKING:
    from thermo.case import Case

From = Annotated[
    str | None, typer.Option("--from", metavar="VALUE", help="Lowest value to look at.")
]
To = Annotated[str | None, typer.Option("--to", metavar="VALUE", help="Highest value to look at.")]
For = Annotated[
    str | None,
    typer.Option(
        "--for",
        metavar="SETTING",
        help="speed, current, pressure, gap, water, joint, stroke, filter:MATERIAL or a key.",
    ),
]
Among = Annotated[
    str | None,
    typer.Option(
        metavar="A,B,...",
        help="Compare choices: values of the setting (of 'membrane': 'titanium 2.5 um 80 MPa'), or "
        "KEY=VALUE, several joined by ' + '.",
    ),
]

Map = Annotated[
    tuple[str, str] | None,
    typer.Option("--map", metavar="A B", help="Chart of two settings against each other."),
]
Output = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="DIR", help="Folder of the chart [CASE name.map]."),
]


def size(
    case: CaseFile,
    for_: For = None,
    low: From = None,
    high: To = None,
    among: Among = None,
    map_: Map = None,
    output: Output = None,
    set_: Settings = None,
    still: Still = False,
    json: AsJson = False,
) -> None:
    """Print what moves each limit, the range of a setting that keeps all, or choices compared."""
    from thermo.case import read_case

    settings = settings_from(set_)
    _fit(for_, among, map_, ends=low is not None or high is not None, output=output)
    read = read_case(case, settings)
    if map_ is not None:
        _chart(read, map_, still, output or Path(f"{case.stem}.map"))
    elif among is not None:
        _compare(read, settings, for_, among, still, json)
    elif for_ is not None:
        _range(read, for_, low, high, still, json)
    else:
        _ranking(read, still, json)


def _ranking(case: "Case", still: bool, json: bool) -> None:
    from thermo.decide.setting import check_limits
    from thermo.show.ranking import ranking_json, ranking_text

    check_limits(case)
    with progress() as tell:
        from thermo.decide.ranking import movers
        from thermo.decide.trial import Trials

        tell("coarse mesh", 0.0)
        trials = Trials(case, still)
        found = movers(trials, everything=True, tell=tell)
    say(
        ranking_json(found, trials.base) if json else ranking_text(found, trials.base, case.title),
        json,
    )


def _fit(
    for_: str | None, among: str | None, map_: object, ends: bool, output: Path | None
) -> None:
    """Raise UsageError where options do not go together."""
    if map_ is not None and (for_ is not None or among is not None):
        raise UsageError("--map names its own two settings; leave out --for and --among beside it")
    if ends and (for_ is None or among is not None):
        raise UsageError("--from and --to go with --for alone; leave them out")
    if output is not None and map_ is None:
        raise UsageError("-o is the folder of a chart; it goes with --map, leave it out")


def _chart(case: "Case", words: tuple[str, str], still: bool, folder: Path) -> None:
    from thermo.decide.chart import chart, check_pair
    from thermo.decide.setting import check_limits, setting_of
    from thermo.show.folder import check_folder

    check_limits(case)
    first, second = (setting_of(case, word) for word in words)
    check_pair(first, second)
    check_folder(folder)
    with progress() as tell:
        from thermo.decide.trial import Trials
        from thermo.show.chart import chart_text
        from thermo.show.folder import write_map

        tell("coarse mesh", 0.0)
        found = chart(Trials(case, still), first, second, tell)
    write_map(found, case, folder)
    say(chart_text(found, case.title))
    print(f"written to {folder}", file=sys.stderr)


def _range(
    case: "Case", word: str, low: str | None, high: str | None, still: bool, json: bool
) -> None:
    from thermo.decide.setting import check_limits, setting_of, span_of

    check_limits(case)
    setting = setting_of(case, word)
    span_of(case, setting, low, high, still)
    with progress() as tell:
        from thermo.decide import size as sized
        from thermo.decide.trial import Trials
        from thermo.show.sizing import sizing_json, sizing_text

        tell("coarse mesh", 0.0)
        found = sized(Trials(case, still), setting, low, high, tell)
    say(sizing_json(found) if json else sizing_text(found, case.title), json)


def _compare(
    case: "Case", settings: dict[str, str], word: str | None, among: str, still: bool, json: bool
) -> None:
    from thermo.decide.stock import choices_of, compare
    from thermo.show.stock import stock_json, stock_text

    cases = choices_of(case, settings, word, among.split(","))
    with progress() as tell:
        found = compare(cases, still, tell)
    say(stock_json(found) if json else stock_text(found, case.title), json)
