"""Multigrid for layered operators: smooth along the lines through the layers, coarsen the plane.

Thin layers couple far more strongly through the stack than along it, and conductivities jump by
1e5 from layer to layer.  Smoothing all lines through the stack at once (one tridiagonal solve)
takes both away; what is left is smooth in the plane and is corrected on coarser plans, every
level of the stack kept:

    P = P_plan x I,   K_coarse = P^T K P                                               (1)

P_plan comes from algebraic coarsening of the plan's own operator, so any quad plan will do.
Smoother: Chebyshev polynomial of degree 2 in T^-1 K, T the tridiagonal part of K along the lines.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg.lapack import dpttrf, dpttrs
from scipy.sparse.linalg import splu

Array = NDArray[np.float64]
Index = NDArray[np.int64]
SMALLEST = 1_500  # unknowns solved directly at the bottom
SMOOTHED = 6.0  # share of the spectrum left to the coarser plans: the lowest 1/6


@dataclass(frozen=True)
class Layout:
    """Where the unknowns sit: plan node and level of each, ordered node by node, level by level.

    plan : operator of the plane alone, (nodes, nodes), which guides the coarsening
    """

    node: Index
    level: Index
    plan: sparse.csr_array


@dataclass(frozen=True)
class _Stage:
    K: sparse.csr_array
    diagonal: Array
    link: Array
    highest: float
    down: sparse.csr_array | None
    up: sparse.csr_array | None

    def lines(self, r: Array) -> Array:
        """T^-1 r: every line through the layers solved at once."""
        return np.asarray(dpttrs(self.diagonal, self.link, r)[0])

    def smooth(self, x: Array | None, b: Array) -> Array:
        """Chebyshev steps of degree 2 on [highest/SMOOTHED, highest]."""
        middle = self.highest * (1 + 1 / SMOOTHED) / 2
        half = self.highest * (1 - 1 / SMOOTHED) / 2
        r = b if x is None else b - self.K @ x
        step = self.lines(r) / middle
        x = step if x is None else x + step
        rho = 1 / (2 * middle / half - half / middle)
        step = rho * half / middle * step + 2 * rho / half * self.lines(b - self.K @ x)
        return np.asarray(x + step)


class Multigrid:
    """One V-cycle as a preconditioner, symmetric."""

    def __init__(self, K: sparse.csr_array, layout: Layout) -> None:
        import pyamg

        plan = sparse.csr_matrix(layout.plan)
        plan.indices, plan.indptr = plan.indices.astype(np.int32), plan.indptr.astype(np.int32)
        plane: Any = pyamg.ruge_stuben_solver(plan, max_coarse=12, max_levels=12)
        node, level = layout.node, layout.level
        self.stages: list[_Stage] = []
        for coarser in plane.levels[:-1]:
            if K.shape[0] <= SMALLEST:
                break
            up, node_c, level_c = _lift(sparse.csr_array(coarser.P), node, level)
            down = sparse.csr_array(up.T)
            self.stages.append(_stage(K, node, level, down, up))
            K, node, level = sparse.csr_array(down @ (K @ up)), node_c, level_c
        self.bottom = splu(K.tocsc())

    def cycle(self, b: Array) -> Array:
        """One V-cycle on K x = b from x = 0."""
        return self._cycle(0, b)

    def _cycle(self, i: int, b: Array) -> Array:
        if i == len(self.stages):
            return np.asarray(self.bottom.solve(b))
        stage = self.stages[i]
        assert stage.down is not None
        assert stage.up is not None
        x = stage.smooth(None, b)
        x = x + stage.up @ self._cycle(i + 1, stage.down @ (b - stage.K @ x))
        return stage.smooth(x, b)


def _lift(P: sparse.csr_array, node: Index, level: Index) -> tuple[sparse.csr_array, Index, Index]:
    """P x I on the unknowns that exist, equation (1), with the layout of the coarse unknowns."""
    rows = P[node]
    fine = np.repeat(np.arange(len(node)), np.diff(rows.indptr))
    levels = int(level.max()) + 1
    key = rows.indices.astype(np.int64) * levels + level[fine]
    coarse, number = np.unique(key, return_inverse=True)
    lifted = sparse.csr_array((rows.data, (fine, number.ravel())), shape=(len(node), len(coarse)))
    return lifted, coarse // levels, coarse % levels


def _stage(
    K: sparse.csr_array, node: Index, level: Index, down: sparse.csr_array, up: sparse.csr_array
) -> _Stage:
    joined = (np.diff(node) == 0) & (np.diff(level) == 1)
    link = np.where(joined, K.diagonal(1), 0.0)
    diagonal, link, fault = dpttrf(K.diagonal(), link)
    if fault:  # a positive definite K has positive definite lines
        raise ArithmeticError("the operator is not positive definite along its lines")
    stage = _Stage(K, diagonal, link, 1.0, down, up)
    return _Stage(K, diagonal, link, 1.05 * _highest(stage), down, up)


def _highest(stage: _Stage) -> float:
    """Largest eigenvalue of T^-1 K by a few power steps."""
    x = np.random.default_rng(1).standard_normal(stage.K.shape[0])
    value = 1.0
    for _ in range(12):
        y = stage.lines(stage.K @ x)
        value = float(np.sqrt((y @ y) / (x @ x)))
        x = y / np.linalg.norm(y)
    return value
