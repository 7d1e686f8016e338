"""Plan views of the report: highest temperatures, margin, placement, blur, up/down split."""

import numpy as np
from numpy.typing import NDArray

from thermo.answer.placement import linear_fit, side_of
from thermo.show.report.axes import Chart, axis
from thermo.show.report.contents import Contents

Array = NDArray[np.float64]
EVERY = 4  # points of the field from one arrow to the next
LONGEST = 0.9  # of the way between them: the longest arrow


def map_charts(found: Contents) -> dict[str, Chart]:
    """Plan views: highest temperature of mask and resist, margin, placement and blur."""
    made = {}
    limits = {line.name: line for line in found.answer.limits}
    for part in ("mask", "resist"):
        peak = np.array(found.numbers("field", f"{part}_peak_degC"))
        made[f"{part}-map"] = _map(found, "field", peak, f"{part} peak, degC")
    if "resist" in limits:
        room = limits["resist"].limit - np.array(found.numbers("field", "resist_peak_degC"))
        chart = _map(found, "field", room, "resist room to its limit, K")
        chart["data"][0]["reversescale"] = True  # bright where it is hot, as beside it
        made["margin-map"] = chart
    if found.answer.placement.reason:
        return made
    error = np.array([found.numbers("placement_middle", f"error_{c}_nm") for c in "xy"]).T
    points = _points(found, "placement_middle")
    fit = linear_fit(1e-3 * points, 1e-9 * error)
    left = 1e9 * fit.residual
    chart = _map(found, "placement_middle", np.hypot(*left.T), "remaining after scale, nm")
    made["placement-map"] = _with_arrows(chart, points, left)
    xx, xy, yy = (
        np.array(found.numbers("placement_middle", f"blur_{c}_nm2")) for c in ("xx", "xy", "yy")
    )
    largest = np.sqrt((xx + yy) / 2 + np.sqrt(((xx - yy) / 2) ** 2 + xy**2))
    made["blur-map"] = _map(found, "placement_middle", largest, "blur, nm")
    split = [np.array(found.numbers("placement_middle", f"up_minus_down_{c}_nm")) for c in "xy"]
    if np.abs(split).max() > 0:
        made["split-map"] = _map(found, "placement_middle", np.hypot(*split), "up/down split, nm")
    return made


def _points(found: Contents, table: str) -> Array:
    return np.array([found.numbers(table, "x_mm"), found.numbers(table, "y_mm")])


def _map(found: Contents, table: str, values: Array, label: str) -> Chart:
    points = _points(found, table)
    side = side_of(points)
    x, y = points[0, :side].tolist(), points[1, ::side].tolist()
    rounded = [[float(f"{v:.5g}") for v in row] for row in values.reshape(side, side)]
    heat = {
        "type": "heatmap",
        "x": x,
        "y": y,
        "z": rounded,
        "colorscale": "Cividis",
        "zsmooth": "best",
        "colorbar": {"title": {"text": label, "side": "right"}, "thickness": 14},
        "hovertemplate": "x %{x:.4g} mm, y %{y:.4g} mm<br>%{z:.4g} " + label.rsplit(", ", 1)[1]
        + "<extra></extra>",
    }  # fmt: skip
    layout = {
        "xaxis": axis("x, mm", constrain="domain", showgrid=False),
        "yaxis": axis("y along the scan, mm", scaleanchor="x", constrain="domain", showgrid=False),
        "height": 400,
    }
    return {"data": [heat], "layout": layout}


def _with_arrows(chart: Chart, points: Array, error: Array) -> Chart:
    """The map with arrows of the error in nm, the longest just fitting between its neighbours."""
    side = side_of(points)
    number = np.arange(side**2).reshape(side, side)[::EVERY, ::EVERY].ravel()
    step = EVERY * float(min(np.ptp(points, axis=1))) / (side - 1)
    longest = max(float(np.hypot(*error[number].T).max()), 1e-9)
    start, way = points[:, number], (LONGEST * step / longest) * error[number].T
    end = start + way
    wing = [end - 0.3 * (way + s * 0.5 * np.array([-way[1], way[0]])) for s in (1, -1)]
    gap = np.full(len(number), np.nan)
    lines = [
        np.column_stack([start[i], end[i], wing[0][i], end[i], wing[1][i], gap]).ravel()
        for i in (0, 1)
    ]
    x, y = ([None if np.isnan(v) else round(float(v), 4) for v in line] for line in lines)
    times = LONGEST * step / longest * 1e6
    arrows = {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "line": {"color": "white", "width": 1.6},
        "hoverinfo": "skip",
        "showlegend": False,
    }
    drawn = f"drawn {float(f'{times:.2g}'):.0f} times as long as true"
    words = f"x, mm<br>longest arrow {longest:.3g} nm,<br>{drawn}"
    below = chart["layout"]["xaxis"] | {"title": {"text": words}}
    layout = chart["layout"] | {"xaxis": below}
    return {"data": [*chart["data"], arrows], "layout": layout}
