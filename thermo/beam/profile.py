"""Vertical profile of the white beam at the mask: each photon energy's share of power by height.

    share_j(y) ~ d2P/dE dpsi (y/D, E_j)                bending-magnet law at distance D      (1)
    share(y)   ~ exp(-y^2/(2 s^2)),  s = FWHM/2.3548   a given stripe, all energies alike    (2)

An electron beam of height sigma_y and divergence sigma_y' (standard deviations) blurs (1) by a
Gaussian of sqrt(sigma_y^2 + (D sigma_y')^2): every ray is shifted by its electron's place and
turned by its angle.  A given stripe (2) is taken as measured, source size and all.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from thermo.beam.spectrum import BendingMagnet

Array = NDArray[np.float64]
HEIGHTS = 121  # rays, odd: one in the middle
FWHM_PER_SIGMA = 2 * math.sqrt(2 * math.log(2))
REACH = 6.0  # standard deviations of a Gaussian that are kept (2e-9 is beyond)


@dataclass(frozen=True)
class Profile:
    """What is known of the vertical profile at the mask.

    fwhm : height of the stripe, m, where it is given instead of the magnet's law
    source_height, source_angle : electron beam's size (m) and divergence (rad), rms
    """

    fwhm: float | None = None
    source_height: float = 0.0
    source_angle: float = 0.0

    def blur(self, distance: float) -> float:
        """Standard deviation of the blur by the electron beam at a distance, m."""
        return math.hypot(self.source_height, distance * self.source_angle)


def gaussian_stripe(fwhm: float) -> tuple[Array, Array]:
    """Heights (m) and share of power at each, equation (2), shape (heights, 1)."""
    sigma = fwhm / FWHM_PER_SIGMA
    height = np.linspace(-REACH * sigma, REACH * sigma, HEIGHTS)
    share = np.exp(-(height**2) / (2 * sigma**2))
    return height, (share / share.sum())[:, None]


def magnet_stripe(
    magnet: BendingMagnet, energy: Array, power: Array, distance: float, blur: float
) -> tuple[Array, Array]:
    """Heights (m) and each energy's share of power at each, equation (1), (heights, energies).

    power : W/m by energy, which decides how far out the rays must reach;  blur : m
    """
    softest = energy[np.searchsorted(np.cumsum(power), 1e-5 * power.sum())]
    y = softest / magnet.critical_energy
    reach = np.sqrt((28 / y) ** (2 / 3) - 1) if y < 20 else 0.6  # there exp(-2 xi) = 1e-12
    half = reach / magnet.gamma * distance + REACH * blur
    height = np.linspace(-half, half, HEIGHTS)
    upper = magnet.power_by_angle(height[HEIGHTS // 2 :, None] / distance, energy)
    share = np.concatenate([upper[:0:-1], upper])  # even in the angle
    total = share.sum(0)
    middle = np.zeros_like(share)
    middle[HEIGHTS // 2] = 1.0
    share = np.where(total > 0, share / np.where(total > 0, total, 1), middle)
    return height, share if blur == 0 else _blurred(height, blur) @ share


def _blurred(height: Array, sigma: float) -> Array:
    """Matrix that spreads the power of each ray over its neighbours; columns sum to 1."""
    spread = np.exp(-(((height[:, None] - height) / sigma) ** 2) / 2)
    return np.asarray(spread / spread.sum(0))


def profile_fwhm(height: Array, profile: Array) -> float:
    """Full width at half maximum of an even profile sampled at evenly spaced heights, m."""
    upper = height >= 0
    excess = CubicSpline(height[upper], profile[upper] - profile.max() / 2)
    roots = excess.roots(extrapolate=False)
    return float(2 * roots[0])
