"""The chart of two settings: picture, table of its trials, and the words beside it."""

import csv
from io import StringIO
from pathlib import Path
from textwrap import shorten

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from thermo.decide.chart import PLACED, Chart
from thermo.decide.setting import Setting
from thermo.decide.trial import near
from thermo.show.words import spoken, wrapped
from thermo.units import to_unit

LINES: tuple[tuple[float, tuple[float, ...]], ...] = (  # dashes of each limit
    (0, ()),
    (0, (5, 2)),
    (0, (1, 1.5)),
    (0, (6, 2, 1, 2)),
    (0, (6, 1, 1, 1, 1, 1)),
    (0, (1, 4)),
)
SUBS = (1, 2, 3, 5, 7)  # marked numbers of a decade
NOTHING = 1e-3  # times near: what is off by less is not told
MUCH = 10.0  # times near, 1 K or 10 nm: a chart that is off by more does not tell it well
HATCHES = ("", "//", "..", "\\\\", "xx", "--")


def chart_text(chart: Chart, title: str) -> str:
    """What the chart says in words."""
    room, number = chart.binding()
    names = chart.names()
    share = float((room <= 0).mean())
    first, second = chart.settings
    rows = [
        title,
        f"{first.key} against {second.key}: every limit holds in {share:.0%} of the chart",
    ]
    if share == 0 and np.isfinite(room).any():
        at = np.unravel_index(np.nanargmin(room), room.shape)
        x, y = (p[i] for p, i in zip(chart.drawn(), at, strict=True))
        rows.append(
            f"  least broken at {first.text(first.value(float(x)), 3)} and "
            f"{second.text(second.value(float(y)), 3)}, by {spoken(names[int(number[at])])}"
        )
    for i, name in enumerate(names):
        binds = float(((number == i) & (room > 0)).mean())
        if binds > 0:
            rows.append(f"  {spoken(name)} is broken most in {binds:.0%}")
    lost = float((number == -1).mean())
    if lost > 0:
        rows.append(f"  not known in {lost:.0%}: the membrane may be past its flat state")
    off = ", ".join(
        f"{spoken(n)} {v:.2g} {chart.limit(n)[1]}".strip()
        for n, v in chart.off.items()
        if v > NOTHING * near(chart.line(n))
    )
    rows.append(
        "At five places between the trials the chart is off by up to: "
        f"{off or 'not known'}; typical values"
    )
    wide = [n for n, v in chart.off.items() if v > MUCH * near(chart.line(n))]
    if wide:
        much = ", ".join(map(spoken, wide))
        rows.append(f"  that is much for {much}: look closer with --for")
    return "\n".join(wrapped(rows)) + "\n"


def write_chart(chart: Chart, title: str, path: Path) -> None:
    """Allowed region, the limit that binds elsewhere, each limit's line, the present point."""
    figure = Figure(figsize=(8.6, 6.4), layout="constrained")
    axes = figure.subplots()
    x, y = (
        np.array([s.value(p) for p in places])
        for s, places in zip(chart.settings, chart.drawn(), strict=True)
    )
    x, y = (_shown(s, v) for s, v in zip(chart.settings, (x, y), strict=True))
    handles = _regions(axes, chart, x, y) + _lines(axes, chart, x, y)
    handles += _points(axes, chart)
    for axis, setting in ((axes.xaxis, chart.settings[0]), (axes.yaxis, chart.settings[1])):
        if not setting.even:
            axis.axes.set(**{f"{axis.axis_name}scale": "log"})
            axis.set_major_locator(LogLocator(subs=SUBS, numticks=30))
            axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
            axis.set_minor_formatter(NullFormatter())
        axis.set_label_text(f"{setting.key}, {setting.unit}")
    axes.set(xlim=(x[0], x[-1]), ylim=(y[0], y[-1]))
    axes.set_title(shorten(title, 80))
    axes.legend(handles=handles, loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False)
    figure.savefig(path, dpi=150)


