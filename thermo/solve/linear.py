"""Solve K x = b for symmetric positive definite K: direct where small, else CG with multigrid."""

from dataclasses import dataclass, field
from time import perf_counter

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph
from scipy.sparse.linalg import LinearOperator, cg, splu

from thermo.errors import SolveError
from thermo.solve.multigrid import Layout, Multigrid

Array = NDArray[np.float64]
DIRECT_BELOW = 3_000  # unknowns
TOLERANCE = 1e-10  # relative residual that every solve must reach, or round-off where larger
CEILING = 1e-7  # relative residual that round-off never excuses
MOST = 200  # iterations of a fresh multigrid


@dataclass(frozen=True)
class Solution:
    """Answer of one linear solve, with what it took."""

    x: Array
    residual: float
    iterations: int
    seconds: float


@dataclass
class Solver:
    """Solver that keeps its multigrid for a series of matrices that differ a little.

    A stale multigrid costs iterations, never accuracy: every solve checks its own residual
    against the matrix it was given.
    """

    tolerance: float = TOLERANCE
    _kept: Multigrid | None = field(default=None, repr=False)
    _usual: int = 0

    def solve(
        self, K: sparse.csr_array, layout: Layout, b: Array, guess: Array | None = None
    ) -> Solution:
        """Solve K x = b, unknowns ordered as in the layout.

        Raises SolveError when the residual stays above the tolerance.
        """
        start = perf_counter()
        norm = float(np.linalg.norm(b))
        if not np.isfinite(norm):
            raise SolveError("the right-hand side is not finite; check the heat sources")
        if norm == 0:
            return Solution(np.zeros_like(b), 0.0, 0, 0.0)
        if K.shape[0] < DIRECT_BELOW:
            x, iterations = splu(K.tocsc()).solve(b), 0
        else:
            x, iterations = self._krylov(K, layout, b, guess, norm)
        residual = float(np.linalg.norm(b - K @ x)) / norm
        if not residual <= 1.01 * self._within_reach(K, x, norm):
            raise SolveError(
                f"relative residual {residual:.1e} after {iterations} iterations, wanted "
                f"{self.tolerance:.0e}; coarsen the mesh or check for extreme property ratios"
            )
        return Solution(x, residual, iterations, perf_counter() - start)

    def _krylov(
        self, K: sparse.csr_array, layout: Layout, b: Array, guess: Array | None, norm: float
    ) -> tuple[Array, int]:
        kept = self._kept
        if kept is not None and kept.stages[0].K.shape == K.shape:
            x, count = self._iterate(kept, K, b, guess, norm, 2 * self._usual)
            if np.linalg.norm(b - K @ x) <= self._within_reach(K, x, norm) * norm:
                return x, count
            guess = x
        self._kept = Multigrid(K, layout)
        x, self._usual = self._iterate(self._kept, K, b, guess, norm, MOST)
        return x, self._usual

    def _within_reach(self, K: sparse.csr_array, x: Array, norm: float) -> float:
        """Relative residual to ask for: the tolerance, or what rounding x alone leaves in K x.

        A metal film of 1 um conducts 1e8 W/(m2 K) across: there the last digit of x already
        carries 1e-9 of the heat.
        """
        rounding = np.finfo(float).eps * np.linalg.norm(abs(K) @ abs(x))
        return min(max(self.tolerance, 2 * float(rounding) / norm), CEILING)

    def _iterate(
        self,
        multigrid: Multigrid,
        K: sparse.csr_array,
        b: Array,
        guess: Array | None,
        norm: float,
        most: int,
    ) -> tuple[Array, int]:
        count = 0

        def step(_: Array) -> None:
            nonlocal count
            count += 1

        M = LinearOperator(K.shape, matvec=multigrid.cycle, dtype=float)
        stop = self.tolerance * norm
        x, _ = cg(K, b, x0=guess, rtol=0.0, atol=stop, M=M, maxiter=most, callback=step)
        return x, count


def unanchored(K: sparse.csr_array, anchored: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Unknowns of parts of K that are tied to no anchored unknown: K is singular there."""
    count, part = csgraph.connected_components(K, directed=False)
    tied = np.zeros(count, bool)
    tied[part[anchored]] = True
    return np.asarray(~tied[part])
