"""Monte Carlo of the photons in plane layers: where the power of the white beam really stays.

Packets of energy (see `scattering`) are followed through all generations until they stay or are
gone.  The beam meets the layers at right angles; its own photons are not drawn: what reaches depth
z without a collision is P(E) exp(-mu z), what stays at the first collision follows exactly, and
only what is sent on from there is drawn, layer by layer.  Packets move in vertical optical depth

    tau(z) = integral of mu(E, z') dz',     tau -> tau - c ln(xi),                      (1)

c the cosine to the beam, xi even in (0, 1), a line of straight pieces through the layers.  Vacuum
gaps between endless layers change nothing.

Left out: binding in the Compton angle and the Doppler spread of its photon energy; polarisation
beyond the first scattering (there the mean over azimuth makes it drop out); M lines and softer;
cascades beyond the tables of the lines; the way of the electrons (some micrometres) and their
bremsstrahlung; side walls.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.beam.absorption import Piece
from thermo.beam.attenuation import LOWEST_LINE, absorption_jumps
from thermo.beam.scattering import STAYS, Collisions, Indices, collisions, sent_on
from thermo.errors import PhysicsError, SolveError

Array = NDArray[np.float64]
FEWEST, MOST = 1e3, 1e8
TABLES = 0.11, 800.0  # keV: where all cross-section tables hold
BATCHES, LARGEST_BATCH = 20, 50_000
STEP = 0.004  # of ln E: straight lines between such energies follow mu ~ E^-3 to 3e-5
BALANCE = 1e-9  # round-off of the sums is 1e-12


@dataclass(frozen=True, eq=False)
class PhotonHeat:
    """Where a column's power goes by Monte Carlo, W per m of horizontal width.

    heat : one array (intervals,) for each piece;  error : one standard error of each
    totals : heat of each piece by independent batch, (batches, pieces)
    back, transmitted : power that leaves towards the source and behind, with its error
    """

    names: tuple[str, ...]
    heat: tuple[Array, ...]
    error: tuple[Array, ...]
    totals: Array
    back: tuple[float, float]
    transmitted: tuple[float, float]
    photons: int
    seed: int

    def total(self, name: str) -> tuple[float, float]:
        """Heat in all pieces of one name and one standard error of it, W/m."""
        return _mean(self.totals[:, [n == name for n in self.names]].sum(1))


@dataclass(frozen=True, eq=False)
class Layers:
    """Layers as the packets meet them.

    energy : photon energies of the tables, keV, rising
    tables, thickness : collisions and thickness (m) of each layer
    edges : cuts of depth as layer number + share of the layer's thickness, all layers in one row
    """

    energy: Array
    tables: tuple[Collisions, ...]
    thickness: Array
    edges: Array


@dataclass(frozen=True, eq=False)
class Packets:
    """Packets in flight, each array (packets,): power in W/m, photon energy in keV, layer, share
    of the layer's thickness above, cosine to the beam."""

    power: Array
    energy: Array
    layer: Indices
    share: Array
    cosine: Array

    def take(self, which: NDArray[np.bool_] | Indices) -> "Packets":
        """Some of the packets."""
        return Packets(*(value[which] for value in vars(self).values()))


