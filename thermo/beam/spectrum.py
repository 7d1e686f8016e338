"""White beam of a bending magnet by photon energy and vertical angle.

Per radian of horizontal angle, with y = E/Ec, X = gamma psi, xi = y (1 + X2)^1.5 / 2:

    Ec        = (3/2) hbar c gamma^3 / rho,     rho = gamma m c / (e B)              (1)
    P_total   = e gamma^4 I / (6 pi eps0 rho)                                        (2)
    dP/dE     = sqrt(3)/(2 pi) alpha_f gamma (I/e) G1(y)                             (3)
    d2P/dE dpsi = 3 alpha_f/(4 pi^2) gamma^2 (I/e) y^2 (1+X2)^2
                  [K_2/3(xi)^2 + X2/(1+X2) K_1/3(xi)^2]                              (4)

Electron beam without divergence or size; both polarisations summed.  Photon energies are in
keV everywhere in this room (the unit of every cross-section table); powers are SI.

Sources: J. Schwinger, Phys. Rev. 75 (1949) 1912 for (3), (4) in the notation of the X-ray Data
Booklet section 2.1 (from memory); G1 by the sum of V. O. Kostroun, Nucl. Instrum. Methods 172
(1980) 371 (from memory).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import constants, special

from thermo.beam.quadrature import gauss_legendre
from thermo.errors import PhysicsError

Array = NDArray[np.float64]
KEV = 1e3 * constants.e  # J


def g1(y: ArrayLike) -> Array:
    """Universal function G1(y) = y integral_y^inf K_5/3, shape kept; y > 0."""
    y = np.asarray(y, float)
    if not (y > 0).all():
        raise PhysicsError(f"G1 needs E/Ec > 0, got {np.min(y):.4g}")
    step = 0.1
    r = step * np.arange(1, 201)
    with np.errstate(under="ignore", over="ignore"):
        tail = np.exp(-y[..., None] * np.cosh(r)) * np.cosh(5 / 3 * r) / np.cosh(r)
        return np.asarray(y * step * (np.exp(-y) / 2 + tail.sum(-1)))


@dataclass(frozen=True)
class BendingMagnet:
    """The source: electron energy (J), field (T), ring current (A)."""

    electron_energy: float
    field: float
    current: float

    @property
    def gamma(self) -> float:
        """Electron energy over its rest energy."""
        return self.electron_energy / (constants.m_e * constants.c**2)

    @property
    def radius(self) -> float:
        """Bending radius rho, m (beta = 1)."""
        return self.gamma * constants.m_e * constants.c / (constants.e * self.field)

    @property
    def critical_energy(self) -> float:
        """Critical photon energy Ec, keV, equation (1)."""
        return 1.5 * constants.hbar * constants.c * self.gamma**3 / self.radius / KEV

    @property
    def total_power(self) -> float:
        """Power emitted per radian of horizontal angle, W/rad, equation (2)."""
        e, eps0 = constants.e, constants.epsilon_0
        return e * self.gamma**4 * self.current / (6 * np.pi * eps0 * self.radius)

    def power(self, energy: ArrayLike) -> Array:
        """Power per radian and photon energy, W/(rad keV), equation (3); energy in keV."""
        front = np.sqrt(3) / (2 * np.pi) * constants.alpha * self.gamma
        photons = self.current / constants.e
        y = np.asarray(energy, float) / self.critical_energy
        return np.asarray(front * photons * g1(y) * KEV)

    def power_by_angle(self, angle: ArrayLike, energy: ArrayLike) -> Array:
        """Power per horizontal and vertical radian and photon energy, W/(rad2 keV), equation (4).

        Parameters
        ----------
        angle : vertical angle psi, rad; broadcast against energy
        energy : photon energy, keV
        """
        y = np.asarray(energy, float) / self.critical_energy
        X2 = (self.gamma * np.asarray(angle, float)) ** 2
        xi = y * (1 + X2) ** 1.5 / 2
        front = 3 * constants.alpha / (4 * np.pi**2) * self.gamma**2 * self.current / constants.e
        # kve is scaled by exp(xi), so far tails become 0 instead of an invalid product
        with np.errstate(under="ignore"):
            fade = np.exp(-2 * xi)
            bessel = special.kve(2 / 3, xi) ** 2 + X2 / (1 + X2) * special.kve(1 / 3, xi) ** 2
            return np.asarray(front * y**2 * (1 + X2) ** 2 * bessel * fade * KEV)


def energy_grid(
    low: float, high: float, jumps: ArrayLike, per_decade: int = 40
) -> tuple[Array, Array]:
    """Photon energies (keV) and weights (keV) for integrals over a white beam.

    Gauss-Legendre in ln E between the absorption jumps (keV), where every integrand is smooth:
    0.01 % in every layer with about 40 points a decade and at least 3 in a segment.
    """
    inside = [e for e in np.unique(np.asarray(jumps, float)) if low < e < high]
    ends = np.log([low, *inside, high])
    nodes, weights = [], []
    for a, b in pairwise(ends):
        count = max(3, int(np.ceil(per_decade * (b - a) / np.log(10))))
        x, w = gauss_legendre(count)
        energy = np.exp((a + b) / 2 + (b - a) / 2 * x)
        nodes.append(energy)
        weights.append((b - a) / 2 * w * energy)
    return np.concatenate(nodes), np.concatenate(weights)
