"""The white beam that reaches the mask: emitted, filtered, by photon energy and height.

The beam is kept as rays: power[i, j], W per m of horizontal width, at height y_i above the beam's
middle and photon energy E_j, quadrature weights included, so every integral is a sum.  The emitted
power is exact, so the first window is right by power balance.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.beam.attenuation import absorption_jumps, coefficients
from thermo.beam.profile import Profile, gaussian_stripe, magnet_stripe, profile_fwhm
from thermo.beam.spectrum import Source
from thermo.errors import PhysicsError
from thermo.materials import Material

Array = NDArray[np.float64]
PROFILE = Profile()


@dataclass(frozen=True)
class Stopped:
    """What one window, filter or gas path takes from the beam, W per m of width.

    low, high : bracket of the absorbed power, from bare energy absorption to attenuation
    reached : power that reaches it
    """

    name: str
    absorbed: float
    escaped: float
    low: float
    high: float
    reached: float

    @property
    def transmission(self) -> float:
        """Share of the power that passes."""
        return 1 - (self.absorbed + self.escaped) / self.reached


@dataclass(frozen=True)
class WhiteBeam:
    """White beam at the mask.

    energy : photon energies, keV, shape (energies,)
    height : vertical position at the mask, m, shape (heights,), even spacing, middle at 0
    power : W/m of horizontal width in each ray, shape (heights, energies)
    emitted : W/m before the first window
    half_power : photon energy below which half of that lies, keV (Ec of a bending magnet)
    filters : what each window and filter takes, in order
    """

    source: Source
    energy: Array
    height: Array
    power: Array
    emitted: float
    half_power: float
    filters: tuple[Stopped, ...]

    @property
    def on_mask(self) -> float:
        """Power that reaches the mask, W per m of horizontal width."""
        return float(self.power.sum())

    def at_current(self, current: float) -> "WhiteBeam":
        """The same beam at another ring current, A: every power in proportion."""
        factor = current / self.source.current
        stopped = tuple(
            replace(f, **{k: factor * v for k, v in vars(f).items() if k != "name"})
            for f in self.filters
        )
        return replace(
            self,
            source=self.source.at_current(current),
            power=factor * self.power,
            emitted=factor * self.emitted,
            filters=stopped,
        )

    @property
    def fwhm(self) -> float:
        """Height of the lit stripe at the mask, full width at half maximum, m."""
        return profile_fwhm(self.height, self.power.sum(1))


def white_beam(
    source: Source,
    distance: float,
    filters: Sequence[tuple[str, Material, float]],
    others: Iterable[Material] = (),
    per_decade: int = 40,
    profile: Profile = PROFILE,
) -> WhiteBeam:
    """White beam at a distance (m) behind windows, filters and gas paths (name, material, m).

    others: materials met later, whose absorption jumps the energy grid must respect.
    Raises PhysicsError when less than 1e-9 of the power is left, or when the spectrum reaches
    beyond the attenuation tables.
    """
    jumps = [
        e for m in (*(f[1] for f in filters), *others) for e in absorption_jumps(m.composition)
    ]
    energy, power = source.rays(jumps, per_decade)
    power = power / distance
    emitted = float(power.sum())
    half_power = float(np.interp(emitted / 2, power.cumsum() - power / 2, energy))
    stopped = []
    for name, material, thickness in filters:
        mu = coefficients(material, energy)
        taken = power * -np.expm1(-mu.attenuation * thickness)
        share = taken / mu.attenuation
        kept = float((share * mu.deposition(thickness)).sum())
        low = float((share * mu.deposition(None)).sum())
        high, reached = float(taken.sum()), float(power.sum())
        stopped.append(Stopped(name, kept, high - kept, low, high, reached))
        power = power - taken
    if not power.sum() > 1e-9 * emitted:
        raise PhysicsError(
            f"windows and filters leave {power.sum() / 100:.3g} W/cm of {emitted / 100:.3g} W/cm; "
            "use thinner filters or a higher ring energy"
        )
    height, share = _stripe(source, energy, power, distance, profile)
    return WhiteBeam(source, energy, height, share * power, emitted, half_power, tuple(stopped))


def _stripe(
    source: Source, energy: Array, power: Array, distance: float, profile: Profile
) -> tuple[Array, Array]:
    """Heights at the mask, and the share of each energy's power at each of them."""
    if profile.fwhm is not None:
        return gaussian_stripe(profile.fwhm)
    if source.magnet is None:
        raise PhysicsError(
            "the vertical profile is not known; allowed: a bending magnet's energy and field, or "
            "the height of the stripe; give one"
        )
    return magnet_stripe(source.magnet, energy, power, distance, profile.blur(distance))
