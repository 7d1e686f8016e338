"""How thick layers are drawn, which differ ten thousand times in thickness."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

THINNEST, THICKEST = 0.35, 1.0  # drawn heights of the thinnest and the thickest layer


def drawn_heights(thickness: ArrayLike) -> NDArray[np.float64]:
    """Heights of layers by the logarithm of their thickness, THINNEST to THICKEST."""
    log = np.log(np.asarray(thickness, float))
    span = max(float(np.ptp(log)), 1e-9)
    return np.asarray(THINNEST + (THICKEST - THINNEST) * (log - log.min()) / span)
