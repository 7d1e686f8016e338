"""Tables of the answer along depth and over the pattern field, as CSV."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermo.answer.temperature import ZERO_C, hottest, layer_nodes
from thermo.decide import Result
from thermo.mesh import interpolation

Array = NDArray[np.float64]


def write_profiles(result: Result, folder: Path) -> None:
    """depth.csv through the hottest resist, field.csv over the pattern, dose.csv in the resist."""
    _write_depth(result, folder / "depth.csv")
    _write_field(result, folder / "field.csv")
    dose = result.outcome.dose
    values = np.column_stack([1e6 * dose.depth, dose.dose / 1e6])
    _write(folder / "dose.csv", "depth_um,dose_J_per_cm3", values)


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


def _write_field(result: Result, path: Path) -> None:
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
        peak = np.where(np.isfinite(peak), peak, 0.0)  # no node of a cell the field lies in
        columns.append((at @ peak - ZERO_C)[:, None])
    _write(path, "x_mm,y_mm,resist_peak_degC,mask_peak_degC", np.hstack(columns))


def _write(path: Path, header: str, values: Array) -> None:
    np.savetxt(path, values, fmt="%.6g", delimiter=",", header=header, comments="")
