"""Steady temperature of the stack for a constant source.

    -div(k grad T) = q in the cells,   -k dT/dn = h (T - T_sink) on the films         (1)

Solved for the rise above the coldest sink.  Heat in must equal heat out through the films to
1e-8, and the relative residual must be 1e-10; else SolveError.  Side walls lose nothing.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.errors import SolveError
from thermo.heat.fields import Fields
from thermo.heat.films import Film
from thermo.mesh import Grid
from thermo.solve import (
    Integration,
    LayeredOperator,
    PlanMatrices,
    Separable,
    Solution,
    Solver,
    layered_operator,
)

Array = NDArray[np.float64]
BALANCE = 1e-8  # heat out over heat in, off 1


@dataclass(frozen=True)
class Steady:
    """Steady temperatures.

    T : (levels, nodes) K, nan where there is nothing
    film_heat : W leaving through each film, by name (negative: heat comes in)
    balance : |heat in - heat out| over heat in
    solution : residual, iterations, seconds and memory of the solve
    """

    T: Array
    film_heat: dict[str, float]
    balance: float
    solution: Solution
    unknowns: int


@dataclass(frozen=True)
class HeatSystem:
    """Equation (1) on the nodes of a grid; fields of unknowns are (nodes, levels).

    K : conduction and films, W/K;  C : heat capacity lumped at the nodes, J/K, (nodes, levels)
    faces : W/K of each film at each plan node, (nodes,)
    used : nodes that exist, (nodes, levels);  coldest : K, what rises are counted from
    even : K once more where every layer and film is the same all over a grid of lines, else None
    """

    grid: Grid
    plan: PlanMatrices
    K: LayeredOperator
    C: Array
    used: NDArray[np.bool_]
    films: tuple[Film, ...]
    faces: tuple[Array, ...]
    coldest: float
    even: Separable | None

    @property
    def unknowns(self) -> int:
        """How many nodes exist."""
        return int(self.used.sum())

    def load(self, cell: Array) -> Array:
        """Cell values (slabs, cells) shared among their corners, (nodes, levels)."""
        return shared(self.plan, cell)

    def on_levels(self, x: Array) -> Array:
        """Unknowns as a nodal field (levels, nodes), nan where there is nothing."""
        return np.where(self.used, x, np.nan).T


def shared(plan: PlanMatrices, cell: Array) -> Array:
    """Cell values (slabs, cells) shared among their corners, (nodes, levels)."""
    per_slab = plan.parting @ np.ascontiguousarray(cell.T) / 2
    found = np.zeros((plan.nodes, len(cell) + 1))
    found[:, :-1] += per_slab
    found[:, 1:] += per_slab
    return found


def heat_system(
    grid: Grid, plan: PlanMatrices, fields: Fields, films: tuple[Film, ...]
) -> HeatSystem:
    """Assemble (1); raises SolveError when part of the stack has no way out for its heat."""
    live = np.where(grid.active, 1.0, 0.0)
    K = layered_operator(plan, grid.heights, fields.in_plane * live, fields.across * live)
    faces = tuple(film.h * (plan.share @ film.cells) for film in films)
    for film, face in zip(films, faces, strict=True):
        K.loss[:, film.level] += face
        if plan.overlap is not None:
            K.side[:, film.level] -= film.h * (plan.overlap @ film.cells)
    used = grid.node_used.T
    _check_way_out(K, used, grid)
    coldest = min(film.sink for film in films)
    C = shared(plan, fields.capacity * live * grid.plan.areas * grid.heights[:, None])
    even = _even(grid, plan, fields, films)
    return HeatSystem(grid, plan, K, C, used, films, faces, coldest, even)


def steady(system: HeatSystem, heat: Array, solver: Solver, guess: Array | None = None) -> Steady:
    """Steady temperatures for heat (slabs, cells) in W; equation (1).

    guess : temperatures to start from, (levels, nodes) K
    """
    coldest = system.coldest
    b = system.load(heat)
    for film, face in zip(system.films, system.faces, strict=True):
        b[:, film.level] += face * (film.sink - coldest)
    start = None if guess is None else np.where(system.used, guess.T - coldest, 0.0)
    solution = solver.solve(system.K, b, start, system.even)
    out: dict[str, float] = {}
    for film, face in zip(system.films, system.faces, strict=True):
        flow = face @ (solution.x[:, film.level] - (film.sink - coldest))
        out[film.name] = out.get(film.name, 0.0) + float(flow)
    total = float(heat.sum())
    moved = sum(abs(flow) for flow in out.values()) or 1.0
    balance = abs(total - sum(out.values())) / max(total, moved)
    if not balance <= BALANCE:
        raise SolveError(f"heat balance is off by {balance:.1e}, allowed {BALANCE:.0e}")
    T = coldest + system.on_levels(solution.x)
    return Steady(T, out, balance, solution, system.unknowns)


def _even(
    grid: Grid, plan: PlanMatrices, fields: Fields, films: tuple[Film, ...]
) -> Separable | None:
    lines = plan.graph.lines
    whole = grid.active.all() and all(film.cells.all() for film in films)
    if lines is None or not whole:
        return None
    if np.ptp(fields.in_plane, axis=1).any() or np.ptp(fields.across, axis=1).any():
        return None
    loss = np.zeros(len(grid.levels))
    for film in films:
        loss[film.level] += film.h
    integration: Integration = "lumped" if plan.overlap is None else "exact"
    first = fields.in_plane[:, 0], fields.across[:, 0]
    return Separable(lines, integration, grid.heights, *first, loss)


def _check_way_out(K: LayeredOperator, used: NDArray[np.bool_], grid: Grid) -> None:
    part = K.parts()
    cooled = np.zeros(K.link.size, bool)
    cooled[part[K.loss > 0]] = True
    lost = used & ~cooled[part]
    if lost.any():
        z = grid.levels[np.flatnonzero(lost)[0] % grid.shape[0]]
        raise SolveError(
            f"the stack at z = {1e3 * z:.3g} mm has no way out for its heat: no water film, "
            "no gas, no joint reaches it; give a film, an outer film or a gap pressure > 0"
        )
