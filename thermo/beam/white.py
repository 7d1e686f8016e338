"""The white beam that reaches the mask: emitted, filtered, by photon energy and height.

The beam is kept as rays: power[i, j], W per m of horizontal width, at height y_i above the beam's
middle and photon energy E_j, quadrature weights included, so every integral is a sum.  Power
outside the energy grid (soft, stopped by the first micrometres of whatever comes first) is
carried by the grid's lowest energy, so the emitted power is exact and the first window is right
by power balance.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from thermo.beam.attenuation import absorption_jumps, coefficients
from thermo.beam.spectrum import BendingMagnet, energy_grid
from thermo.errors import PhysicsError
from thermo.materials import Material

Array = NDArray[np.float64]
LOWEST, HIGHEST = 0.3, 30.0  # keV; times Ec (3e-13 of the power is above)
TABLES_END = 800.0  # keV: the attenuation tables hold nothing above
HEIGHTS = 121  # rays, odd: one in the middle


@dataclass(frozen=True)
class Stopped:
    """What one window or filter takes from the beam, W per m of width."""

    name: str
    absorbed: float
    escaped: float


@dataclass(frozen=True)
class WhiteBeam:
    """White beam at the mask.

    energy : photon energies, keV, shape (energies,)
    height : vertical position at the mask, m, shape (heights,), even spacing, middle at 0
    power : W/m of horizontal width in each ray, shape (heights, energies)
    emitted : W/m before the first window
    filters : what each window and filter takes, in order
    """

    source: BendingMagnet
    energy: Array
    height: Array
    power: Array
    emitted: float
    filters: tuple[Stopped, ...]

    @property
    def on_mask(self) -> float:
        """Power that reaches the mask, W per m of horizontal width."""
        return float(self.power.sum())

    def at_current(self, current: float) -> "WhiteBeam":
        """The same beam at another ring current, A: every power in proportion."""
        factor = current / self.source.current
        stopped = tuple(
            replace(f, absorbed=factor * f.absorbed, escaped=factor * f.escaped)
            for f in self.filters
        )
        return replace(
            self,
            source=replace(self.source, current=current),
            power=factor * self.power,
            emitted=factor * self.emitted,
            filters=stopped,
        )

    @property
    def fwhm(self) -> float:
        """Height of the lit stripe at the mask, full width at half maximum, m."""
        return profile_fwhm(self.height, self.power.sum(1))


def profile_fwhm(height: Array, profile: Array) -> float:
    """Full width at half maximum of an even profile sampled at evenly spaced heights, m."""
    upper = height >= 0
    excess = CubicSpline(height[upper], profile[upper] - profile.max() / 2)
    roots = excess.roots(extrapolate=False)
    return float(2 * roots[0])


def white_beam(
    source: BendingMagnet,
    distance: float,
    filters: Sequence[tuple[str, Material, float]],
    others: Iterable[Material] = (),
    per_decade: int = 40,
) -> WhiteBeam:
    """White beam at a distance (m) behind windows and filters (name, material, thickness in m).

    others: materials met later, whose absorption jumps the energy grid must respect.
    Raises PhysicsError when less than 1e-9 of the power is left, or when the spectrum reaches
    beyond the attenuation tables.
    """
    if not HIGHEST * source.critical_energy <= TABLES_END:
        raise PhysicsError(
            f"critical energy {source.critical_energy:.4g} keV; allowed: up to "
            f"{TABLES_END / HIGHEST:.3g} keV, for the attenuation tables end at {TABLES_END:g} keV;"
            " lower ring.energy or ring.field"
        )
    jumps = [
        e for m in (*(f[1] for f in filters), *others) for e in absorption_jumps(m.composition)
    ]
    energy, weight = energy_grid(LOWEST, HIGHEST * source.critical_energy, jumps, per_decade)
    power = source.power(energy) * weight / distance
    emitted = source.total_power / distance
    power[0] += emitted - power.sum()
    stopped = []
    for name, material, thickness in filters:
        mu = coefficients(material, energy)
        taken = power * -np.expm1(-mu.attenuation * thickness)
        kept = float((taken * mu.deposition(thickness) / mu.attenuation).sum())
        stopped.append(Stopped(name, kept, float(taken.sum()) - kept))
        power = power - taken
    if not power.sum() > 1e-9 * emitted:
        raise PhysicsError(
            f"windows and filters leave {power.sum() / 100:.3g} W/cm of {emitted / 100:.3g} W/cm; "
            "use thinner filters or a higher ring energy"
        )
    height, shape = _vertical_shape(source, energy, power, distance)
    return WhiteBeam(source, energy, height, shape * power, emitted, tuple(stopped))


def _vertical_shape(
    source: BendingMagnet, energy: Array, power: Array, distance: float
) -> tuple[Array, Array]:
    """Heights at the mask, and the share of each energy's power at each of them."""
    softest = energy[np.searchsorted(np.cumsum(power), 1e-5 * power.sum())]
    y = softest / source.critical_energy
    reach = np.sqrt((28 / y) ** (2 / 3) - 1) if y < 20 else 0.6  # there exp(-2 xi) = 1e-12
    angle = np.linspace(-reach, reach, HEIGHTS) / source.gamma
    shape = source.power_by_angle(angle[:, None], energy)
    total = shape.sum(0)
    middle = np.zeros_like(shape)
    middle[HEIGHTS // 2] = 1.0
    shape = np.where(total > 0, shape / np.where(total > 0, total, 1), middle)
    return angle * distance, shape
