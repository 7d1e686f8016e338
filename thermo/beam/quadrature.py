"""Gauss-Legendre points, worked out once for each number of them."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@lru_cache(maxsize=256)
def gauss_legendre(count: int) -> tuple[Array, Array]:
    """Points in (-1, 1) and weights of the rule with `count` points; read-only."""
    points, weights = np.polynomial.legendre.leggauss(count)
    points.flags.writeable = weights.flags.writeable = False
    return points, weights
