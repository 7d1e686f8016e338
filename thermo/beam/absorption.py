"""Heat per depth that one column of layers takes from the white beam.

    heat between depths a and b = sum_E P(E) exp(-mu_att a) (1 - exp(-mu_att (b - a))) mu_dep/mu_att

integrated exactly over each interval of depth, so a coarse mesh loses nothing.  All absorbed
energy becomes heat (the few per cent kept by chain scission are ignored).  Gas between the layers
takes less than 1e-6 of the beam and is left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.beam.attenuation import coefficients
from thermo.beam.white import WhiteBeam
from thermo.materials import Material

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Piece:
    """One layer met by the beam: material and the depths (m, from its lit face) that cut it."""

    name: str
    material: Material
    depths: Array

    @property
    def thickness(self) -> float:
        """Thickness of the layer, m."""
        return float(self.depths[-1])


@dataclass(frozen=True)
class ColumnHeat:
    """Where a column's power goes, W per m of horizontal width.

    heat : one array (intervals, heights) for each piece
    escaped : what leaves the pieces as fluorescence and scattered light, (heights,)
    transmitted : what passes through the last piece, (heights,)
    """

    names: tuple[str, ...]
    heat: tuple[Array, ...]
    escaped: Array
    transmitted: Array

    def total(self, name: str) -> float:
        """Heat in all pieces of one name, W/m."""
        return float(sum(h.sum() for n, h in zip(self.names, self.heat, strict=True) if n == name))


def column_heat(beam: WhiteBeam, pieces: Sequence[Piece]) -> ColumnHeat:
    """Heat in each interval of each piece, in the order in which the beam meets them."""
    power = beam.power
    heat, escaped = [], np.zeros(len(beam.height))
    for piece in pieces:
        mu = coefficients(piece.material, beam.energy)
        through = np.exp(-np.outer(piece.depths, mu.attenuation))
        taken = through[:-1] - through[1:]
        kept = taken * mu.deposition(piece.thickness) / mu.attenuation
        heat.append(kept @ power.T)
        left = taken * (1 - mu.deposition(piece.thickness) / mu.attenuation)
        escaped += (power @ left.T).sum(1)
        power = power * through[-1]
    names = tuple(p.name for p in pieces)
    return ColumnHeat(names, tuple(heat), escaped, power.sum(1))


def dose_rate(
    beam: WhiteBeam,
    above: Sequence[Piece],
    resist: Material,
    thickness: float,
    depth: Array,
    rayleigh: bool = False,
) -> Array:
    """Power absorbed per depth, G(z) = sum P mu_dep exp(-mu_att z), W/m2, shape of depth.

    The stripe's whole height counted: the dose of one pass at speed v is G/v, J/m3.
    rayleigh : let Rayleigh scattering take from the beam below the filters, as if no photon so
    scattered came back: the other end of the bracket
    """
    power = beam.power.sum(0)
    for piece in above:
        mu = coefficients(piece.material, beam.energy)
        lost = mu.attenuation + (mu.rayleigh if rayleigh else 0.0)
        power = power * np.exp(-lost * piece.thickness)
    mu = coefficients(resist, beam.energy)
    lost = mu.attenuation + (mu.rayleigh if rayleigh else 0.0)
    fade = np.exp(-np.multiply.outer(np.asarray(depth, float), lost))
    return np.asarray(fade @ (power * mu.deposition(thickness)))
