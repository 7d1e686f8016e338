"""Heat of the moving stripe by harmonics of the scan, at every height of the field.

The stripe of profile p(u) at y_b(t) gives the place y, in a cycle of the period T_p,

    P_n(y) = (1/T_p) int p(y - y_b(t)) exp(-i n w t) dt,    w = 2 pi/T_p               (1)
    p(y - y_b(t)) = P_0 + 2 Re sum_{n > 0} P_n exp(i n w t)                            (2)

t = 0 is the lower turn, in a log the turn it starts at.  Where the way down mirrors the way up,
P_n is real.  A Gaussian stripe (P W/m, standard deviation sigma) at full speed v, t_b after that
turn and again t_b before the end of the cycle, gives

    P_n = 2 P/(v T_p) cos(n w t_b) exp(-(n w sigma/v)^2/2)                             (3)
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, PPoly

from thermo.beam.moments import Moments
from thermo.beam.motion import Scan

Array = NDArray[np.float64]
Harmonics = NDArray[np.float64] | NDArray[np.complex128]
KEPT = 1e-11  # of the largest singular value
AT_ONCE = 3_000_000  # values of curves held together, 24 MB a copy
LEAST = 4 / math.pi  # exponent from which the bound of `harmonics_needed` holds


@dataclass(frozen=True, eq=False)
class SweptProfiles:
    """Vertical profiles of heat as mixtures of few shapes, which are then swept by the scan.

    mix : W/m of each shape in each row, (rows, shapes);  shapes : (shapes, heights)
    below : part of each shape below a height above the stripe's middle (m)

    The mean power of a row in any interval is mix @ that of the shapes.
    """

    mix: Array
    shapes: Array
    below: PPoly

    @property
    def sharpest(self) -> float:
        """Least standard deviation of the rows, m: for the step of the moments and their count."""
        height, rows = self.below.x[1:-1], self.mix @ self.shapes
        rows = rows[rows.sum(1) > 0]
        return float(
            np.sqrt(rows @ height**2 / rows.sum(1) - (rows @ height / rows.sum(1)) ** 2).min()
        )

    def harmonics(self, moments: Moments, edges: Array, count: int) -> Harmonics:
        """P_0 .. P_count of equation (1) over intervals of y, (shapes, intervals, count + 1).

        edges : ends of the intervals, m, rising;  real where the motion is mirrored
        """
        below = _transformed(self.below, moments, edges, count)
        return below[:, 1:] - below[:, :-1]

    def at(self, motion: Scan, time: Array, edges: Array) -> Array:
        """Shares of each shape in intervals of y at given times, (shapes, intervals, times).

        time : s since the turn at which the cycle starts; a log's cycles are averaged
        """
        place = motion.place_at(time)
        share = np.repeat(motion.weights[:, None], place.shape[1], axis=1)
        return np.diff(_weighted(self.below, place, share, edges), axis=0).transpose(2, 0, 1)


def swept_profiles(height: Array, profiles: Array) -> SweptProfiles:
    """Profiles made of few shapes by their singular values, each row to its own scale.

    height : heights of the rays, m, even spacing;  profiles : W/m in each ray, (rows, heights)

    Cubic splines between the rays, nothing beyond them; each row's total is exact.
    """
    total = profiles.sum(1, keepdims=True)
    even = np.divide(profiles, total, out=np.zeros_like(profiles), where=total > 0)
    u, s, shapes = np.linalg.svd(even, full_matrices=False)
    kept = s >= KEPT * s[0]
    mix, shapes = (u * s)[:, kept], shapes[kept]
    below = stripe_density(height, shapes).antiderivative()
    whole = (mix @ below(below.x[-1]))[:, None]
    exact = np.divide(total, whole, out=np.zeros_like(total), where=whole > 0)
    return SweptProfiles(exact * mix, shapes, below)


def light_harmonics(
    height: Array, light: Array, moments: Moments, y: Array, count: int
) -> Harmonics:
    """P_0 .. P_count of equation (1) at places y (m) themselves, W/m2, (places, count + 1).

    height : heights of the rays, m;  light : W/m in each ray;  P_0 is the mean power density
    """
    density = stripe_density(height, light[None])
    whole = float(density.antiderivative()(density.x[-1])[0])
    found: Harmonics = _transformed(density, moments, y, count)[0]
    found *= light.sum() / whole
    return found


def harmonics_needed(motion: Scan, sigma: float, ripple: float, tolerance: float) -> int:
    """Harmonics after which the rest of a ripple is below the tolerance, at full speed.

    sigma : standard deviation of the sharpest stripe, m
    ripple, tolerance : in one unit; the rise by one crossing, or the peak where heat leaves at once

        N = L_eff/(pi sigma) sqrt(2 z),  L_eff = v t_pass,  z = ln(ripple/tolerance) >= 4/pi

    The time of a pass counts its turn-arounds and rests: w sigma/v = pi sigma/L_eff in (3).  With
    q = w sigma/v and z = (q N)^2/2, what is left out of a ripple R is below

        (2 R/pi) sum_{n > N} exp(-(q n)^2/2)/n <= R exp(-z)/(pi z)         heat that stays
        2 q R sqrt(2/pi) sum_{n > N} exp(-(q n)^2/2) <= 2 R exp(-z)/sqrt(pi z)    that leaves

    both within R exp(-z) from z = 4/pi on.  Not so within four sigma of the turns: there the source
    has a kink, and up to 0.4 R/(q N) of heat that leaves at once is left out, 0.08 R/(q N)^2 of
    heat that stays.  A stripe of many photon energies is no Gaussian: its spectrum meets this to
    about 1e-3 of the ripple and then falls more slowly.
    """
    z = max(math.log(max(ripple / tolerance, 1.0)), LEAST)
    return math.ceil(motion.effective_stroke / (math.pi * sigma) * math.sqrt(2 * z))


def stripe_density(height: Array, profiles: Array) -> PPoly:
    """Profiles per height (1/m of theirs) as splines of the height, nothing beyond the rays."""
    step = height[1] - height[0]
    inside = CubicSpline(height, profiles.T / step, bc_type="natural")
    nothing = np.zeros((4, 1, len(profiles)))
    ends = np.concatenate([height[:1] - step, height, height[-1:] + step])
    return PPoly(np.concatenate([nothing, inside.c, nothing], axis=1), ends)


def _transformed(curve: PPoly, moments: Moments, y: Array, count: int) -> Harmonics:
    """sum_k share_k curve(y - place_k) exp(-2 pi i n phase_k), (curves, y, count + 1)."""
    angle = 2 * np.pi * np.outer(moments.phase, np.arange(count + 1))
    waves = np.cos(angle) if moments.mirrored else np.exp(-1j * angle)
    real = waves.view(float)  # real and imaginary parts side by side: one real product
    curves = curve.c.shape[2]
    at_once = max(1, AT_ONCE // (len(moments.phase) * curves))
    parts = [
        np.tensordot(_weighted(curve, moments.place, moments.share, some), real, axes=(1, 0))
        for some in np.split(y, range(at_once, len(y), at_once))
    ]
    return np.ascontiguousarray(np.concatenate(parts).swapaxes(0, 1)).view(waves.dtype)


def _weighted(curve: PPoly, place: Array, share: Array, y: Array) -> Array:
    """Share of time times curve(y - place), summed over the cycles, (y, moments, curves)."""
    found = np.zeros((len(y), place.shape[1], curve.c.shape[2]))
    for at, own in zip(place, share, strict=True):
        found += own[:, None] * curve(y[:, None] - at)
    return found
