"""Temperatures by part: each at its hottest place, and what sensors should read."""

import numpy as np
from numpy.typing import NDArray

from thermo.answer.schema import SensorReading, Temperature
from thermo.answer.state import State
from thermo.mesh import Grid, interpolation

Array = NDArray[np.float64]
ZERO_C = 273.15


def layer_nodes(grid: Grid, layer: int) -> NDArray[np.bool_]:
    """Nodes of one layer, (levels, nodes)."""
    here = np.zeros(grid.shape, bool)
    slabs = grid.slabs(layer)
    nodes = np.unique(grid.plan.quads[:, grid.active[slabs.start]])
    here[slabs.start : slabs.stop + 1, nodes] = True
    return here


def hottest(state: State, name: str) -> tuple[int, int]:
    """Level and plan node where a layer's peak is highest."""
    grid = state.meshed.grid
    here = layer_nodes(grid, state.scene.stack.index(name))
    level, node = np.unravel_index(int(np.where(here, state.peak, -np.inf).argmax()), grid.shape)
    return int(level), int(node)


def part_temperatures(state: State) -> dict[str, Temperature]:
    """Mean, peak and dose-weighted temperature of every layer, all at its hottest place.

    The gas gap has none of its own.
    """
    grid = state.meshed.grid
    found = {}
    for layer in state.scene.stack.layers:
        if layer.body == "gap":
            continue
        at = hottest(state, layer.name)
        x, y = grid.plan.points[:, at[1]]
        found[layer.name] = Temperature(
            mean_C=state.mean[at] - ZERO_C,
            peak_C=state.peak[at] - ZERO_C,
            dose_weighted_C=state.printing[at] - ZERO_C,
            swing_K=state.peak[at] - state.mean[at],
            where_mm=(1e3 * x, 1e3 * y, 1e3 * grid.levels[at[0]]),
        )
    return found


def sensor_readings(state: State) -> dict[str, SensorReading]:
    """Scan mean and highest reading of each sensor, on the lit side of its part."""
    case, grid = state.scene.case, state.meshed.grid
    found = {}
    for name, sensor in case.sensors.items():
        layer = state.scene.stack.index(sensor.part)
        level = grid.slabs(layer).start
        weights = interpolation(grid.plan, np.array([[sensor.x.value], [sensor.y.value]]))
        mean, peak = (float((weights @ T[level])[0]) - ZERO_C for T in (state.mean, state.peak))
        found[name] = SensorReading(
            part=sensor.part,
            x_mm=1e3 * sensor.x.value,
            y_mm=1e3 * sensor.y.value,
            mean_C=mean,
            peak_C=peak,
        )
    return found
