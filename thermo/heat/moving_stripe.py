"""Temperature swing under the moving stripe: layered stack, wide in the plane.

Seen from the stripe, which returns once a pass, every layer of a wide stack obeys

    rho cp v dT/ds + k_xy d2T/ds2 + d/dz(k_z dT/dz) + q(s, z) = 0                      (1)

with s = y - v t.  The passes are a train of period Lambda = v t_pass, so (1) falls apart into wave
numbers kappa_n = 2 pi n/Lambda, each a tridiagonal system through the layers:

    (K_z + kappa^2 k_xy - i kappa v rho cp) T_n = q_n                                  (2)

Holds in the middle of the stroke of a laterally even stack, where passes are evenly apart and up
and down mirror each other.  Towards a turn-around they come in close pairs and the peak is higher:
a layer that has not cooled between the two passes starts the second one warm.  Limits: a membrane alone gives the fin
equation in the moving frame, one layer without conduction along y gives its pulse train.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
SAMPLES = 2048


@dataclass(frozen=True)
class Column:
    """Slabs on top of each other: thickness (m), k across and in plane, rho cp; films at the ends.

    h : film on the lit face and on the back, W/(m2 K)
    """

    heights: Array
    across: Array
    in_plane: Array
    capacity: Array
    h: tuple[float, float]


@dataclass(frozen=True)
class StripeCycle:
    """Rises above the sinks at each level between slabs, K, (levels,).

    mean over the whole period; highest; lowest; dose_weighted: mean weighted by the power that
    falls on the place at each moment, which is the temperature while printing.
    """

    mean: Array
    peak: Array
    lowest: Array
    dose_weighted: Array

    @property
    def swing(self) -> Array:
        """Highest minus mean, K."""
        return self.peak - self.mean


def moving_stripe(
    column: Column, height: Array, heat: Array, light: Array, speed: float, period: float
) -> StripeCycle:
    """Cycle of a column under a stripe that passes at `speed` (m/s) every `period` (m).

    height : heights of the rays in the stripe, m, (heights,)
    heat : heat in each slab by ray, W per m of width, (slabs, heights)
    light : dose rate by ray, any unit, (heights,): the weight of the temperature while printing
    """
    spread = np.sqrt((light * height**2).sum() / light.sum())
    count = int(np.ceil(6 * period / (2 * np.pi * spread)))  # exp(-18) is left beyond
    kappa = np.asarray(2 * np.pi * np.arange(count + 1) / period, float)
    phase = np.exp(-1j * np.outer(height, kappa))
    q = heat @ phase / period
    load = np.zeros((len(heat) + 1, count + 1), complex)
    load[:-1] += q / 2
    load[1:] += q / 2
    T = _through_layers(column, kappa, speed, load)
    weight = light @ phase
    dose_weighted = (T[:, 0] + 2 * (T[:, 1:] * weight[1:].conj() / weight[0]).sum(1)).real
    samples = max(SAMPLES, 8 * count)
    course = np.fft.irfft(T * samples, samples, axis=1)
    return StripeCycle(T[:, 0].real, _refined(course), -_refined(-course), dose_weighted)


def _through_layers(column: Column, kappa: Array, v: float, load: Complex) -> Complex:
    """Solve (2) for every wave number at once by elimination from the lit face down."""
    dz = column.heights[:, None]
    own = (column.in_plane[:, None] * kappa**2 - 1j * kappa * v * column.capacity[:, None]) * dz / 2
    link = (column.across / column.heights)[:, None]
    diagonal = np.zeros_like(load)
    diagonal[:-1] += own + link
    diagonal[1:] += own + link
    diagonal[0] += column.h[0]
    diagonal[-1] += column.h[1]
    b = load.copy()
    for i in range(len(dz)):
        ratio = link[i] / diagonal[i]
        diagonal[i + 1] -= ratio * link[i]
        b[i + 1] += ratio * b[i]
    T = np.empty_like(b)
    T[-1] = b[-1] / diagonal[-1]
    for i in reversed(range(len(dz))):
        T[i] = (b[i] + link[i] * T[i + 1]) / diagonal[i]
    return T


def _refined(course: Array) -> Array:
    """Highest value of periodic samples, refined by the parabola through the top three."""
    top = course.argmax(1)[:, None]
    before, at, after = (
        np.take_along_axis(course, (top + shift) % course.shape[1], 1)[:, 0] for shift in (-1, 0, 1)
    )
    bend = 2 * at - before - after
    return np.asarray(
        at + np.where(bend > 0, (after - before) ** 2 / np.where(bend > 0, 8 * bend, 1), 0)
    )
