"""Layered operators for the checks of this room: invented stacks, skewed plans, voids."""

import numpy as np
from scipy import sparse

from thermo.solve import Layout, layered_matrix, plan_matrices, plan_operator


def rectangles(nx, ny, width=0.08, height=0.08):
    x, y = np.meshgrid(np.linspace(0, width, nx + 1), np.linspace(0, height, ny + 1))
    first = (np.arange(ny)[:, None] * (nx + 1) + np.arange(nx)).ravel()
    quads = np.stack([first, first + 1, first + nx + 2, first + nx + 1])
    return np.stack([x.ravel(), y.ravel()]), quads


def skewed(nx, ny):
    points, quads = rectangles(nx, ny, 1.0, 1.0)
    x, y = points
    bend = 0.12 * np.sin(np.pi * x) * np.sin(np.pi * y)
    return np.stack([x + bend + 0.2 * y, y - 0.7 * bend]), quads


def anchored_system(points, quads, heights, k, active, film=100.0, integration="lumped"):
    """K with a film on the back, on used unknowns, and its layout."""
    plan = plan_matrices(points, quads, integration)
    live = k * active
    K = layered_matrix(plan, heights, live, live)
    row, _, gather = plan.pattern
    levels = len(heights) + 1
    face = gather @ (film * active[-1][:, None, None] * plan.mass).ravel()
    diagonal = np.zeros(K.shape[0])
    np.add.at(diagonal, row * levels + levels - 1, face)  # rows summed: a lumped film
    K = sparse.csr_array(K + sparse.diags_array(diagonal))
    used = K.diagonal() > 0
    node, level = np.divmod(np.flatnonzero(used), levels)
    sheet = (live * heights[:, None]).sum(0)
    layout = Layout(node, level, plan_operator(plan, sheet))
    return sparse.csr_array(K[used][:, used]), layout
