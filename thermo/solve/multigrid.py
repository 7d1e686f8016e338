"""Multigrid for layered operators: smooth along the lines through the layers, coarsen the plane.

Thin layers couple far more strongly through the stack than along it, and conductivities jump by
1e5 from layer to layer.  Solving whole lines through the stack takes both away; what is left is
smooth in the plane and is corrected on coarser plans, every level of the stack kept:

    P = P_plan x I                                                                     (1)

Couplings in the plane are those of P^T K P; what runs down the lines or leaves them is lumped to
the coarse lines, which keeps lines the only strong couplings.  Smoother: one Gauss-Seidel sweep
over the lines, ascending before and descending after the correction, so that the cycle is
symmetric.  A cycle runs in single precision; the iteration around it in double.
"""

from copy import copy
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import SuperLU, splu

from thermo.errors import SolveError
from thermo.solve import loops
from thermo.solve.coarser import coarser_plans
from thermo.solve.graph import Coarsening, Index, PlanGraph
from thermo.solve.lines import factor_lines
from thermo.solve.operator import LayeredOperator

HEAVY = 1e-3  # share of a line's largest mass below which a node follows the others
NEAR = 0.1  # change of a shift that costs hardly an iteration
LIGHT = 3.0  # share of a shift below which what runs in the plane needs no coarser plan


@dataclass(frozen=True)
class _Stage:
    """One plan of the hierarchy: couplings, factors of the lines, step down, and room to work."""

    rows: tuple[Index, Index, Index]
    side: NDArray[np.float32]
    link: NDArray[np.float32]
    ratio: NDArray[Any]
    pivot: NDArray[Any]
    up: tuple[Index, Index, NDArray[np.float32]]
    x: NDArray[Any]
    coarse: NDArray[Any]

    @property
    def nbytes(self) -> int:
        arrays = (self.side, self.link, self.ratio, self.pivot, self.x, self.coarse)
        return sum(a.nbytes for a in (*arrays, *self.rows, *self.up))

    def with_loss(self, loss: NDArray[Any]) -> "_Stage":
        """The same couplings with another loss to the outside, (nodes, levels)."""
        (nodes, levels), parts = loss.shape, 2 if loss.dtype.kind == "c" else 1
        ratio, pivot, x = (np.empty((nodes, parts, levels), np.float32) for _ in range(3))
        start, _, edge = self.rows
        if not factor_lines(start, edge, self.side, self.link, loss, ratio, pivot):
            raise SolveError("the operator is not positive definite along its lines")
        coarse = np.empty((len(self.coarse), parts, levels), np.float32)
        return replace(self, ratio=ratio, pivot=pivot, x=x, coarse=coarse)


def elimination(K: LayeredOperator) -> SuperLU:
    """Factors of K as a matrix; unknowns in a void stand for themselves."""
    A = K.matrix()
    A.setdiag(A.diagonal() + (A.diagonal() == 0))
    return splu(A.tocsc())


class Multigrid:
    """One V-cycle as a preconditioner, symmetric."""

    def __init__(self, K: LayeredOperator) -> None:
        K = K.lumped()
        self.shape = K.shape
        self.single: Any = np.complex64 if K.loss.dtype.kind == "c" else np.float32
        self.steps = coarser_plans(K)
        self.stages: list[_Stage] = []
        for step in self.steps:
            self.stages.append(_stage(K, step, self.single))
            K = LayeredOperator(
                step.coarse,
                step.gather @ K.side,
                step.down @ K.link,
                step.down @ K.loss,
            )
        self.coarsest = K
        self.bottom: SuperLU | None = elimination(K)

    def restricted(self, field: NDArray[Any]) -> list[NDArray[Any]]:
        """A loss or mass (nodes, levels) on every plan of the hierarchy, the finest first."""
        found = [field]
        for step in self.steps:
            found.append(step.down @ found[-1])
        return found

    def fits(self, K: LayeredOperator) -> bool:
        """Whether it was built for an operator of this kind and size."""
        is_complex = self.single is np.complex64
        return self.shape == K.shape and is_complex == (K.loss.dtype.kind == "c")

    @property
    def nbytes(self) -> int:
        """Memory of the hierarchy."""
        stages = sum(s.nbytes for s in self.stages) + sum(s.nbytes for s in self.steps)
        if self.bottom is None:
            return stages
        return stages + 16 * (self.bottom.L.nnz + self.bottom.U.nnz)

    def cycle(self, b: NDArray[Any]) -> NDArray[Any]:
        """One V-cycle on K x = b (nodes, levels) from x = 0; the next cycle overwrites the answer.

        Single precision: scale b so that its norm is about 1.
        """
        b = np.asarray(b, self.single)
        if self.single is np.float32:
            return self._cycle(0, b[:, None])[:, 0]
        nodes, levels = b.shape
        parts = np.empty((nodes, 2, levels), np.float32)
        loops.part(b, parts)
        x = np.empty_like(b)
        loops.join(self._cycle(0, parts), x)
        return x

    def _cycle(self, i: int, b: NDArray[np.float32]) -> NDArray[np.float32]:
        if i == len(self.stages):
            return self._at_the_bottom(b)
        s = self.stages[i]
        start, beside, edge = s.rows
        p_start, p_node, p_share = s.up
        loops.sweep_down_from_zero(start, beside, edge, s.side, s.ratio, s.pivot, b, s.x)
        if i + 1 < len(self.stages) or self.bottom is not None:
            loops.restrict_residual(
                start, beside, edge, s.side, s.x, p_start, p_node, p_share, s.coarse
            )
            loops.add_prolonged(p_start, p_node, p_share, self._cycle(i + 1, s.coarse), s.x)
        loops.sweep_up(start, beside, edge, s.side, s.ratio, s.pivot, b, s.x)
        return s.x

    def _at_the_bottom(self, b: NDArray[np.float32]) -> NDArray[np.float32]:
        assert self.bottom is not None
        both = b[:, 0] if self.single is np.float32 else b[:, 0] + 1j * b[:, 1]
        x = self.bottom.solve(np.asarray(both.ravel(), np.result_type(both, np.float64)))
        x = x.reshape(both.shape)
        return np.asarray(np.stack([x.real, x.imag][: b.shape[1]], axis=1), np.float32)


