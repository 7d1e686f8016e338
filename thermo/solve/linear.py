"""Solve K x = b for a symmetric layered operator: conjugate gradients with multigrid.

A complex K (K + i w M) is symmetric, not Hermitian: the same iteration with products that are not
conjugated.  The iteration, its residual and its operator are in double precision throughout.
"""

from dataclasses import dataclass, field, replace
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermo.errors import SolveError
from thermo.solve import loops
from thermo.solve.multigrid import Multigrid, elimination
from thermo.solve.operator import LayeredOperator
from thermo.solve.separable import Separable

Field = NDArray[Any]  # (nodes, levels), real or complex
TOLERANCE = 1e-10  # relative residual that every solve must reach, or round-off where larger
CEILING = 1e-5  # relative residual that round-off never excuses
MOST = 60  # iterations of a fresh multigrid; 6 to 15 are usual
WAYS_OUT = (
    "thicker thin layers, cells of more even size or smaller ratios of conductivities side by side "
    "make it easier"
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

    usual : iterations of a fresh multigrid, over which a stale one is replaced
    """

    tolerance: float = TOLERANCE
    multigrid: Multigrid | None = field(default=None, repr=False)
    usual: int = 0

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
        norm = _checked_norm(K, b, guess)
        if norm == 0:
            return Solution(np.zeros(b.shape, np.result_type(b, K.loss)), 0.0, 0, 0.0, 0)
        if even is not None:
            guess = even.solve(b)
            left = _residual(K, guess, b, norm)
            if self._enough(K, guess, left, norm):
                held = K.nbytes + even.nbytes + 3 * b.nbytes
                return Solution(guess, left, 0, perf_counter() - start, held)
        x, iterations = self._preconditioned(K, b, guess, norm)
        left = _residual(K, x, b, norm)
        if not self._enough(
            K, x, left, norm
        ):  # rounding has let the iteration's own residual drift
            x, more = self._iterate(K, b, x, norm, MOST)
            iterations, left = iterations + more, _residual(K, x, b, norm)
        if not self._enough(K, x, left, norm):
            raise SolveError(
                f"relative residual {left:.1e} after {iterations} iterations, wanted "
                f"{self.tolerance:.0e} or what rounding leaves: {WAYS_OUT}"
            )
        assert self.multigrid is not None
        vectors = 4 * x.nbytes + x.nbytes // 2 + b.nbytes
        held = K.nbytes + self.multigrid.nbytes + vectors
        return Solution(x, left, iterations, perf_counter() - start, held)

    def _enough(self, K: LayeredOperator, x: Field, left: float, norm: float) -> bool:
        return left <= 1.01 * self.tolerance or left <= within_reach(K, x, norm)

    def _preconditioned(
        self, K: LayeredOperator, b: Field, guess: Field | None, norm: float
    ) -> tuple[Field, int]:
        """Try the multigrid at hand, then a fresh one."""
        spent = 0
        if self.multigrid is not None and self.multigrid.fits(K):
            most = 2 * self.usual + 2
            x, spent = self._iterate(K, b, guess, norm, most)
            if spent < most:
                return x, spent
            guess = x if np.isfinite(x).all() else guess
        self.multigrid = None  # not two in memory
        self.multigrid = Multigrid(K)
        x, count = self._iterate(K, b, guess, norm, MOST)
        self.usual = max(self.usual, count)
        return x, spent + count

    def _iterate(
        self, K: LayeredOperator, b: Field, guess: Field | None, norm: float, most: int
    ) -> tuple[Field, int]:
        assert self.multigrid is not None
        return conjugate_gradients(K, b, self.multigrid, self.tolerance * norm / 2, most, guess)


def conjugate_gradients(
    K: LayeredOperator,
    b: Field,
    multigrid: Multigrid,
    enough: float,
    most: int,
    guess: Field | None = None,
    close: float = 0.0,
) -> tuple[Field, int]:
    """Iterate until the residual's norm is `enough`, at most `most` times; x and iterations.

    The multigrid sees residuals scaled to about 1, whatever the unit of heat.
    close : or until one cycle would move no unknown by more than this; that step is then taken
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
        if close > 0 and size * loops.largest(z) <= close:
            x += size * z
            return x, count + 1
        product = loops.product(r, z)
        loops.turn(p, z, kind.type(product / before))
        before = product
        K.times(p, Kp)
        step = kind.type(product / loops.product(p, Kp))
        size = loops.advance(step, p, Kp, x, r, 1 / size, scaled)
    return x, most


def solved_directly(K: LayeredOperator, b: Field) -> Field:
    """x by sparse elimination: the oracle for up to some ten thousand unknowns."""
    kind = np.result_type(b, K.loss)
    factors = elimination(replace(K, loss=K.loss.astype(kind)))
    return np.asarray(factors.solve(b.ravel().astype(kind)).reshape(b.shape))


def within_reach(K: LayeredOperator, x: Field, norm: float) -> float:
    """Relative residual that rounding x alone leaves in K x, at most CEILING.

    A metal film of 1 um conducts 1e8 W/(m2 K) across: there the last digit of x already carries
    1e-9 of the heat.
    """
    rounding = np.finfo(float).eps * float(np.linalg.norm(2 * K.lumped().diagonal * np.abs(x)))
    return min(rounding / norm, CEILING)


def _checked_norm(K: LayeredOperator, b: Field, guess: Field | None) -> float:
    """Norm of b; raises SolveError for what no solve can start from."""
    norm = float(np.linalg.norm(b))
    if not np.isfinite(norm):
        raise SolveError("the right-hand side is not finite; check the heat sources")
    if guess is not None and not np.isfinite(guess).all():
        raise SolveError("the field to start from is not finite; start without one")
    if K.loss.dtype.kind != "c" and any(f is not None and f.dtype.kind == "c" for f in (b, guess)):
        raise SolveError("a complex field for a real operator; solve both parts, or shift it")
    return norm


def _residual(K: LayeredOperator, x: Field, b: Field, norm: float) -> float:
    return float(np.linalg.norm(b - K.times(x))) / norm
