"""The page itself: one file, no request, every name escaped."""

import base64
import hashlib
import json
from collections.abc import Iterable
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from plotly.offline import get_plotlyjs

from thermo.answer import Answer
from thermo.show.report.charts import charts, titles
from thermo.show.report.contents import Contents
from thermo.show.report.headline import broken_words, headlines, other_limits
from thermo.show.report.sheet import settings_of, watch_of
from thermo.show.report.solid import solid_view
from thermo.show.text import WORDS
from thermo.show.words import dose_value, duration
from thermo.units import three_digits

MEANING = {
    "go": "Every limit is met, at the far end of its range too.",
    "change": "Not as it is. One setting brings typical values within every limit; estimate again, "
    "as the ranges may still reach over.",
    "no": "Not as it is, and no single setting of yours brings typical values within every limit.",
    "cannot_tell": "Typical values keep the limits, but not for sure: something is to be measured.",
}
HEAT_MAPS = (
    ("resist-map", "Map of the highest temperature of the resist"),
    ("margin-map", "Map of the room between the resist's peak and its limit"),
    ("mask-map", "Map of the highest temperature of membrane and absorber"),
)
PLACEMENT_MAPS = (
    ("placement-map", "Map of the printed error after shift, rotation and scale, with arrows"),
    ("blur-map", "Map of the blur of printed edges"),
    ("split-map", "Map of how far passes up and down print apart"),
)


def report_page(found: Contents) -> str:
    """The whole report of a result folder as HTML."""
    drawn, solid = charts(found), solid_view(found)
    plotly, script = get_plotlyjs(), _own("view.js")
    return _page(
        found,
        sheet=False,
        policy=_policy(plotly, script),
        charts=_json(drawn),
        solid=_json(solid.data),
        stretch=solid.thicker,
        bent=solid.bent,
        plotly=plotly,
        script=script,
        pictures=found.pictures,
        bars=_bars(found.answer),
        time_charts=[(n, f"Temperatures: {t}") for n, t in titles(found).items() if n in drawn],
        heat_maps=[(name, text) for name, text in HEAT_MAPS if name in drawn],
        placement_maps=[(name, text) for name, text in PLACEMENT_MAPS if name in drawn],
        printed=found.answer.placement.middle.magnification_ppm,
        depths=[(d, getattr(found.answer.placement, d)) for d in ("top", "middle", "base")],
        seconds=sum(found.answer.seconds.values()),
        case=found.case,
        files=found.files,
        changed=found.changed,
    )


def sheet_page(found: Contents) -> str:
    """Page one alone, with settings, what to log and watch, and cautions."""
    return _page(
        found,
        sheet=True,
        policy=_policy(),
        watch=watch_of(found.answer),
    )


def _page(found: Contents, **more: Any) -> str:
    room = Environment(
        loader=PackageLoader("thermo.show.report", ""),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )
    answer = found.answer
    word = answer.verdict.word
    return room.get_template("page.html.j2").render(
        answer=answer,
        word=WORDS[word],
        meaning=MEANING[word],
        headlines=headlines(answer),
        broken=broken_words(answer),
        settings=settings_of(found),
        others=other_limits(answer),
        style=_own("style.css"),
        three=three_digits,
        parted=lambda key: Markup(".<wbr>").join(key.split(".")),
        signed=lambda value: f"{value:+.2f}" if abs(value) >= 5e-3 else "0",
        start=lambda words: words[:1].upper() + words[1:],
        short=lambda value: value if isinstance(value, str) else f"{value:.4g}",
        duration=duration,
        dose=dose_value,
        **more,
    )


def _own(name: str) -> str:
    return files("thermo.show.report").joinpath(name).read_text(encoding="utf-8")


def _policy(*scripts: str) -> str:
    """What the page may do: run these scripts, and show what is in it."""
    sums = [base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in scripts]
    allowed = " ".join(f"'sha256-{one}'" for one in sums) or "'none'"
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; "
        "img-src data: blob:; base-uri 'none'; form-action 'none'"
    )


def _json(value: object) -> str:
    """JSON that may stand in a script element whatever it holds."""
    text = json.dumps(value, separators=(",", ":"), allow_nan=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def _bars(answer: Answer) -> list[dict[str, Any]]:
    """Tables of power with a bar each: along the open column, by part, and where it leaves."""
    path = {line.name: line.absorbed_W_per_cm for line in answer.path}
    return [
        _table("Taken out of the beam, open column, W per cm of width", path.items()),
        _table("Heat by part, mean over the scan, W", answer.heat_W.items()),
        _table("Leaves by, W", answer.heat_out_W.items()),
    ]


def _table(title: str, rows: Iterable[tuple[str, float]]) -> dict[str, Any]:
    seen = [(name, value) for name, value in rows if value >= 5e-3]
    most = max((value for _, value in seen), default=1.0)
    return {
        "title": title,
        "rows": [(name, value, round(100 * value / most, 1)) for name, value in seen],
    }
