"""Field files: temperatures of the stack and displacement of the bodies, for any VTK viewer."""

from pathlib import Path

import numpy as np

from thermo.answer.expansion import Moved
from thermo.answer.temperature import ZERO_C
from thermo.decide import Result
from thermo.mesh import Grid, Plan, write_grid


def write_fields(result: Result, folder: Path) -> None:
    """temperature.vtu; sample_displacement.vtu and mask_displacement.vtu at the mean in time."""
    state, moved = result.outcome.state, result.outcome.expansion
    grid = state.meshed.grid
    volume = grid.plan.areas * grid.heights[:, None]
    layer = np.broadcast_to(grid.layer[:, None], grid.active.shape).astype(float)
    write_grid(
        folder / "temperature.vtu",
        grid,
        {
            "mean_temperature_degC": state.mean - ZERO_C,
            "peak_temperature_degC": state.peak - ZERO_C,
            "printing_temperature_degC": state.printing - ZERO_C,
        },
        {
            "layer": layer,
            "heat_W_per_m3": state.power.heat / volume,
            "conductivity_in_plane_W_per_mK": state.fields.in_plane,
            "conductivity_across_W_per_mK": state.fields.across,
        },
    )
    assert moved is not None  # a whole run expands its bodies
    _write_body(folder / "sample_displacement.vtu", moved.sample)
    _write_body(folder / "mask_displacement.vtu", moved.mask)


def _write_body(path: Path, body: Moved) -> None:
    solid = body.body.held.solid
    plan = Plan(solid.points, solid.quads)
    grid = Grid(plan, solid.levels, np.arange(len(solid.levels) - 1), solid.active)
    modulus = np.where(solid.active, solid.E, 0.0)
    write_grid(path, grid, {"displacement_m": body.u}, {"youngs_modulus_Pa": modulus})
