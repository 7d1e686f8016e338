"""Plain blocks of layers on a rectangle, for checks against closed forms."""

import numpy as np

from thermo.heat import Fields, Film, heat_system, steady
from thermo.mesh import extrude, rectangle_plan
from thermo.solve import Solver, plan_matrices


def block(
    x_lines,
    y_lines,
    layers,
    h_top,
    h_bottom,
    heat,
    integration="lumped",
    sinks=(0.0, 0.0),
    flux=None,
    more=None,
    across=None,
):
    """Steady temperatures of full layers; films with their sinks at top and bottom.

    layers : (cuts in m, k) from the lit face down;  heat : function of the grid -> (slabs, cells) W
    flux : (function of the plan that picks cells, W/m2) into the lit face, given as a film to a
        sink so hot that its flux is constant to 1e-9
    more : function of the grid -> further films;  across : function of the grid and k -> k across
    """
    plan = rectangle_plan(np.asarray(x_lines), np.asarray(y_lines))
    whole = np.ones(plan.quads.shape[1], bool)
    grid = extrude(plan, [cuts for cuts, _ in layers], [whole] * len(layers), 0.0)
    k = np.array([layers[i][1] for i in grid.layer])[:, None] * np.ones(len(whole))
    films = tuple(
        Film(name, level, whole, h, sink)
        for name, level, h, sink in (
            ("top", 0, h_top, sinks[0]),
            ("bottom", len(grid.heights), h_bottom, sinks[1]),
        )
        if h > 0
    )
    if flux is not None:
        films += (Film("flux", 0, flux[0](plan), 1e-6, flux[1] / 1e-6),)
    if more is not None:
        films += tuple(more(grid))
    matrices = plan_matrices(plan.points, plan.quads, integration)
    through = k if across is None else across(grid, k)
    system = heat_system(grid, matrices, Fields(k, through, k), films)
    found = steady(system, heat(grid), Solver())
    return grid, found


def slab(layers, h_top, h_bottom, heat, sinks=(0.0, 0.0)):
    """Temperatures through a one-cell column, (levels,)."""
    _, found = block([0, 1e-3], [0, 1e-3], layers, h_top, h_bottom, heat, sinks=sinks)
    return found.T[:, 0], found
