"""Steady temperature of the stack for a constant source, and how long it takes to settle.

    -div(k grad T) = q in the cells,   -k dT/dn = h (T - T_sink) on the films         (1)
    K x = f,   tau = (y.C y)/(y.C x) with K y = C x                                   (2)

Solved for the rise above the coldest sink.  Heat in must equal heat out through the films to
1e-8, and the relative residual must be 1e-10; else SolveError.  Side walls lose nothing.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.errors import SolveError
from thermo.heat.fields import Fields
from thermo.heat.films import Film
from thermo.mesh import Grid
from thermo.solve import (
    Layout,
    PlanMatrices,
    Solver,
    layered_matrix,
    plan_operator,
    unanchored,
)

Array = NDArray[np.float64]
BALANCE = 1e-8  # heat out over heat in, off 1


@dataclass(frozen=True)
class Steady:
    """Steady temperatures.

    T : (levels, nodes) K, nan where there is nothing
    film_heat : W leaving through each film, by name (negative: heat comes in)
    balance : |heat in - heat out| over heat in
    """

    T: Array
    film_heat: dict[str, float]
    balance: float
    residual: float
    iterations: int
    unknowns: int


@dataclass(frozen=True)
class HeatSystem:
    """Equation (1) as matrices on the nodes that exist, ordered line by line through the stack.

    K : conduction and films, W/K;  faces : one matrix for each film, on all nodes
    used : nodes that exist, (nodes * levels,);  coldest : K, what rises are counted from
    """

    grid: Grid
    K: sparse.csr_array
    layout: Layout
    used: NDArray[np.bool_]
    films: tuple[Film, ...]
    faces: tuple[sparse.csr_array, ...]
    coldest: float

    def on_lines(self, field: Array) -> Array:
        """A nodal field (levels, nodes) as the unknowns."""
        return np.asarray(field.T.ravel()[self.used])

    def on_levels(self, x: Array) -> Array:
        """Unknowns as a nodal field (levels, nodes), nan where there is nothing."""
        whole = np.full(len(self.used), np.nan)
        whole[self.used] = x
        return whole.reshape(self.grid.shape[::-1]).T


def heat_system(
    grid: Grid, plan: PlanMatrices, fields: Fields, films: tuple[Film, ...]
) -> HeatSystem:
    """Assemble (1); raises SolveError when part of the stack has no way out for its heat."""
    live = np.where(grid.active, 1.0, 0.0)
    K = layered_matrix(plan, grid.heights, fields.in_plane * live, fields.across * live)
    faces = tuple(_film_matrix(film, grid, plan) for film in films)
    for face in faces:
        K = K + face
    used = grid.node_used.T.ravel()
    _check_way_out(K, faces, used, grid)
    node, level = np.divmod(np.flatnonzero(used), len(grid.levels))
    sheet = (fields.in_plane * live * grid.heights[:, None]).sum(0)
    layout = Layout(node, level, plan_operator(plan, sheet))
    coldest = min(film.sink for film in films)
    return HeatSystem(grid, sparse.csr_array(K[used][:, used]), layout, used, films, faces, coldest)


def steady(system: HeatSystem, heat: Array, solver: Solver, guess: Array | None = None) -> Steady:
    """Steady temperatures for heat (slabs, cells) in W; equation (1).

    guess : temperatures to start from, (levels, nodes) K
    """
    coldest, used = system.coldest, system.used
    b = node_load(system.grid, heat)
    for film, face in zip(system.films, system.faces, strict=True):
        b += face.sum(1) * (film.sink - coldest)
    start = None if guess is None else system.on_lines(guess) - coldest
    solution = solver.solve(system.K, system.layout, b[used], start)
    rise = np.zeros(len(used))
    rise[used] = solution.x
    out: dict[str, float] = {}
    for film, face in zip(system.films, system.faces, strict=True):
        flow = (face @ rise).sum() - face.sum() * (film.sink - coldest)
        out[film.name] = out.get(film.name, 0.0) + float(flow)
    total = float(heat.sum())
    moved = sum(abs(flow) for flow in out.values()) or 1.0
    balance = abs(total - sum(out.values())) / max(total, moved)
    if not balance <= BALANCE:
        raise SolveError(f"heat balance is off by {balance:.1e}, allowed {BALANCE:.0e}")
    T = coldest + system.on_levels(solution.x)
    return Steady(T, out, balance, solution.residual, solution.iterations, len(solution.x))


def slowest_time(system: HeatSystem, fields: Fields, rise: Array, solver: Solver) -> float:
    """Time constant of the slowest mode, s, by inverse iteration (2) from a rise (levels, nodes).

    fields.capacity gives the lumped heat capacity C.  Three steps from the steady rise: right to
    about 1 %, from below.
    """
    content = fields.capacity * np.where(system.grid.active, system.grid.plan.areas, 0.0)
    C = node_load(system.grid, content * system.grid.heights[:, None])[system.used]
    x = system.on_lines(rise)
    tau = 0.0
    for _ in range(3):
        y = solver.solve(system.K, system.layout, C * x, tau * x if tau else None).x
        tau = float((y @ (C * y)) / (y @ (C * x)))
        x = y / np.abs(y).max()
    return tau


def node_load(grid: Grid, cell: Array) -> Array:
    """Cell values (slabs, cells) shared evenly among eight corners each, (nodes * levels,)."""
    levels, nodes = grid.shape
    load = np.zeros((levels, nodes))
    for corner in grid.plan.quads:
        at = sparse.csr_array(
            (np.ones(len(corner)), (np.arange(len(corner)), corner)), shape=(len(corner), nodes)
        )
        share = cell @ at / 8
        load[:-1] += share
        load[1:] += share
    return load.T.ravel()


def _film_matrix(film: Film, grid: Grid, plan: PlanMatrices) -> sparse.csr_array:
    values = film.h * film.cells[:, None, None] * plan.mass
    row, column, gather = plan.pattern
    entries = gather @ values.ravel()
    keep = entries != 0
    levels = len(grid.levels)
    size = levels * plan.nodes
    place = (row[keep] * levels + film.level, column[keep] * levels + film.level)
    return sparse.csr_array((entries[keep], place), shape=(size, size))


def _check_way_out(
    K: sparse.csr_array,
    faces: tuple[sparse.csr_array, ...],
    used: NDArray[np.bool_],
    grid: Grid,
) -> None:
    anchored = np.zeros(len(used), bool)
    for face in faces:
        anchored |= face.diagonal() > 0
    lost = unanchored(K, anchored) & used
    if lost.any():
        z = grid.levels[np.flatnonzero(lost)[0] % grid.shape[0]]
        raise SolveError(
            f"the stack at z = {1e3 * z:.3g} mm has no way out for its heat: no water film, "
            "no gas, no joint reaches it; give a film, an outer film or a gap pressure > 0"
        )
