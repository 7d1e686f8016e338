"""Heat per depth that one column of layers takes from the white beam.

    heat between depths a and b = sum_E P(E) exp(-mu_att a) (1 - exp(-mu_att (b - a))) mu_en/mu_att
                                  + what fluorescence and Compton photons bring (`exchange`)

the first part exactly over each interval of depth, so a coarse mesh loses nothing.  The second has
the height of the light that is sent on.  All absorbed energy becomes heat (the few per cent kept
by chain scission are ignored).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.beam.attenuation import coefficients, mixture
from thermo.beam.exchange import Exchange, exchange
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
    heat, sent = [], np.zeros(len(beam.height))
    for piece in pieces:
        mu = coefficients(piece.material, beam.energy)
        through = np.exp(-np.outer(piece.depths, mu.attenuation))
        taken = through[:-1] - through[1:]
        kept = taken * mu.deposition(None) / mu.attenuation
        heat.append(kept @ power.T)
        sent += power @ (taken - kept).sum(0)
        power = power * through[-1]
    found = _exchange(beam, pieces)
    on = sent / sent.sum() * beam.on_mask if sent.any() else sent
    more = [np.diff(b(p.depths)) for b, p in zip(found.below, pieces, strict=True)]
    return ColumnHeat(
        tuple(p.name for p in pieces),
        tuple(h + np.outer(m, on) for h, m in zip(heat, more, strict=True)),
        found.leaving * on,
        power.sum(1),
    )


def behind(beam: WhiteBeam, pieces: Sequence[Piece]) -> WhiteBeam:
    """The beam that is left behind some pieces: sum P exp(-mu_att t); their heat is not booked."""
    lost = [coefficients(p.material, beam.energy).attenuation * p.thickness for p in pieces]
    return replace(beam, power=beam.power * np.exp(-np.sum(lost, axis=0))) if lost else beam


def dose_rate(
    beam: WhiteBeam,
    pieces: Sequence[Piece],
    number: int,
    depth: Array,
    brought: bool = True,
) -> Array:
    """Power absorbed per depth, G(z), in piece `number` of a column, W/m2, shape of depth.

    G(z) = sum P mu_en exp(-mu_att z) + what is brought there; the stripe's whole height counted:
    the dose of one pass at speed v is G/v, J/m3.  brought : False leaves out the second part.
    """
    power = behind(beam, pieces[:number]).power.sum(0)
    mu = coefficients(pieces[number].material, beam.energy)
    fade = np.exp(-np.multiply.outer(np.asarray(depth, float), mu.attenuation))
    spot = np.asarray(fade @ (power * mu.deposition(None)))
    if not brought:
        return spot
    return spot + _exchange(beam, pieces).below[number].derivative()(depth) * beam.on_mask


def _exchange(beam: WhiteBeam, pieces: Sequence[Piece]) -> Exchange:
    layers = [(mixture(p.material), p.thickness) for p in pieces]
    return exchange(beam.energy, beam.power.sum(0), layers)
