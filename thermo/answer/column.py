"""One column of the stack by itself under the moving stripe: closed form, for checks and curves."""

from dataclasses import replace

import numpy as np

from thermo.answer.state import State
from thermo.beam import Scan
from thermo.beam.power import column_profiles
from thermo.heat import Column, StripeCycle, face_h, stripe_pairs


def hottest_cell(state: State, level: int, node: int) -> int:
    """Of the plan cells round a node that exist below a level, the one that takes most heat."""
    grid = state.meshed.grid
    around = (grid.plan.quads == node).any(0) & grid.active[level]
    return int(around.nonzero()[0][state.power.heat[:, around].sum(0).argmax()])


def column_cycle(state: State, motion: Scan, cell: int, y: float) -> StripeCycle:
    """Cycle of one column by itself, passes up and down as far apart as they are at y (m).

    motion : the scene's own, or another to compare with
    Levels where the column has nothing count on from those above.
    """
    scene, grid, fields = state.scene, state.meshed.grid, state.fields
    beam, stack = scene.beam, scene.stack
    here = grid.active[:, cell]
    present = [bool(here[grid.slabs(i).start]) for i in range(len(stack.layers))]
    share = float(stack.pattern.coverage(*grid.plan.centres[:, [cell]])[0])
    bare, dark = (
        column_profiles(stack, beam, present, covered, state.meshed.cuts)[0]
        for covered in (False, True)
    )
    heat = share * dark + (1 - share) * bare
    h = face_h(state.films, grid)[:, cell]
    own = np.flatnonzero(here)
    column = Column(
        grid.heights[here],
        fields.across[here, cell],
        fields.in_plane[here, cell],
        fields.capacity[here, cell],
        (max(h[own[0]], 1e-6), max(h[own[-1] + 1], 1e-6)),
    )
    period = motion.speed * motion.pass_time
    apart = np.array([period - 2 * abs(y - motion.middle)])
    light = bare[grid.slabs(stack.index(stack.resist.name)).start]
    cycle = stripe_pairs(column, beam.height, heat[here], light, motion.speed, period, apart)
    level = np.concatenate([[0], np.cumsum(here)])
    return replace(cycle, **{name: part[level] for name, part in vars(cycle).items()})
