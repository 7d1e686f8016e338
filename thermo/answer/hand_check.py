"""A hand check beside the finite elements: series resistances through the hottest column.

The column is where the resist's scan mean is highest.

    rise = sum_i R_i (Q_i + q_i/2),   R_i = t_i/k_i, joint, 1/h                        (1)

q_i heat taken in layer i per area, Q_i all heat that passes it from above: everything the mask and
the layers take in this column is thought to leave straight down into the holder's water.
"""

import numpy as np

from thermo.answer.schema import HandCheck
from thermo.answer.state import State, column_cycles
from thermo.answer.temperature import layer_nodes


def hand_check(state: State) -> HandCheck:
    """Scan-mean rise of the resist's lit face over the water at its hottest column, three ways."""
    stack, grid = state.scene.stack, state.meshed.grid
    holder = state.scene.case.sample.holder
    name = stack.resist.name
    here = layer_nodes(grid, stack.index(name))
    node = int(np.where(here, state.mean, -np.inf).max(0).argmax())
    x, y = grid.plan.points[:, node]
    face = grid.slabs(stack.index(name)).start
    around = (grid.plan.quads == node).any(0) & grid.active[face]
    cell = int(around.nonzero()[0][state.power.heat[:, around].sum(0).argmax()])
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
    column_rise = swing = None
    if state.scene.motion is not None:
        for cells, first, away, cycle in column_cycles(
            state.scene, state.meshed, state.fields, state.films
        ):
            if cell in cells and first <= face < first + len(cycle.mean):
                column_rise = float(cycle.mean[face - first, 0])
                swing = float(np.interp(abs(y), away, cycle.swing[face - first]))
    return HandCheck(
        where_mm=(1e3 * x, 1e3 * y),
        heat_flux_W_per_m2=float(flux.sum()),
        resistance_m2K_per_W=float(resistance),
        hand_rise_K=float(rise),
        column_rise_K=column_rise,
        fe_rise_K=float(state.mean[face, node] - holder.water.value),
        column_swing_K=swing,
        note="the hand figure lets no heat spread sideways or leave by frame and gas: "
        "it should lie above the finite-element one",
    )
