"""Direct solution where every layer is the same all over a rectangular plan.

    K = A_x x M_y x S + M_x x A_y x S + M_x x M_y x Z                                   (1)
    S = sum_slabs k_xy M_z,   Z = sum_slabs k_z A_z + diag(loss)
    A_x V = M_x V diag(lambda_x),   V^T M_x V = 1,   W the same in y                    (2)
    x = (V x W) [(lambda_x + lambda_y) S + Z]^-1 (V x W)^T b                            (3)

The bracket is one tridiagonal system through the levels for each pair of modes.  Cost:
2 (n_x + n_y) multiply-adds an unknown for the transforms, about 20 operations for the tridiagonal
systems, a few n_x^3 + n_y^3 once for the modes.  Memory: two fields and the modes.
Source: R. E. Lynch, J. R. Rice, D. H. Thomas, Numer. Math. 6 (1964) 185, from memory.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh

from thermo.errors import SolveError
from thermo.solve.compiled import Values, compiled
from thermo.solve.layered import Integration

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Separable:
    """Equation (1).

    lines : positions (m) of the lines in x and y of the plan;  heights : (slabs,) m
    in_plane, across : (slabs,) k_xy and k_z, W/(m K), one number a slab
    loss : (levels,) films over the whole plan, W/(m2 K), real or complex (with "exact" it is
        spread by the consistent mass, as films are; a diagonal capacity is not)
    """

    lines: tuple[Array, Array]
    integration: Integration
    heights: Array
    in_plane: Array
    across: Array
    loss: NDArray[Any]

    @cached_property
    def modes(self) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
        """Equation (2): eigenvalues (1/m2) and modes in x, the same in y."""
        x, y = (_modes(lines, self.integration) for lines in self.lines)
        return x, y

    @property
    def nbytes(self) -> int:
        """Memory of the modes."""
        return sum(array.nbytes for pair in self.modes for array in pair)

    def solve(self, b: NDArray[Any]) -> NDArray[Any]:
        """Solution of K x = b by (3), fields (nodes, levels), x running fastest.

        Raises SolveError where nothing leaves a part of the stack.
        """
        (in_x, V), (in_y, W) = self.modes
        kind = np.result_type(b, self.loss, np.float64)
        y = np.empty(b.shape, kind)
        z = np.array(b, kind, order="C")
        _transform(V.T, W.T, z, y)
        spread, pierce = self.in_plane * self.heights, self.across / self.heights
        slant = 1 / 6 if self.integration == "exact" else 0.0
        if not solve_modes(in_x, in_y, spread, pierce, slant, self.loss.astype(kind), z):
            raise SolveError(
                "a part of the stack loses no heat to the outside; give it a film or a layer "
                "that conducts"
            )
        _transform(V, W, z, y)
        return z


def _modes(lines: Array, integration: Integration) -> tuple[Array, Array]:
    """Eigenvalues and modes of conduction along one line of cells, equation (2)."""
    h = np.diff(lines)
    A = _tridiagonal(1 / h, 1 / h, -1 / h)
    M = _tridiagonal(h / 3, h / 3, h / 6) if integration == "exact" else np.diag(_shares(h))
    V = eigh(A, M)[1]
    V[:, 0] = 1 / np.sqrt(h.sum())  # exactly even: rounding would leak heat sideways
    return np.asarray((np.diff(V, axis=0) ** 2 / h[:, None]).sum(0)), V


def _tridiagonal(first: Array, second: Array, between: Array) -> Array:
    """Sum of the cells' 2 x 2 matrices."""
    whole = np.diag(np.append(first, 0) + np.insert(second, 0, 0))
    return np.asarray(whole + np.diag(between, 1) + np.diag(between, -1))


def _shares(h: Array) -> Array:
    """Half a cell to either of its nodes."""
    return np.asarray((np.append(h, 0) + np.insert(h, 0, 0)) / 2)


def _transform(V: Array, W: Array, z: NDArray[Any], spare: NDArray[Any]) -> None:
    """z = (V x W) z, real factors on real and imaginary parts alike."""
    kind = z.real.dtype
    by_x = z.view(kind).reshape(len(W), len(V), -1)
    between = spare.view(kind).reshape(by_x.shape)
    np.matmul(V, by_x, out=between)
    np.matmul(W, between.reshape(len(W), -1), out=by_x.reshape(len(W), -1))


@compiled
def solve_modes(
    in_x: Values,
    in_y: Values,
    spread: Values,
    pierce: Values,
    slant: float,
    loss: Values,
    y: Values,
) -> bool:
    """y = [(lambda_x + lambda_y) S + Z]^-1 y for each pair of modes; False where singular.

    What leaves the stack is carried down the levels as a sum, as in `loops.factor_lines`.
    """
    levels = len(loss)
    ratio = loss.copy()
    pivot = loss.copy()
    for i in range(len(y)):
        wave = in_x[i % len(in_x)] + in_y[i // len(in_x)]
        rest = loss[0] * 0
        before = 0.0
        for z in range(levels):
            half = link = 0.0
            if z < levels - 1:
                half = wave * spread[z] / 2
                link = pierce[z] - wave * spread[z] * slant
            rest = rest + loss[z] + before + half
            before = half
            d = rest + link
            if not d.real > 0:
                return False
            pivot[z] = 1 / d
            ratio[z] = link / d
            rest = rest * ratio[z]
            if z > 0:
                y[i, z] += ratio[z - 1] * y[i, z - 1]
        y[i, levels - 1] *= pivot[levels - 1]
        for z in range(levels - 2, -1, -1):
            y[i, z] = y[i, z] * pivot[z] + ratio[z] * y[i, z + 1]
    return True
