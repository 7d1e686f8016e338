"""What moves what, as a table and as JSON."""

import json

from thermo.decide.ranking import Mover, by_effect
from thermo.decide.trial import Trial, near
from thermo.show.words import duration, spoken, wrapped

ROWS = 12  # of each value
SEEN = 0.05  # of what counts as near: less is not worth a row


def ranking_text(found: tuple[Mover, ...], base: Trial, title: str) -> str:
    """For every value beside a limit the inputs that move it, the strongest first."""
    rows = [title]
    for line in base.lines:
        least = SEEN * near(line)
        moving = by_effect(found, line.name, least)[:ROWS]
        value = "not known" if line.value is None else f"{line.value:.4g} {line.unit}".strip()
        rows += ["", f"{spoken(line.name)}: {value}, limit {line.limit:.4g} {line.unit}".strip()]
        unit = "K" if line.unit == "degC" else line.unit
        for m in moving:
            change = f"{m.changes[line.name]:+.3g} {unit}".strip()
            mark = "*" if m.ours else " "
            rows.append(f"  {mark} {m.name:<38}{m.step:>14}: {change:>14}{_time(m)}")
        if not moving:
            rows.append("    nothing that is known here moves it")
    rows += ["", "* a setting to turn; the others are properties with a range.  Coarse mesh."]
    return "\n".join(wrapped(rows)) + "\n"


def _time(m: Mover) -> str:
    if abs(m.time) < 1:
        return ""
    return f"   time {'+' if m.time > 0 else '-'}{duration(abs(m.time))}"


def ranking_json(found: tuple[Mover, ...], base: Trial) -> str:
    """The same as JSON; changes in the unit of each limit."""
    units = {line.name: "K" if line.unit == "degC" else line.unit for line in base.lines}
    body = {
        "units": units,
        "inputs": [
            {
                "key": m.key,
                "step": m.step,
                "setting": m.ours,
                "changes": dict(m.changes),
                "exposure_time_s": m.time,
            }
            for m in found
        ],
    }
    return json.dumps(body, indent=1) + "\n"
