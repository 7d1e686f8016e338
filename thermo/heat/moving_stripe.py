"""Temperature swing under the moving stripe: layered stack, wide in the plane.

Seen from the stripe every layer of a wide stack obeys

    rho cp v dT/ds + k_xy d2T/ds2 + d/dz(k_z dT/dz) + q(s, z) = 0                      (1)

with s = y - v t.  In the middle of the stroke the stripe returns once a pass, after Lambda =
v t_pass; elsewhere up and down passes come in pairs, delta = Lambda - 2 |y| and 2 Lambda - delta
apart.  (1) falls apart into wave numbers kappa_n = pi n/Lambda, each a tridiagonal system:

    (K_z + kappa^2 k_xy - i kappa v rho cp) T_n = q_n (1 + exp(-i kappa delta))        (2)

Exact in the middle of the stroke of a laterally even stack, where up and down mirror each other.
Elsewhere (2) thinks of a pair as two stripes that run the same way and never stop, which is too
high where the stripe turns.  A check by hand beside the limit cycle.  Limits: a membrane alone
gives the fin equation in the moving frame, one layer without conduction along y its pulse train.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
SAMPLES = 1024  # at least, over two passes; the highest is refined by a parabola
HARMONICS = 8.0  # up to exp(-32) of the stripe's own height, for layers that see a sharper one


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
    """Rises above the sinks at each level between slabs, K, (levels,) or (levels, pairs).

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


def stripe_pairs(
    column: Column,
    height: Array,
    heat: Array,
    light: Array,
    speed: float,
    period: float,
    apart: Array,
) -> StripeCycle:
    """Cycle of a column under a stripe whose passes come in pairs, equation (2).

    height : heights of the rays in the stripe, m, (heights,)
    heat : heat in each slab by ray, W per m of width, (slabs, heights)
    light : dose rate by ray, any unit, (heights,): the weight of the temperature while printing
    speed : m/s;  period : speed times the time of one pass, m
    apart : delta, speed times the time between the two passes of a pair, m, (pairs,)
    """
    spread = np.sqrt((light * height**2).sum() / light.sum())
    count = int(np.ceil(HARMONICS * period / (np.pi * spread)))
    kappa: Array = np.asarray(np.pi * np.arange(count + 1) / period, float)
    phase = np.exp(-1j * np.outer(height, kappa))
    first = np.exp(-1j * np.outer(apart, kappa))
    T = _response(column, kappa, speed, heat @ phase / (2 * period))[:, None, :] * (1 + first)
    weight = (light @ phase) * (1 + first)
    shift = 2 * (T[..., 1:] * (weight[:, 1:].conj() / weight[:, :1].real)).sum(-1)
    samples = max(SAMPLES, 8 * count)
    course = np.fft.irfft(T * samples, samples, axis=-1)
    mean = T[..., 0].real
    return StripeCycle(mean, _refined(course), -_refined(-course), mean + shift.real)


def _response(column: Column, kappa: Array, speed: float, q: Complex) -> Complex:
    """Temperatures at the levels for heat in the slabs, half of it to each side of a slab."""
    load = np.zeros((len(q) + 1, len(kappa)), complex)
    load[:-1] += q / 2
    load[1:] += q / 2
    return _through_layers(column, kappa, speed, load)


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
    """Highest of periodic samples (last axis), refined by the parabola through the top three."""
    top = course.argmax(-1)[..., None]
    before, at, after = (
        np.take_along_axis(course, (top + shift) % course.shape[-1], -1)[..., 0]
        for shift in (-1, 0, 1)
    )
    bend = 2 * at - before - after
    lift = np.divide((after - before) ** 2, 8 * bend, out=np.zeros_like(at), where=bend > 0)
    return np.asarray(at + lift)
