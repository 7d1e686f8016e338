"""A hand check beside the finite elements: series resistances through the hottest column.

The column is where the resist's scan mean is highest.

    rise = sum_i R_i (Q_i + q_i/2),   R_i = t_i/k_i, joint, 1/h                        (1)

q_i heat taken in layer i per area, Q_i all heat that passes it from above: everything the mask and
the layers take in this column is thought to leave straight down into the holder's water.
"""

import numpy as np

from thermo.answer.column import column_cycle, hottest_cell
from thermo.answer.schema import HandCheck
from thermo.answer.state import State
from thermo.answer.temperature import layer_nodes


def hand_check(state: State) -> HandCheck:
    """Scan-mean rise of the resist's lit face over the water at its hottest column, three ways."""
    stack, grid = state.scene.stack, state.meshed.grid
    holder = state.scene.case.sample.holder
    name = stack.resist.name
    here = layer_nodes(grid, stack.index(name))
    settled = state.steady.T
    node = int(np.where(here, settled, -np.inf).max(0).argmax())
    x, y = grid.plan.points[:, node]
    face = grid.slabs(stack.index(name)).start
    cell = hottest_cell(state, face, node)
    flux = state.power.heat[:, cell] / grid.plan.areas[cell]
    through = flux[:face].sum()
    rise = resistance = 0.0
    for slab in range(face, len(flux)):
        R = grid.heights[slab] / state.fields.across[slab, cell]
        rise += R * (through + flux[slab] / 2)
        through += flux[slab]
        resistance += R
    rise += through / holder.film.value
    resistance += 1 / holder.film.value
    motion = state.scene.motion
    column = None if motion is None else column_cycle(state, motion, cell, float(y))
    return HandCheck(
        where_mm=(1e3 * x, 1e3 * y),
        heat_flux_W_per_m2=float(flux.sum()),
        resistance_m2K_per_W=float(resistance),
        hand_rise_K=float(rise),
        column_rise_K=None if column is None else float(column.mean[face, 0]),
        fe_rise_K=float(settled[face, node] - holder.water.value),
        column_swing_K=None if column is None else float(column.swing[face, 0]),
        fe_swing_K=_swing(state, face, node),
        note="the hand figure lets no heat spread sideways or leave by frame and gas: "
        "it should lie above the finite-element one",
    )


def _swing(state: State, level: int, node: int) -> float:
    """Highest above mean of the settled cycle at a node, K; 0 for a held beam."""
    if state.scan is None:
        return 0.0
    return float(state.scan.extremes.peak[node, level] - state.scan.cycle.mean[node, level])
