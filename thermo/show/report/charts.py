"""The interactive pictures of the report, as data for plotly.

Lines are told apart by their dashes, maps use cividis, so that both can be read in grey.
"""

import base64
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermo.answer.series import FEW
from thermo.show.report.axes import Chart, axis
from thermo.show.report.contents import Contents
from thermo.show.report.maps import map_charts
from thermo.show.stretch import THINNEST, drawn_heights

Array = NDArray[np.float64]
INK, GREY, BAND = "#1a1a1a", "#6a6a6a", "rgba(120,120,120,0.30)"
STEPS = 65535  # of a range, as whole numbers of 16 bits
FONT = {"family": "system-ui, sans-serif", "size": 13, "color": INK}


def charts(found: Contents) -> dict[str, Chart]:
    """Every picture by the id of its place on the page."""
    made = {"depth": _depth(found), "dose": _dose(found), **_in_time(found), **map_charts(found)}
    return {name: chart | {"layout": _layout(chart["layout"])} for name, chart in made.items()}


def _layout(own: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "font": FONT,
        "margin": {"l": 70, "r": 20, "t": 34, "b": 52},
        "paper_bgcolor": "white",
        "plot_bgcolor": "white",
        **own,
    }


def _line(x: list[float], y: list[float], name: str, dash: str = "solid", **more: Any) -> Chart:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "name": name,
        "line": {"color": INK, "dash": dash, "width": 1.8},
    } | more


def drawn_depths(layers: list[str], z: Array) -> Array:
    """Even places for depths: each layer drawn between THINNEST and THICKEST by its thickness.

    Where a layer begins below the end of the last one, a gap is left as high as the thinnest.
    """
    names = list(dict.fromkeys(layers))
    own = {name: np.array([i for i, n in enumerate(layers) if n == name]) for name in names}
    thick = {n: max(float(np.ptp(z[i])), 1e-9) for n, i in own.items()}
    heights = dict(zip(names, drawn_heights([*thick.values()]).tolist(), strict=True))
    places, top, ends = np.zeros(len(z)), 0.0, _ends(layers, z)
    for name in names:
        rows = own[name]
        if rows[0] in ends:
            top += THINNEST
        places[rows] = top + heights[name] * (z[rows] - z[rows].min()) / thick[name]
        top += heights[name]
    return places


def _depth(found: Contents) -> Chart:
    """Temperature against depth through the hottest resist, with what it swings between."""
    layers = found.words("depth", "layer")
    z = np.array(found.numbers("depth", "z_mm"))
    place = drawn_depths(layers, z)
    bodies = np.split(np.arange(len(z)), _ends(layers, z))
    names = list(dict.fromkeys(layers))
    rows = {n: [p for p, m in zip(place, layers, strict=True) if m == n] for n in names}
    ticks = {_short(n): (min(r) + max(r)) / 2 for n, r in rows.items()}
    if len(bodies) > 1:
        ticks["gap"] = float(place[bodies[0][-1]] + place[bodies[1][0]]) / 2
    data = [_swing(found, own, place) for own in bodies]
    data[0]["showlegend"] = True
    hover = [f"{name}, z = {depth:.4g} mm" for name, depth in zip(layers, z, strict=True)]
    for column, name, dash in (
        ("mean_degC", "mean", "dash"),
        ("printing_degC", "while printing", "dot"),
        ("peak_degC", "peak", "solid"),
    ):
        values = found.numbers("depth", column)
        x, y, tips = (_broken_at(bodies, some) for some in (values, place.tolist(), hover))
        tip = "%{x:.1f} degC<br>%{text}"
        data.append(_line(x, y, name, dash, text=tips, hovertemplate=tip))
    data += _resist_limit(found, layers, place)
    layout = {
        "xaxis": axis("temperature, degC"),
        "yaxis": axis(
            "",
            autorange="reversed",
            tickvals=[*ticks.values()],
            ticktext=[*ticks],
            showgrid=False,
            automargin=True,
        ),
        "shapes": [_level(p) for r in rows.values() for p in (min(r), max(r))],
        "legend": {"orientation": "h", "y": 1.12},
        "height": 430,
    }
    return {"data": data, "layout": layout}


def _ends(layers: list[str], z: Array) -> list[int]:
    """Rows at which a layer begins below the end of the one before: there is a gap between."""
    return [i for i in range(1, len(z)) if layers[i] != layers[i - 1] and z[i] > z[i - 1] + 1e-9]


def _swing(found: Contents, own: NDArray[np.int64], place: Array) -> Chart:
    """Band between lowest and highest of one body."""
    low, peak = (np.array(found.numbers("depth", f"{c}_degC"))[own] for c in ("lowest", "peak"))
    there, back = place[own], place[own][::-1]
    x, y = [*low.tolist(), *peak[::-1].tolist()], [*there.tolist(), *back.tolist()]
    more: dict[str, Any] = {
        "fill": "toself",
        "fillcolor": BAND,
        "line": {"width": 0},
        "hoverinfo": "skip",
    }
    return _line(x, y, "lowest to peak", showlegend=False, **more)


