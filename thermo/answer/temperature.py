"""Temperatures by part: each at its hottest place, and what sensors should read."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.answer.schema import Temperature
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


@dataclass(frozen=True)
class Reading:
    """What a sensor reads, degC: in the mean, highest, lowest; the nearest node (node, level)."""

    mean: float
    peak: float
    low: float
    near: tuple[int, int]


def readings(state: State) -> dict[str, Reading]:
    """Readings of the case's sensors, on the lit side of their parts."""
    case, grid = state.scene.case, state.meshed.grid
    found = {}
    for name, sensor in case.sensors.items():
        level = grid.slabs(state.scene.stack.index(sensor.part)).start
        place = np.array([[sensor.x.value], [sensor.y.value]])
        weights = interpolation(grid.plan, place)
        fields = (state.mean, state.peak, state.lowest)
        mean, peak, low = (float((weights @ T[level])[0]) - ZERO_C for T in fields)
        away = np.hypot(*(grid.plan.points - place))
        away[~state.system.used[:, level]] = np.inf
        found[name] = Reading(mean, peak, low, (int(away.argmin()), level))
    return found