def follow_photons(
    energy: Array, power: Array, pieces: Sequence[Piece], photons: int = 600_000, seed: int = 1
) -> PhotonHeat:
    """Heat in each interval of each piece by Monte Carlo, with its statistical error.

    Parameters
    ----------
    energy : photon energies of the beam, keV, shape (E,), 0.11 to 800
    power : power at each of them, quadrature weights included, W per m of width, (E,)
    pieces : layers in the order in which the beam meets them
    photons : packets drawn, 1e3 to 1e8;  the same seed gives the same answer

    Raises
    ------
    PhysicsError : photons, seed or photon energies outside their range
    SolveError : heat + back + transmitted differs from the incident power by more than 1e-9
    """
    energy, power = np.asarray(energy, float), np.asarray(power, float)
    if not FEWEST <= photons <= MOST:
        raise PhysicsError(
            f"{photons:.4g} photons to follow; allowed: {FEWEST:g} to {MOST:g}; 6e5 is usual"
        )
    if not seed >= 0:
        raise PhysicsError(f"seed {seed}; allowed: whole numbers from 0; 1 is usual")
    low, high = TABLES
    if not ((energy >= low) & (energy <= high)).all():
        raise PhysicsError(
            f"photon energies from {energy.min():.4g} to {energy.max():.4g} keV; allowed: {low:g} "
            f"to {high:g} keV, where the cross-section tables hold; cut the spectrum there"
        )
    layers = _layers(energy, pieces)
    batches = max(BATCHES, -(-photons // LARGEST_BATCH))
    heat, back, through = _batches(layers, energy, power, photons, batches, seed)
    ends = np.cumsum([len(p.depths) - 1 for p in pieces])[:-1]
    split = np.split(heat, ends, axis=1)
    return PhotonHeat(
        names=tuple(p.name for p in pieces),
        heat=tuple(h.mean(0) for h in split),
        error=tuple(h.std(0, ddof=1) / np.sqrt(batches) for h in split),
        totals=np.stack([h.sum(1) for h in split], axis=1),
        back=_mean(back),
        transmitted=_mean(through),
        photons=photons,
        seed=seed,
    )


def _mean(values: Array) -> tuple[float, float]:
    """Mean of independent values and one standard error of it."""
    return float(values.mean()), float(values.std(ddof=1) / np.sqrt(len(values)))


def _layers(energy: Array, pieces: Sequence[Piece]) -> Layers:
    """Tables at even steps of ln E, at the beam's own photon energies and beside each jump."""
    low, high = 0.95 * min(energy.min(), LOWEST_LINE), energy.max()
    jumps = np.array([e for p in pieces for e in absorption_jumps(p.material.composition)])
    lines = np.linspace(np.log(low), np.log(high), 1 + int(np.log(high / low) / STEP))
    nodes = np.unique(np.concatenate([np.exp(lines), energy, jumps - 1e-6, jumps + 1e-6]))
    nodes = nodes[(nodes >= low) & (nodes <= high)]
    made = {id(p.material): collisions(p.material, nodes) for p in pieces}
    return Layers(
        energy=nodes,
        tables=tuple(made[id(p.material)] for p in pieces),
        thickness=np.array([p.thickness for p in pieces]),
        edges=np.concatenate([i + p.depths[:-1] / p.thickness for i, p in enumerate(pieces)]),
    )


def _batches(
    layers: Layers, energy: Array, power: Array, photons: int, batches: int, seed: int
) -> tuple[Array, Array, Array]:
    """Heat (batches, intervals), power sent back and power transmitted, (batches,), W/m."""
    first, through, sources = _first_collisions(layers, energy, power)
    heat = np.empty((batches, first.size))
    leaving = np.empty((2, batches))
    for i, seeds in enumerate(np.random.SeedSequence(seed).spawn(batches)):
        rng = np.random.default_rng(seeds)
        count = photons * (i + 1) // batches - photons * i // batches
        packets = _drawn(layers, energy, sources, count, rng)
        late, back, late_through = _followed(layers, packets, rng)
        heat[i] = first + late
        leaving[:, i] = back, through + late_through
        incident, found = power.sum(), heat[i].sum() + leaving[:, i].sum()
        if not abs(found - incident) <= BALANCE * incident:
            raise SolveError(
                f"photon balance: heat, back and transmitted add up to {found:.9g} W/m of "
                f"{incident:.9g} W/m incident; allowed: {BALANCE:g} of it"
            )
    return heat, leaving[0], leaving[1]


def _first_collisions(
    layers: Layers, energy: Array, power: Array
) -> tuple[Array, float, list[Array]]:
    """Heat at first collisions (intervals,), power without one, and what each layer sends on.

    The last by photon energy and outcome, W/m, (E, outcomes), the outcome STAYS with 0.
    """
    node = np.searchsorted(layers.energy, energy)
    heat, sources = np.empty(len(layers.edges)), []
    for i, table in enumerate(layers.tables):
        tau = table.attenuation[node] * layers.thickness[i]
        share = table.share[node]
        inside = np.floor(layers.edges) == i
        cuts = np.append(layers.edges[inside] - i, 1.0)
        fade = np.exp(-np.outer(cuts, tau))
        heat[inside] = (fade[:-1] - fade[1:]) @ (power * share[:, STAYS])
        on = share.copy()
        on[:, STAYS] = 0
        sources.append((power * (1 - fade[-1]))[:, None] * on)
        power = power * fade[-1]
    return heat, float(power.sum()), sources


def _drawn(
    layers: Layers, energy: Array, sources: list[Array], count: int, rng: np.random.Generator
) -> Packets:
    """Packets that leave their first collision: half of them shared evenly between the layers,
    half by power, so that a layer that sends on little is still well known."""
    sent = np.array([s.sum() for s in sources])
    lit = sent > 0
    counts = count / 2 * (lit / max(lit.sum(), 1) + sent / max(sent.sum(), np.finfo(float).tiny))
    node = np.searchsorted(layers.energy, energy)
    found = []
    for i in np.flatnonzero(lit):
        n, source, table = max(1, int(counts[i])), sources[i], layers.tables[i]
        below = source.cumsum() / sent[i]
        place = np.searchsorted(below, below[-1] * (np.arange(n) + rng.random(n)) / n, "right")
        ray, outcome = np.divmod(np.minimum(place, source.size - 1), source.shape[1])
        tau = (table.attenuation[node] * layers.thickness[i])[ray]
        share = -np.log1p(rng.random(n) * np.expm1(-tau)) / tau
        E, cosine = sent_on(table, outcome, energy[ray], np.ones(n), rng)
        found.append(Packets(np.full(n, sent[i] / n), E, np.full(n, i), share, cosine))
    columns = zip(*(vars(p).values() for p in found), strict=True)
    empty = Packets(np.empty(0), np.empty(0), np.empty(0, np.intp), np.empty(0), np.empty(0))
    return Packets(*(np.concatenate(c) for c in columns)) if found else empty


def _followed(
    layers: Layers, packets: Packets, rng: np.random.Generator
) -> tuple[Array, float, float]:
    """Heat (intervals,), power back and power transmitted of packets followed to their end, W/m."""
    heat, back, through = np.zeros(len(layers.edges)), 0.0, 0.0
    depth = np.stack([t.attenuation for t in layers.tables], 1) * layers.thickness
    while packets.power.size:
        at, part = _node(layers, packets.energy)
        tau = np.zeros((at.size, len(layers.tables) + 1))
        np.cumsum(depth[at] + part[:, None] * (depth[at + 1] - depth[at]), axis=1, out=tau[:, 1:])
        row = np.arange(at.size)
        before, own = tau[row, packets.layer], tau[row, packets.layer + 1]
        flight = rng.exponential(size=at.size)
        there = before + packets.share * (own - before) + packets.cosine * flight
        behind, ahead = there >= tau[:, -1], there < 0
        back += packets.power[ahead].sum()
        through += packets.power[behind].sum()
        hit = np.flatnonzero(~(behind | ahead))
        layer = (there[hit, None] >= tau[hit, 1:]).sum(1)
        before, own = tau[hit, layer], tau[hit, layer + 1]
        share = np.minimum((there[hit] - before) / (own - before), 1 - 1e-12)
        now = packets.take(hit)
        now = Packets(now.power, now.energy, layer, share, now.cosine)
        outcome = _outcome(layers, now, at[hit], part[hit], rng)
        stays = outcome == STAYS
        interval = np.searchsorted(layers.edges, layer[stays] + share[stays], "right") - 1
        heat += np.bincount(interval, now.power[stays], len(heat))
        packets = _sent_on(layers, now.take(~stays), outcome[~stays], rng)
    return heat, back, through


def _node(layers: Layers, energy: Array) -> tuple[Indices, Array]:
    """Place of photon energies (keV) in the tables: node below and share of the step above it."""
    nodes = layers.energy
    at = np.clip(np.searchsorted(nodes, energy, "right") - 1, 0, len(nodes) - 2)
    return at, np.clip((energy - nodes[at]) / (nodes[at + 1] - nodes[at]), 0, 1)


def _by_table(layers: Layers, layer: Indices) -> list[tuple[Collisions, Indices]]:
    """Each different table with the places where the layer has it."""
    different = {id(t): t for t in layers.tables}
    owner = np.array([list(different).index(id(t)) for t in layers.tables])[layer]
    return [(table, np.flatnonzero(owner == i)) for i, table in enumerate(different.values())]


def _outcome(
    layers: Layers, packets: Packets, at: Indices, part: Array, rng: np.random.Generator
) -> Indices:
    """Outcome drawn for packets that collide."""
    outcome = np.empty(at.size, np.intp)
    drawn = rng.random(at.size)
    for table, here in _by_table(layers, packets.layer):
        up = table.share.cumsum(1)[:, :-1]
        low, high = up[at[here]], up[at[here] + 1]
        outcome[here] = (drawn[here, None] >= low + part[here, None] * (high - low)).sum(1)
    return outcome


def _sent_on(
    layers: Layers, packets: Packets, outcome: Indices, rng: np.random.Generator
) -> Packets:
    """Packets after a collision in which they did not stay."""
    energy, cosine = packets.energy.copy(), packets.cosine.copy()
    for table, here in _by_table(layers, packets.layer):
        energy[here], cosine[here] = sent_on(table, outcome[here], energy[here], cosine[here], rng)
    return Packets(packets.power, energy, packets.layer, packets.share, cosine)
