"""A white beam whose spectrum was measured or computed elsewhere, as a table.

Between its rows the spectrum follows a monotone curve in ln P over ln E, beside a row of zero a
straight line; outside them there is nothing.  The table is cut into narrow bins of photon energy,
each standing for exactly the power in it at its mean energy, so that narrow lines keep their power
whatever the grid.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from thermo.beam.quadrature import gauss_legendre
from thermo.beam.spectrum import KEV, TABLES_END, BendingMagnet
from thermo.errors import PhysicsError

Array = NDArray[np.float64]
BINS = 200  # a decade: 1.2 % wide, 5e-5 of an absorption that goes with E^-3
LOWEST_TABLED = 0.1  # keV: the attenuation tables hold nothing below
NOTHING = 1e-30  # share of the largest power that stands for a row of zero in the logarithm
DENSEST = 1e12  # W/(rad keV)
LEAST, MOST = 1e-9, 1e6  # W/mrad of a whole spectrum


@dataclass(frozen=True, eq=False)
class TabulatedSpectrum:
    """Power per horizontal radian and photon energy at some ring current.

    energy : photon energies, keV, rising
    density : W/(rad keV) at these
    current : ring current the density belongs to, A
    magnet : bending magnet whose law gives the vertical profile; None: a profile is given
    """

    energy: Array
    density: Array
    current: float
    magnet: BendingMagnet | None = None

    def __post_init__(self) -> None:
        low, high = float(self.energy[0]), float(self.energy[-1])
        if not (np.diff(self.energy) > 0).all():
            raise PhysicsError(
                "the photon energies of a spectrum must rise from row to row; sort its rows"
            )
        if not (low >= LOWEST_TABLED and high <= TABLES_END):
            raise PhysicsError(
                f"the spectrum runs from {low:.4g} to {high:.4g} keV; allowed: {LOWEST_TABLED:g} "
                f"to {TABLES_END:g} keV, where attenuation is tabulated; leave out the others, "
                "and give energies in eV"
            )
        if not ((self.density >= 0).all() and 0 < self.density.max() <= DENSEST):
            raise PhysicsError(
                "the power of a spectrum must be 0 or more, above 0 somewhere, and at most "
                f"{DENSEST:g} W per rad and keV; check its unit"
            )
        total = float(np.trapezoid(self.density, self.energy)) / 1e3
        if not LEAST <= total <= MOST:
            raise PhysicsError(
                f"the spectrum holds {total:.3g} W/mrad; allowed: {LEAST:g} to {MOST:g} W/mrad; "
                "check the unit of its columns"
            )

    @property
    def critical_energy(self) -> None:
        """None: a table has none."""
        return None

    def _curve(self) -> PchipInterpolator:
        """ln P over ln E; a row of zero stands as next to nothing, see `power`."""
        floor = NOTHING * self.density.max()
        return PchipInterpolator(np.log(self.energy), np.log(np.maximum(self.density, floor)))

    def power(self, energy: ArrayLike) -> Array:
        """Power per radian and photon energy (keV), W/(rad keV); 0 outside the table.

        Straight in P over E beside a row of zero, where the logarithm has no curve.
        """
        energy = np.asarray(energy, float)
        inside = (energy >= self.energy[0]) & (energy <= self.energy[-1])
        row = np.clip(np.searchsorted(self.energy, energy, "right") - 1, 0, len(self.energy) - 2)
        dark = (self.density[row] == 0) | (self.density[row + 1] == 0)
        straight = np.interp(energy, self.energy, self.density)
        found = np.where(dark, straight, np.exp(self._curve()(np.log(energy))))
        return np.where(inside, found, 0.0)

    def rays(self, jumps: ArrayLike, per_decade: int = BINS) -> tuple[Array, Array]:
        """Photon energies (keV) and the power each stands for, W/rad; one for each bin."""
        x = np.log(self.energy)
        count = int(np.ceil(max(per_decade, BINS) * (x[-1] - x[0]) / np.log(10))) + 1
        steps = np.log(np.asarray(jumps, float))
        steps = steps[(steps > x[0]) & (steps < x[-1])]
        edges = np.unique(np.concatenate([np.linspace(x[0], x[-1], count), steps]))
        cuts = np.unique(np.concatenate([edges, x]))
        node, weight = gauss_legendre(3)
        half = np.diff(cuts)[:, None] / 2
        at = cuts[:-1, None] + half * (1 + node)
        piece = half * weight * self.power(np.exp(at)) * np.exp(at)  # dE = E dlnE
        first = np.searchsorted(cuts, edges[:-1])
        power = np.add.reduceat(piece.sum(1), first)
        mean = np.add.reduceat((piece * at).sum(1), first)
        lit = power > 0
        return np.exp(mean[lit] / power[lit]), power[lit]

    def at_current(self, current: float) -> "TabulatedSpectrum":
        """The same spectrum at another ring current, A: every power in proportion."""
        magnet = None if self.magnet is None else self.magnet.at_current(current)
        return replace(
            self, density=self.density * current / self.current, current=current, magnet=magnet
        )

    def describe(self) -> str:
        """One line about the source."""
        return (
            f"spectrum given as a table of {len(self.energy)} rows, {self.energy[0]:.3g} to "
            f"{self.energy[-1]:.3g} keV"
        )


def density_from_width(power: ArrayLike, distance: float) -> Array:
    """Power per radian and keV from W per eV and mm of width at a distance (m)."""
    with np.errstate(over="ignore"):  # what is too large is refused later
        return np.asarray(power, float) * 1e3 * 1e3 * distance


def density_from_flux(flux: ArrayLike) -> Array:
    """Power per radian and keV, W/(rad keV), from photons per s, 0.1 % bandwidth and mrad.

    dP/dE = F/(1e-3 E) E, so the photon energy cancels: 1e3 F keV per s, keV and mrad.
    """
    with np.errstate(over="ignore"):
        return np.asarray(flux, float) * 1e3 * KEV * 1e3
