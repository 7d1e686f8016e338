"""Tables of the answer along depth and over the pattern field, and a picture of them."""

from pathlib import Path
from textwrap import shorten

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from thermo.answer.placement import side_of
from thermo.answer.temperature import ZERO_C, hottest, layer_nodes
from thermo.decide import Result
from thermo.mesh import interpolation
from thermo.show.saving import save
from thermo.show.surfaces import used_mean

Array = NDArray[np.float64]


def write_profiles(result: Result, folder: Path) -> None:
    """depth.csv through the hottest resist, field.csv over the pattern, dose.csv in the resist.

    And field.png, of the latter two.
    """
    _write_depth(result, folder / "depth.csv")
    field, dose = _field(result), result.outcome.dose
    _write(folder / "field.csv", "x_mm,y_mm,resist_peak_degC,mask_peak_degC", field)
    values = np.column_stack([1e6 * dose.depth, dose.dose / 1e6])
    _write(folder / "dose.csv", "depth_um,dose_J_per_cm3", values)
    _draw(result, field, values, folder / "field.png")


def _write_depth(result: Result, path: Path) -> None:
    """Temperatures of each layer from the beam on, both faces of a layer with its own name."""
    state = result.outcome.state
    stack, grid = state.scene.stack, state.meshed.grid
    _, node = hottest(state, stack.resist.name)
    fields = (state.lowest, state.mean, state.printing, state.peak)
    rows = ["layer,z_mm,lowest_degC,mean_degC,printing_degC,peak_degC"]
    for i, layer in enumerate(stack.layers):
        here = layer_nodes(grid, i)[:, node]
        if layer.body == "gap":
            continue
        for level in np.flatnonzero(here):
            cells = ",".join(f"{float(T[level, node]) - ZERO_C:.5g}" for T in fields)
            rows.append(f"{layer.name},{1e3 * grid.levels[level]:.7g},{cells}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def _field(result: Result) -> Array:
    """Highest temperature through the resist and through membrane and absorber at each point."""
    state, found = result.outcome.state, result.outcome.expansion
    assert found is not None  # a whole run expands its bodies
    stack, grid = state.scene.stack, state.meshed.grid
    at = interpolation(grid.plan, found.points)
    columns = [1e3 * found.points.T]
    for names in ((stack.resist.name,), ("membrane", "absorber")):
        own = [layer_nodes(grid, stack.index(name)) for name in names]
        here = np.any(own, axis=0)
        peak = np.where(here, state.peak, -np.inf).max(0)
        columns.append((used_mean(at, np.where(np.isfinite(peak), peak, np.nan)) - ZERO_C)[:, None])
    return np.hstack(columns)


def _draw(result: Result, field: Array, dose: Array, path: Path) -> None:
    figure = Figure(figsize=(10.5, 3.9), layout="constrained")
    mask, resist, depth = figure.subplots(1, 3)
    side = side_of(field.T[:2])
    x, y, *peaks = (column.reshape(side, side) for column in field.T)
    for axes, T, name in ((resist, peaks[0], "resist"), (mask, peaks[1], "mask")):
        drawn = axes.pcolormesh(x, y, T, cmap="cividis", shading="gouraud", rasterized=True)
        figure.colorbar(drawn, ax=axes, location="bottom", label=f"{name} peak, degC", aspect=30)
        axes.set_aspect("equal")
        axes.set_xlabel("x, mm")
    mask.set_ylabel("y along the scan, mm")
    depth.plot(dose[:, 0], dose[:, 1] / 1e3, color="black", linewidth=1.4)
    depth.set_xlabel("depth below the lit face of the resist, um")
    depth.set_ylabel("dose in the open, kJ/cm3")
    depth.set_ylim(bottom=0)
    depth.margins(x=0)
    title = shorten(result.answer.case.title, 70)
    figure.suptitle(f"{title}: highest temperature over the pattern, and dose", fontsize=10)
    save(figure, path)


def _write(path: Path, header: str, values: Array) -> None:
    np.savetxt(path, values, fmt="%.6g", delimiter=",", header=header, comments="")
