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

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import SuperLU, splu

from thermo.errors import SolveError
from thermo.solve import loops
from thermo.solve.coarser import coarser_plans
from thermo.solve.graph import Coarsening, Index
from thermo.solve.operator import LayeredOperator


@dataclass(frozen=True)
class _Stage:
    """One plan of the hierarchy: couplings, factors of the lines, step down, and room to work."""

    rows: tuple[Index, Index, Index]
    side: NDArray[Any]
    ratio: NDArray[Any]
    pivot: NDArray[Any]
    up: tuple[Index, Index, NDArray[np.float32]]
    x: NDArray[Any]
    coarse: NDArray[Any]

    @property
    def nbytes(self) -> int:
        arrays = (self.side, self.ratio, self.pivot, self.x, self.coarse, *self.rows, *self.up)
        return sum(a.nbytes for a in arrays)


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
        self.stages: list[_Stage] = []
        for step in coarser_plans(K):
            self.stages.append(_stage(K, step, self.single))
            K = LayeredOperator(
                step.coarse,
                step.gather @ K.side,
                step.down @ K.link,
                step.down @ K.loss,
            )
        self.bottom = elimination(K)

    def fits(self, K: LayeredOperator) -> bool:
        """Whether it was built for an operator of this kind and size."""
        is_complex = self.single is np.complex64
        return self.shape == K.shape and is_complex == (K.loss.dtype.kind == "c")

    @property
    def nbytes(self) -> int:
        """Memory of the hierarchy."""
        bottom = 16 * (self.bottom.L.nnz + self.bottom.U.nnz)
        return sum(stage.nbytes for stage in self.stages) + bottom

    def cycle(self, b: NDArray[Any]) -> NDArray[Any]:
        """One V-cycle on K x = b (nodes, levels) from x = 0; the next cycle overwrites the answer.

        Single precision: scale b so that its norm is about 1.
        """
        return self._cycle(0, np.asarray(b, self.single))

    def _cycle(self, i: int, b: NDArray[Any]) -> NDArray[Any]:
        if i == len(self.stages):
            x = self.bottom.solve(np.asarray(b.ravel(), np.result_type(b, np.float64)))
            return np.asarray(x.reshape(b.shape), b.dtype)
        s = self.stages[i]
        start, beside, edge = s.rows
        p_start, p_node, p_share = s.up
        loops.sweep_down_from_zero(start, beside, edge, s.side, s.ratio, s.pivot, b, s.x)
        loops.restrict_residual(
            start, beside, edge, s.side, s.x, p_start, p_node, p_share, s.coarse
        )
        loops.add_prolonged(p_start, p_node, p_share, self._cycle(i + 1, s.coarse), s.x)
        loops.sweep_up(start, beside, edge, s.side, s.ratio, s.pivot, b, s.x)
        return s.x


def _stage(K: LayeredOperator, step: Coarsening, single: Any) -> _Stage:
    start, _, edge = K.graph.rows
    ratio, pivot, x = (np.zeros(K.shape, single) for _ in range(3))
    if not loops.factor_lines(start, edge, K.side, K.link, K.loss, ratio, pivot):
        raise SolveError("the operator is not positive definite along its lines")
    P = step.up
    up = (P.indptr, P.indices, P.data.astype(np.float32))
    coarse = np.zeros((step.coarse.nodes, K.shape[1]), single)
    return _Stage(K.graph.rows, K.side.astype(np.float32), ratio, pivot, up, x, coarse)