def _broken_at(bodies: list[NDArray[np.int64]], values: list[Any]) -> list[Any]:
    """Values with nothing between two bodies, so that no line crosses the gap."""
    found: list[Any] = []
    for own in bodies:
        found += [*(values[i] for i in own), None]
    return found[:-1]


def _level(place: float) -> Chart:
    line = {"color": "#bbbbbb", "width": 1}
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": place,
        "y1": place,
        "line": line,
    }


def _resist_limit(found: Contents, layers: list[str], place: Array) -> list[Chart]:
    limit = next((line for line in found.answer.limits if line.name == "resist"), None)
    if limit is None or limit.part not in layers:
        return []
    own = [p for p, name in zip(place, layers, strict=True) if name == limit.part]
    line = {"color": GREY, "width": 5}
    name = f"resist limit {limit.limit:.4g} degC"
    return [_line([limit.limit] * 2, [min(own), max(own)], name, line=line)]


def _dose(found: Contents) -> Chart:
    """Dose against depth in the resist, with the limit at its top."""
    depth, dose = found.numbers("dose", "depth_um"), found.numbers("dose", "dose_J_per_cm3")
    thousands = max(dose) >= 1e3
    data = [_line(depth, [d / 1e3 if thousands else d for d in dose], "dose in the open")]
    top = next((line for line in found.answer.limits if line.name == "dose_top"), None)
    if top is not None:
        limit = top.limit if thousands else 1e3 * top.limit
        data.append(_line([depth[0], depth[-1]], [limit] * 2, "limit at the top", "dash"))
    layout = {
        "xaxis": axis("depth below the lit face of the resist, um"),
        "yaxis": axis(f"dose, {'kJ' if thousands else 'J'}/cm3", rangemode="tozero"),
        "legend": {"orientation": "h", "y": 1.12},
        "height": 340,
    }
    return {"data": data, "layout": layout}


def titles(found: Contents) -> dict[str, str]:
    """Tables in time with what they show, in the order in which they matter."""
    highest = (found.answer.dose.passes or 0) > FEW
    whole = f"the whole exposure from cold{', highest of each cycle' if highest else ''}"
    after = "after the shutter has closed"
    if found.answer.course.from_cold:
        never = "one cycle, had it settled: this exposure is over before"
        return {"exposure": whole, "cooling": after, "cycle": never}
    return {"cycle": "one cycle of the scan, settled", "exposure": whole, "cooling": after}


DASHES = ("dot", "dashdot", "longdash", "longdashdot")


def _in_time(found: Contents) -> dict[str, Chart]:
    """Temperatures at the hottest places and at the sensors through cycle, exposure, cooling."""
    made = {}
    for table, title in titles(found).items():
        if table not in found.tables:
            continue
        time = np.array(found.numbers(table, "time_s"))
        minutes = bool(time[-1] > 600)
        x = (time / 60 if minutes else time).tolist()
        names = [n for n in found.tables[table] if n != "time_s"]
        data = []
        for number, column in enumerate(names):
            name = column.removesuffix("_degC").removeprefix("sensor_").replace("_", " ")
            dash = {0: "solid", 1: "dash"}.get(number, DASHES[number % len(DASHES)])
            color = INK if number < 2 else GREY
            line = {"color": color, "dash": dash, "width": 1.8}
            data.append(_line(x, found.numbers(table, column), name, line=line))
        wide = table == "exposure" and time[0] > 0 and time[-1] / time[0] > 50
        layout = {
            "title": {"text": title, "font": {"size": 14}},
            "xaxis": axis(f"time, {'min' if minutes else 's'}", type="log" if wide else "linear"),
            "yaxis": axis("temperature, degC"),
            "legend": {"orientation": "h", "y": -0.25},
            "height": 360,
        }
        made[table] = {"data": data, "layout": layout}
    return made


def packed(values: NDArray[np.generic]) -> dict[str, Any]:
    """An array as base64 for the page's script."""
    little = np.ascontiguousarray(values).astype(values.dtype.newbyteorder("<"))
    text = base64.b64encode(little.tobytes()).decode("ascii")
    return {"type": values.dtype.name, "shape": list(values.shape), "base64": text}


def scaled(values: NDArray[Any]) -> dict[str, Any]:
    """The same of numbers as 16-bit steps of their range: value = low + step x count."""
    low, high = float(values.min()), float(values.max())
    step = max(high - low, 1e-12) / STEPS
    counts = np.rint((values.astype(float) - low) / step).astype(np.uint16)
    return packed(counts) | {"low": low, "step": step}


def _short(name: str) -> str:
    return name if len(name) <= 24 else f"{name[:22]}.."
