"""White beam of a bending magnet or a wiggler by photon energy and vertical angle.

Per radian of horizontal angle, with y = E/Ec, X = gamma psi, xi = y (1 + X2)^1.5 / 2:

    Ec        = (3/2) hbar c gamma^3 / rho,     rho = gamma m c / (e B)              (1)
    P_total   = e gamma^4 I / (6 pi eps0 rho)                                        (2)
    dP/dE     = sqrt(3)/(2 pi) alpha_f gamma (I/e) G1(y)                             (3)
    d2P/dE dpsi = 3 alpha_f/(4 pi^2) gamma^2 (I/e) y^2 (1+X2)^2
                  [K_2/3(xi)^2 + X2/(1+X2) K_1/3(xi)^2]                              (4)

Electron beam without divergence or size; both polarisations summed.  Photon energies are in
keV everywhere in this room (the unit of every cross-section table); powers are SI.

A wiggler of N poles is taken as N bending magnets of its peak field, added without interference:

    K = e B lambda_u / (2 pi m c),  fan = +- K/gamma,  B(theta) = B sqrt(1 - (gamma theta/K)^2)  (5)

lambda_u is the length of one period (two poles).  The beam is taken as even across the lit width,
which must lie in the fan; how much weaker it is at the edge follows from (5).  Good for K well
above 1; the end poles, the source's length and the spread of the poles along the axis are left out.

Sources: J. Schwinger, Phys. Rev. 75 (1949) 1912 for (3), (4) in the notation of the X-ray Data
Booklet section 2.1 (from memory); G1 by the sum of V. O. Kostroun, Nucl. Instrum. Methods 172
(1980) 371 (from memory).
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Protocol, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import constants, special

from thermo.beam.quadrature import gauss_legendre
from thermo.errors import PhysicsError

Array = NDArray[np.float64]
KEV = 1e3 * constants.e  # J
LOWEST, HIGHEST = 0.3, 30.0  # keV; times Ec (3e-13 of the power is above)
TABLES_END = 800.0  # keV: the attenuation tables hold nothing above


class Source(Protocol):
    """Where the white beam comes from: power by photon energy, and its vertical law if known."""

    @property
    def current(self) -> float:
        """Ring current, A."""

    @property
    def critical_energy(self) -> float | None:
        """Critical photon energy, keV; None where the spectrum is a table."""

    @property
    def magnet(self) -> "BendingMagnet | None":
        """The bending magnet whose law gives the vertical profile, None where none does."""

    def power(self, energy: ArrayLike) -> Array:
        """Power per radian of horizontal angle and photon energy (keV), W/(rad keV)."""

    def rays(self, jumps: ArrayLike, per_decade: int) -> tuple[Array, Array]:
        """Photon energies (keV) and the power each stands for, W/rad, summing to the total.

        jumps : photon energies (keV) where something that is met absorbs with a jump
        """

    def at_current(self, current: float) -> Self:
        """The same source at another ring current, A."""

    def describe(self) -> str:
        """One line about the source."""


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

    @property
    def magnet(self) -> "BendingMagnet":
        """Itself: equation (4) is its vertical law."""
        return self

    def at_current(self, current: float) -> "BendingMagnet":
        """The same magnet at another ring current, A."""
        return replace(self, current=current)

    def rays(self, jumps: ArrayLike, per_decade: int = 40) -> tuple[Array, Array]:
        """Photon energies (keV) and the power each stands for, W/rad.

        Power below the grid (soft, stopped by the first micrometres of whatever comes first) is
        carried by the lowest energy, so that the sum is the total power exactly.
        """
        if not HIGHEST * self.critical_energy <= TABLES_END:
            raise PhysicsError(
                f"critical energy {self.critical_energy:.4g} keV; allowed: up to "
                f"{TABLES_END / HIGHEST:.3g} keV, for the attenuation tables end at "
                f"{TABLES_END:g} keV; lower ring.energy or ring.field"
            )
        energy, weight = energy_grid(LOWEST, HIGHEST * self.critical_energy, jumps, per_decade)
        power = self.power(energy) * weight
        power[0] += self.total_power - power.sum()
        return energy, power

    def describe(self) -> str:
        """One line about the source."""
        return f"bending magnet of {self.field:.4g} T"

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


@dataclass(frozen=True)
class Wiggler:
    """N poles of alternating field, each taken as a bending magnet of the peak field.

    pole : one pole as a bending magnet;  poles : N;  period : lambda_u, m
    """

    pole: BendingMagnet
    poles: float
    period: float

    @property
    def current(self) -> float:
        """Ring current, A."""
        return self.pole.current

    @property
    def critical_energy(self) -> float:
        """Critical photon energy of the peak field, keV."""
        return self.pole.critical_energy

    @property
    def magnet(self) -> BendingMagnet:
        """One pole: its law gives the vertical profile."""
        return self.pole

    @property
    def half_fan(self) -> float:
        """Half the horizontal fan K/gamma, rad, equation (5)."""
        K = constants.e * self.pole.field * self.period / (2 * np.pi * constants.m_e * constants.c)
        return float(K / self.pole.gamma)

    def seen_from(self, angle: float) -> "Wiggler":
        """The wiggler as seen at a horizontal angle (rad): poles of the weaker field of (5).

        Raises PhysicsError outside the fan.
        """
        if not angle <= self.half_fan:
            raise PhysicsError(
                f"the lit width reaches {1e3 * angle:.3g} mrad from the axis, outside the wiggler's"
                f" fan; allowed: up to {1e3 * self.half_fan:.3g} mrad; narrow beam.width or check "
                "ring.period"
            )
        weaker = max(float(np.sqrt(1 - (angle / self.half_fan) ** 2)), 1e-3)
        return replace(self, pole=replace(self.pole, field=weaker * self.pole.field))

    def power(self, energy: ArrayLike) -> Array:
        """Power per radian and photon energy (keV), W/(rad keV)."""
        return self.poles * self.pole.power(energy)

    def rays(self, jumps: ArrayLike, per_decade: int = 40) -> tuple[Array, Array]:
        """Photon energies (keV) and N times one pole's power, W/rad."""
        energy, power = self.pole.rays(jumps, per_decade)
        return energy, self.poles * power

    def at_current(self, current: float) -> "Wiggler":
        """The same wiggler at another ring current, A."""
        return replace(self, pole=self.pole.at_current(current))

    def describe(self) -> str:
        """One line about the source and the approximation."""
        return (
            f"wiggler of {self.poles:g} poles of {self.pole.field:.4g} T, taken as that many "
            f"bending magnets; fan +-{1e3 * self.half_fan:.3g} mrad"
        )


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
