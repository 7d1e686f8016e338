"""Where the pattern is printed: a table over the field and two maps."""

from pathlib import Path
from textwrap import shorten

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import EllipseCollection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from thermo.answer.expansion import Printed
from thermo.answer.placement import linear_fit, side_of
from thermo.decide import Result
from thermo.show.saving import save

Array = NDArray[np.float64]
DEPTHS = ("top", "middle", "base")
COLUMNS = (
    "x_mm,y_mm,error_x_nm,error_y_nm,blur_xx_nm2,blur_xy_nm2,blur_yy_nm2,"
    "up_minus_down_x_nm,up_minus_down_y_nm"
)
EVERY = 4  # points of the grid from one arrow or ellipse to the next
LONGEST = 0.9  # of the way between them: the longest arrow and the largest ellipse


def write_placement(result: Result, folder: Path) -> None:
    """placement_top.csv, _middle and _base over the field, and placement.png."""
    found = result.outcome.expansion
    assert found is not None  # a whole run expands its bodies
    points, printed = found.points, found.printed
    for i, depth in enumerate(DEPTHS):
        spread = printed.spread[i]
        split = np.nan_to_num(printed.up[i] - printed.down[i])
        values = np.column_stack(
            [
                1e3 * points.T,
                1e9 * printed.mean[i],
                1e18 * spread[:, [0, 0, 1], [0, 1, 1]],
                1e9 * split,
            ]
        )
        path = folder / f"placement_{depth}.csv"
        np.savetxt(path, values, fmt="%.6g", delimiter=",", header=COLUMNS, comments="")
    _draw(result, points, printed, folder / "placement.png")


def _draw(result: Result, points: Array, printed: Printed, path: Path) -> None:
    figure = Figure(figsize=(10.5, 5.2), layout="constrained")
    left, right = figure.subplots(1, 2, sharey=True)
    fit = linear_fit(points, printed.mean[1])
    scale = 1e6 * fit.magnification
    _map(left, points, np.hypot(*fit.residual.T), "error left, nm")
    _arrows(left, points, fit.residual)
    left.set_title(f"printed error after shift, rotation and scale ({scale:+.3g} ppm)", fontsize=9)
    left.set_ylabel("y along the scan, mm")
    _map(right, points, printed.blur[1], "largest standard deviation, nm")
    _ellipses(right, points, printed.spread[1])
    right.set_title("blur: where an edge is printed scatters by this much", fontsize=9)
    title = shorten(result.answer.case.title, 70)
    figure.suptitle(f"{title}: placement in the middle of the resist", fontsize=10)
    save(figure, path)


def _map(axes: Axes, points: Array, value: Array, label: str) -> None:
    side = side_of(points)
    x, y = 1e3 * points.reshape(2, side, side)
    shown = 1e9 * value.reshape(side, side)
    mesh = axes.pcolormesh(x, y, shown, cmap="cividis", shading="gouraud", rasterized=True)
    axes.figure.colorbar(mesh, ax=axes, label=label, location="bottom", aspect=40)
    axes.set_aspect("equal")
    axes.set_xlabel("x, mm")


def _some(points: Array) -> tuple[NDArray[np.int64], float]:
    """Every so many points of the grid, and how far apart they lie, mm."""
    side = side_of(points)
    number = np.arange(side**2).reshape(side, side)[::EVERY, ::EVERY].ravel()
    step = 1e3 * EVERY * float(min(np.ptp(points, axis=1))) / (side - 1)
    return number, step


def _arrows(axes: Axes, points: Array, error: Array) -> None:
    number, step = _some(points)
    longest = max(float(np.hypot(*error[number].T).max()), 1e-15)
    drawn = LONGEST * step / longest  # mm drawn for a metre
    x, y = 1e3 * points[:, number]
    u, v = drawn * error[number].T
    axes.quiver(
        *(x, y, u, v),
        angles="xy",
        scale_units="xy",
        scale=1,
        width=0.004,
        color="white",
        edgecolor="black",
        linewidth=0.6,
    )
    _note(axes, f"longest arrow {1e9 * longest:.3g} nm, {_times(drawn)}")


def _ellipses(axes: Axes, points: Array, spread: Array) -> None:
    """One standard deviation in every direction."""
    number, step = _some(points)
    values, vectors = np.linalg.eigh(spread[number])
    sigma = np.sqrt(np.maximum(values, 0.0))
    largest = max(float(sigma.max()), 1e-15)
    drawn = LONGEST * step * sigma / largest
    angle = np.degrees(np.arctan2(vectors[:, 1, 1], vectors[:, 0, 1]))
    axes.add_collection(
        EllipseCollection(
            drawn[:, 1],
            drawn[:, 0],
            angle,
            units="x",
            offsets=1e3 * points[:, number].T,
            offset_transform=axes.transData,
            facecolor="none",
            edgecolor="white",
            linewidth=0.9,
        )
    )
    _note(axes, f"longest axis {1e9 * largest:.3g} nm, {_times(LONGEST * step / largest)}")


def _times(drawn: float) -> str:
    """How much longer than true something is drawn, from mm drawn for a metre."""
    return f"drawn {float(f'{drawn / 1e3:.2g}'):.0f} times as long as true"


def _note(axes: Axes, text: str) -> None:
    box = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8}
    axes.annotate(text, (0.02, 0.02), xycoords="axes fraction", fontsize=7, bbox=box)