class Shifts:
    """Cycles for K + s M, M diagonal (nodes, levels), for many shifts s.

    Couplings and coarser plans are those of K's own multigrid; only the lines are factored anew.
    Where |s| M outweighs what runs in the plane, a sweep over the lines leaves next to nothing, and
    the plans beyond are left out.
    """

    def __init__(self, multigrid: Multigrid, K: LayeredOperator, M: NDArray[np.float64]) -> None:
        self.whole = multigrid
        self.loss, self.mass = (
            [np.asarray(f, np.float32) for f in multigrid.restricted(field)]
            for field in (K.loss, M)
        )
        graphs = [K.graph, *(step.coarse for step in multigrid.steps)]
        stages = zip(graphs[:-1], multigrid.stages, self.mass[:-1], strict=True)
        self.last: tuple[complex, Multigrid] | None = None
        self.rates = [_rate(graph, stage.side, mass) for graph, stage, mass in stages]

    def at(self, shift: complex) -> Multigrid:
        """The cycle for one shift, or the last one where the shift is nearly the same."""
        if self.last is not None:
            made_for, made = self.last
            if type(shift) is type(made_for) and abs(shift - made_for) <= NEAR * abs(shift):
                return made
        made = self._made(shift)
        self.last = shift, made
        return made

    def _made(self, shift: complex) -> Multigrid:
        made = copy(self.whole)
        made.single = np.complex64 if isinstance(shift, complex) else np.float32
        s = made.single(shift)
        light = [rate < LIGHT * abs(shift) for rate in self.rates]
        count = light.index(True) + 1 if any(light) else len(light)
        made.stages = [
            stage.with_loss(loss + s * mass)
            for stage, loss, mass in zip(
                self.whole.stages[:count], self.loss, self.mass, strict=False
            )
        ]
        made.bottom = None
        if not any(light):
            made.bottom = elimination(
                replace(self.whole.coarsest, loss=self.loss[-1] + shift * self.mass[-1])
            )
        return made


def _rate(graph: PlanGraph, side: NDArray[Any], mass: NDArray[Any]) -> float:
    """Largest ratio of what couples a node in the plane to its mass, where the line has its mass.

    Gas, which weighs nothing, follows what is above and below it.
    """
    heavy = mass > HEAVY * mass.max(axis=1, keepdims=True)
    return float((graph.at_ends(side)[heavy] / mass[heavy]).max(initial=0.0))


def _stage(K: LayeredOperator, step: Coarsening, single: Any) -> _Stage:
    none = np.empty((0, 0, 0), np.float32)
    P = step.up
    up = (P.indptr, P.indices, P.data.astype(np.float32))
    coarse = np.empty((step.coarse.nodes, 1, K.shape[1]), np.float32)
    side, link = K.side.astype(np.float32), K.link.astype(np.float32)
    bare = _Stage(K.graph.rows, side, link, none, none, up, none, coarse)
    return bare.with_loss(np.asarray(K.loss, single))
