"""`warmstack dose`: the exposure plan."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from thermo.commands.options import AsJson, CaseFile, Photons, Settings, UsageError, settings_from
from thermo.commands.terminal import say

if TYPE_CHECKING:
    from thermo.answer.scene import Scene


def dose(
    case: CaseFile,
    set_: Settings = None,
    json: AsJson = False,
    done: Annotated[
        str | None,
        typer.Option(
            metavar="AMOUNT",
            help="What a stopped exposure has had: '400 passes', '900 mA min/cm', '8 A h' in all.",
        ),
    ] = None,
    photons: Photons = 0,
    spectrum: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also write the emitted spectrum as a CSV table."),
    ] = None,
) -> None:
    """Print the plan of an exposure: time, passes, charge, doses, overscan, filters, heat."""
    from thermo.answer.dose_report import dose_report
    from thermo.answer.scene import describe
    from thermo.case import read_case
    from thermo.show.dose import dose_text
    from thermo.show.spectrum import write_spectrum

    scene = describe(read_case(case, settings_from(set_)))
    given = 0.0 if done is None else _passes_worth(scene, done)
    report = dose_report(scene, given, photons)
    if spectrum is not None:
        write_spectrum(scene, spectrum)
    say(report.to_json() if json else dose_text(report), json)


def _passes_worth(scene: "Scene", text: str) -> float:
    """Passes' worth at the ring current of the case, from a number of passes or a charge."""
    from thermo.beam import charge_per_length, passes_done
    from thermo.errors import QuantityError
    from thermo.units import parse_quantity

    motion, current = scene.motion, scene.case.ring.current.value
    if motion is None:
        raise UsageError("--done counts passes, and this case has no [scan]; leave it out")
    if passes := re.fullmatch(r"\s*([0-9]+(?:\.[0-9]+)?)\s*pass(?:es)?\s*", text):
        return float(passes[1])
    try:
        kind = "charge_per_length" if "/" in text else "charge"
        charge = parse_quantity(text, kind).value
    except QuantityError:
        raise UsageError(
            f"--done: '{text}' is no amount; allowed: a number of passes, a charge per length of "
            "scan or a charge; write --done '400 passes', '900 mA min/cm' or '8 A h'"
        ) from None
    per_length = charge if "/" in text else charge_per_length(charge, motion)
    if not per_length >= 0:
        raise UsageError(f"--done: '{text}' is below zero; allowed: 0 or more")
    return passes_done(per_length, current, motion.speed)
