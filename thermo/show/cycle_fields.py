"""Temperatures of one cycle as field files in time, which any VTK viewer plays as a film.

Of a settled scan twelve phases of the limit cycle; of an exposure that is over before it settles
twelve moments from cold, on the coarse mesh on which it is worked out.  Only the lit faces of
resist and membrane and, where the plan is a grid of lines, the section along the scan through the
hottest resist: all nodes would be some hundred megabytes.  A held beam has no cycle.
"""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermo.answer.course import Course, is_short
from thermo.answer.state import State
from thermo.answer.temperature import ZERO_C, hottest
from thermo.decide import Result
from thermo.heat import Cycle
from thermo.mesh import Grid

Array = NDArray[np.float64]
Index = NDArray[np.int64]
PHASES = 12
PVD = """\
<?xml version="1.0"?>
<VTKFile type="Collection" version="0.1">
<Collection>
{rows}
</Collection>
</VTKFile>
"""


def write_cycle_fields(result: Result, folder: Path) -> None:
    """cycle_00.vtu to cycle_11.vtu, and cycle.pvd with the times in seconds."""
    import meshio

    settled, course = result.outcome.state, result.course
    if settled.scan is None:
        return
    short = is_short(course)
    state = course.state if short else settled
    level, node, quads, layer = surfaces(state)
    if short:
        times = np.arange(1, PHASES + 1) / PHASES * course.dose.time
        found = _from_cold(course, times, level, node)
    else:
        cycle = settled.scan.cycle
        times = np.arange(PHASES) / PHASES * cycle.period
        found = state.system.coldest + _repeating(cycle, times, level, node)
    grid = state.meshed.grid
    points = np.column_stack([grid.plan.points[:, node].T, grid.levels[level]])
    rows = []
    for number, (time, T) in enumerate(zip(times, found - ZERO_C, strict=True)):
        name = f"cycle_{number:02d}.vtu"
        data = {"temperature_degC": T.astype(np.float32)}
        cells = [("quad", quads.T.astype(np.int32))]
        file = meshio.Mesh(points.astype(np.float32), cells, data, {"layer": [layer]})
        file.write(folder / name, file_format="vtu")
        rows.append(f'<DataSet timestep="{time:.9g}" part="0" file="{name}"/>')
    (folder / "cycle.pvd").write_text(PVD.format(rows="\n".join(rows)), encoding="utf-8")


def _repeating(cycle: Cycle, times: Array, level: Index, node: Index) -> Array:
    """Rises of a cycle, K, (times, places), all harmonics in single precision as they are kept."""
    turn = np.exp(2j * np.pi * np.outer(times / cycle.period, np.arange(1, len(cycle.X) + 1)))
    ripple = turn.astype(np.complex64) @ cycle.X[:, node, level]
    return np.asarray(cycle.mean[node, level] + 2 * ripple.real)


def _from_cold(course: Course, times: Array, level: Index, node: Index) -> Array:
    """Temperatures from cold, K, (times, places)."""
    warm = course.warm_up
    settled = _repeating(warm.cycle, times, level, node)
    missing = warm.missing(times) @ warm.decay.shapes[:, node, level]
    return np.asarray(course.dark[node, level] + warm.fade(times)[:, None] * settled + missing)


def surfaces(state: State) -> tuple[Index, Index, Index, Index]:
    """Lit faces of resist and membrane, and the section through the hottest resist.

    Returns level and plan node of each place, quads of places (4, m), and the layer of each quad.
    """
    grid, stack = state.meshed.grid, state.scene.stack
    count = grid.shape[1]
    quads, layers = [], []
    for name in ("membrane", stack.resist.name):
        number = stack.index(name)
        start = grid.slabs(number).start
        own = grid.plan.quads[:, grid.active[start]] + start * count
        quads.append(own)
        layers.append(np.full(own.shape[1], number))
    if grid.plan.lines is not None:
        _, hot = hottest(state, stack.resist.name)
        own, layer = _section(grid, grid.plan.lines, hot)
        solid = layer != stack.index("gap")
        quads.append(own[:, solid])
        layers.append(layer[solid])
    used, numbers = np.unique(np.concatenate(quads, axis=1), return_inverse=True)
    return used // count, used % count, numbers.reshape(4, -1), np.concatenate(layers)


def _section(grid: Grid, lines: tuple[Array, Array], hot: int) -> tuple[Index, Index]:
    """Quads of the section along y through a plan node, and the layer of each."""
    row, count = len(lines[0]), grid.shape[1]
    column = hot % row
    beside = column - (lines[0][column] > 0)  # of the cells on either side that towards the middle
    slab, j = np.nonzero(grid.active[:, beside :: row - 1])
    first = slab * count + j * row + column
    return np.stack([first, first + row, first + row + count, first + count]), grid.layer[slab]