def _regions(axes: Axes, chart: Chart, x: np.ndarray, y: np.ndarray) -> list[Patch]:
    """Where every limit holds: white; elsewhere the grey and hatch of the limit broken most."""
    room, number = chart.binding()
    handles = [Patch(facecolor="white", edgecolor="black", label="every limit holds")]
    for i, name in enumerate(chart.names()):
        where = ((number == i) & (room > 0)).astype(float)
        if not where.any():
            continue
        tone = str(0.88 - 0.1 * (i % 5))
        hatch = HATCHES[i % len(HATCHES)]
        axes.contourf(x, y, where.T, levels=[0.5, 1.5], colors=[tone], hatches=[hatch])
        handles.append(
            Patch(facecolor=tone, edgecolor="black", hatch=hatch, label=f"{spoken(name)} broken")
        )
    lost = (number == -1).astype(float)
    if lost.any():
        axes.contourf(x, y, lost.T, levels=[0.5, 1.5], colors=["0.97"], hatches=["oo"])
        handles.append(Patch(facecolor="0.97", edgecolor="black", hatch="oo", label="not known"))
    refused = chart.refused().astype(float)
    if refused.any():
        axes.contourf(x, y, refused.T, levels=[0.5, 1.5], colors=["0.35"])
        handles.append(Patch(facecolor="0.35", edgecolor="black", label="the case refuses it"))
    return handles


def _lines(axes: Axes, chart: Chart, x: np.ndarray, y: np.ndarray) -> list[Line2D]:
    handles = []
    for i, name in enumerate(chart.names()):
        excess = np.where(chart.unknown & (name in PLACED), np.nan, chart.drawn_excess[name])
        if np.isnan(excess).all() or not np.nanmin(excess) < 0 < np.nanmax(excess):
            continue
        style = LINES[i % len(LINES)]
        axes.contour(x, y, excess.T, levels=[0.0], colors="black", linestyles=[style])
        limit, unit = chart.limit(name)
        label = f"{spoken(name)} at {limit:.4g} {unit}".strip()
        handles.append(Line2D([], [], color="black", linestyle=style, label=label))
    return handles


def _points(axes: Axes, chart: Chart) -> list[Line2D]:
    first, second = chart.settings
    handles = []
    tried = [at for at, trial in chart.trials.items() if trial is not None]
    places = [
        [_one(s, s.value(float(p[at[i]]))) for at in tried]
        for i, (s, p) in enumerate(zip(chart.settings, chart.places, strict=True))
    ]
    handles += axes.plot(*places, "k.", markersize=3, clip_on=False, label="trials")
    refused = [at for at, trial in chart.trials.items() if trial is None]
    if refused:
        where = [
            [_one(s, s.value(float(p[at[i]]))) for at in refused]
            for i, (s, p) in enumerate(zip(chart.settings, chart.places, strict=True))
        ]
        handles += axes.plot(*where, "kx", clip_on=False, label="not possible")
    if first.present is not None and second.present is not None:
        here = [[_one(s, s.present or 0.0)] for s in chart.settings]
        handles += axes.plot(
            *here, "o", mfc="white", mec="black", mew=2, ms=10, label="the case as it is"
        )
    return handles


def _one(setting: Setting, value: float) -> float:
    return to_unit(value, setting.unit, setting.kind)


def _shown(setting: Setting, values: np.ndarray) -> np.ndarray:
    return np.array([_one(setting, float(v)) for v in values])


def chart_table(chart: Chart) -> str:
    """Every trial as CSV: both settings in their units, the value beside each limit, the time."""
    names = chart.names()
    out = StringIO()
    table = csv.writer(out, lineterminator="\n")
    heads = [f"{s.key}, {s.unit}" for s in chart.settings]
    limits = [f"{n}, {chart.limit(n)[1]}" for n in names]
    table.writerow([*heads, *limits, "exposure time, s"])
    for at, trial in chart.trials.items():
        values = [
            f"{_one(s, s.value(float(p[i]))):.6g}"
            for s, p, i in zip(chart.settings, chart.places, at, strict=True)
        ]
        if trial is None:
            table.writerow([*values, *[""] * (len(names) + 1)])
            continue
        lines = {j.name: j.value for j in trial.lines}
        cells = ["" if lines.get(n) is None else f"{lines[n]:.6g}" for n in names]
        table.writerow([*values, *cells, f"{trial.dose.time:.6g}"])
    return out.getvalue()
