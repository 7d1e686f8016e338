"""Temperatures in time: tables of numbers, and a picture of the cycle, the exposure and cooling."""

from pathlib import Path
from textwrap import shorten

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from thermo.answer.series import FEW, Series, cooling_series, cycle_series, exposure_series
from thermo.decide import Result
from thermo.show.saving import save

STYLES = {"resist": ("-", 1.8), "mask": ("--", 1.4)}
GREY = "0.45"
DASHES = (":", "-.", (0, (6, 2)), (0, (1, 3)), (0, (3, 1, 1, 1, 1, 1)))  # of the sensors


def write_in_time(result: Result, folder: Path) -> None:
    """cycle.csv, exposure.csv and cooling.csv, and time.png."""
    cycle = cycle_series(result.outcome)
    exposure, cooling = exposure_series(result.course), cooling_series(result.course)
    if cycle is not None:
        _write_table(folder / "cycle.csv", cycle)
    _write_table(folder / "exposure.csv", exposure)
    _write_table(folder / "cooling.csv", cooling)
    _draw(result, cycle, exposure, cooling, folder / "time.png")


def _write_table(path: Path, series: Series) -> None:
    """One row for each time; the unit of each column is in its name."""
    header = ",".join(["time_s", *(f"{name}_degC" for name in series.places)])
    values = np.column_stack([series.time, *series.places.values()])
    np.savetxt(path, values, fmt="%.6g", delimiter=",", header=header, comments="")


def _draw(
    result: Result, cycle: Series | None, exposure: Series, cooling: Series, path: Path
) -> None:
    figure = Figure(figsize=(10.5, 4.2), layout="constrained")
    panels = [(exposure, _words(result)), (cooling, "after the shutter has closed")]
    if cycle is not None:
        panels.insert(0, (cycle, "one cycle, settled"))
    drawn = figure.subplots(1, len(panels), sharey=True)
    for axes, (series, title) in zip(drawn, panels, strict=True):
        _curves(axes, series)
        axes.set_title(title, fontsize=9)
        if series is exposure and (result.answer.dose.passes or 0) > FEW:
            axes.set_xscale("log")
            axes.xaxis.set_major_formatter("{x:g}")
    drawn[-1].legend(fontsize=7, loc="upper right")
    drawn[0].set_ylabel("temperature, degC")
    title = shorten(result.answer.case.title, 70)
    sensors = ", sensors" if result.answer.sensors else ""
    figure.suptitle(f"{title}: hottest resist, hottest mask{sensors}", fontsize=10)
    save(figure, path)


def _words(result: Result) -> str:
    if result.answer.regime == "still":
        return "exposure from cold, beam held"
    if (result.answer.dose.passes or 0) > FEW:
        return "exposure from cold, highest of each cycle"
    return "exposure from cold"


def _curves(axes: Axes, series: Series) -> None:
    minutes = series.time[-1] > 600
    time = series.time / 60 if minutes else series.time
    sensors = [name for name in series.places if name.startswith("sensor_")]
    for name, (style, width) in STYLES.items():
        axes.plot(time, series.places[name], style, color="black", linewidth=width, label=name)
    for number, name in enumerate(sensors):
        dashes = DASHES[number % len(DASHES)]
        label = f"sensor {name.removeprefix('sensor_')}"
        axes.plot(time, series.places[name], linestyle=dashes, color=GREY, label=label)
    axes.set_xlabel("time, min" if minutes else "time, s")
    axes.margins(x=0)
