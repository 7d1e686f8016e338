"""Solve K x = b for a symmetric layered operator: conjugate gradients with multigrid.

A complex K (K + i w M) is symmetric, not Hermitian: the same iteration with products that are not
conjugated.  The iteration, its residual and its operator are in double precision throughout.
"""

from dataclasses import dataclass, field
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import splu

from thermo.errors import SolveError
from thermo.solve import loops
from thermo.solve.multigrid import Multigrid
from thermo.solve.operator import LayeredOperator
from thermo.solve.separable import Separable

Field = NDArray[Any]  # (nodes, levels), real or complex
TOLERANCE = 1e-10  # relative residual that every solve must reach, or round-off where larger
CEILING = 1e-7  # relative residual that round-off never excuses
MOST = 60  # iterations of a fresh multigrid; 6 to 15 are usual
WAYS_OUT = (
    "a finer mesh where properties jump, thicker thin layers or smaller ratios of conductivities "
    "side by side make it easier"
)


@dataclass(frozen=True)
class Solution:
    """Answer of one linear solve, with what it took.

    nbytes : memory held at its largest: operator, multigrid, vectors of the iteration
    """

    x: Field
    residual: float
    iterations: int
    seconds: float
    nbytes: int


@dataclass
class Solver:
    """Solver that keeps its multigrid for a series of operators that differ a little.

    A stale multigrid costs iterations, never accuracy: every solve checks its own residual
    against the operator it was given.
    """

    tolerance: float = TOLERANCE
    _kept: Multigrid | None = field(default=None, repr=False)
    _usual: int = 0

    def solve(
        self,
        K: LayeredOperator,
        b: Field,
        guess: Field | None = None,
        even: Separable | None = None,
    ) -> Solution:
        """Solve K x = b, fields (nodes, levels).

        guess : a field to start from
        even : K once more, where every layer is the same all over: then solved exactly

        Raises SolveError when the residual stays above the tolerance.
        """
        start = perf_counter()
        norm = float(np.linalg.norm(b))
        if not np.isfinite(norm):
            raise SolveError("the right-hand side is not finite; check the heat sources")
        if norm == 0:
            return Solution(np.zeros_like(b), 0.0, 0, 0.0, 0)
        if even is not None:
            guess = even.solve(b)
            left = _residual(K, guess, b, norm)
            if left <= within_reach(K, guess, norm, self.tolerance):
                return Solution(guess, left, 0, perf_counter() - start, K.nbytes + 2 * b.nbytes)
        x, iterations = self._preconditioned(K, b, guess, norm)
        left = _residual(K, x, b, norm)
        if not left <= within_reach(K, x, norm, self.tolerance):
            raise SolveError(
                f"relative residual {left:.1e} after {iterations} iterations, wanted "
                f"{self.tolerance:.0e}: {WAYS_OUT}"
            )
        assert self._kept is not None
        held = K.nbytes + self._kept.nbytes + 5 * x.nbytes
        return Solution(x, left, iterations, perf_counter() - start, held)

    def _preconditioned(
        self, K: LayeredOperator, b: Field, guess: Field | None, norm: float
    ) -> tuple[Field, int]:
        """Try the multigrid at hand, then a fresh one."""
        kept, spent = self._kept, 0
        if kept is not None and kept.fits(K):
            most = 2 * self._usual + 2
            x, spent = conjugate_gradients(K, b, kept, self.tolerance * norm / 2, most, guess)
            if spent < most:
                return x, spent
            guess = x
        self._kept = Multigrid(K)
        x, count = conjugate_gradients(K, b, self._kept, self.tolerance * norm / 2, MOST, guess)
        if guess is None or not self._usual:
            self._usual = count
        return x, spent + count


def conjugate_gradients(
    K: LayeredOperator,
    b: Field,
    multigrid: Multigrid,
    enough: float,
    most: int,
    guess: Field | None = None,
) -> tuple[Field, int]:
    """Iterate until the residual's norm is `enough`, at most `most` times; x and iterations.

    The multigrid sees residuals scaled to about 1, whatever the unit of heat.
    """
    kind = np.result_type(b, K.loss)
    x = np.zeros(b.shape, kind) if guess is None else guess.astype(kind)
    r = b.astype(kind) if guess is None else b - K.times(x)
    size = float(np.linalg.norm(r))
    scaled = np.asarray(r / (size or 1.0), multigrid.single)
    p, Kp, before = np.zeros_like(x), np.empty_like(x), np.inf
    for count in range(most):
        if size <= enough:
            return x, count
        z = multigrid.cycle(scaled)
        product = loops.product(r, z)
        loops.turn(p, z, kind.type(product / before))
        before = product
        K.times(p, Kp)
        step = kind.type(product / loops.product(p, Kp))
        size = loops.advance(step, p, Kp, x, r, 1 / size, scaled)
    return x, most


def solved_directly(K: LayeredOperator, b: Field) -> Field:
    """x by sparse elimination: the oracle for up to some ten thousand unknowns."""
    A = K.matrix()
    nothing = A.diagonal() == 0
    A.setdiag(A.diagonal() + nothing)
    kind = np.result_type(b, A.dtype)
    return np.asarray(splu(A.astype(kind).tocsc()).solve(b.ravel().astype(kind)).reshape(b.shape))


def within_reach(K: LayeredOperator, x: Field, norm: float, tolerance: float) -> float:
    """Relative residual to ask for: the tolerance, or what rounding x alone leaves in K x.

    A metal film of 1 um conducts 1e8 W/(m2 K) across: there the last digit of x already carries
    1e-9 of the heat.
    """
    rounding = np.finfo(float).eps * float(np.linalg.norm(2 * K.lumped().diagonal * np.abs(x)))
    return max(1.01 * tolerance, min(rounding / norm, CEILING))


def _residual(K: LayeredOperator, x: Field, b: Field, norm: float) -> float:
    return float(np.linalg.norm(b - K.times(x))) / norm
