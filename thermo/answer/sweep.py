"""Heat and light of the scan on the nodes of a mesh, by harmonic of the up-and-down motion."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.answer.exposure import lit_stripe
from thermo.answer.scene import Meshed, Scene
from thermo.beam import Scan
from thermo.beam.power import lit_columns
from thermo.beam.sweep import (
    SweptProfiles,
    harmonics_needed,
    light_harmonics,
    swept_profiles,
)
from thermo.heat import Passing
from thermo.mesh import layer_presence

Array = NDArray[np.float64]
STEP = 2.0  # way between two moments of the scan over the highest harmonic's wave/(2 pi)
RIPPLE = 200.0  # K, more than any crossing of the stripe brings
TIMES = 4096  # of a period, at which the place of the stripe is looked at
SPARE = 4.0  # harmonics beyond the rule of a Gaussian at full speed: the kink where it turns


@dataclass(frozen=True)
class Sweep:
    """Heat of the moving stripe at the nodes, W: F_n = spread @ (mix_n of every column).

    spread : m of lit width in a strip that belong to a node, (nodes, columns * strips)
    mixes : each column's heat as a mixture of shapes, by level, (levels, shapes)
    harmonics : of each shape in each strip, (shapes, strips, count + 1)
    light : dose rate at the resist's lit face by height, W/m2, (heights, count + 1)
    height_of : which of these heights each node has, (nodes,)
    """

    motion: Scan
    profiles: SweptProfiles
    edges: Array
    spread: sparse.csr_array
    mixes: tuple[Array, ...]
    harmonics: NDArray[np.inexact]
    light: NDArray[np.inexact]
    height_of: NDArray[np.int64]

    @property
    def count(self) -> int:
        """Highest harmonic."""
        return int(self.harmonics.shape[2]) - 1

    def load(self, n: int) -> NDArray[np.inexact]:
        """Harmonic n of the heat at the nodes, W, (nodes, levels)."""
        return self._spread_out(self.harmonics[:, :, n])

    def load_at(self, time: float) -> Array:
        """Heat at the nodes at a time (s) of the cycle, W, (nodes, levels)."""
        shares = self.profiles.at(self.motion, np.array([time]), self.edges)[:, :, 0]
        return np.asarray(self._spread_out(shares), float)

    def _spread_out(self, strips: NDArray[np.inexact]) -> NDArray[np.inexact]:
        return np.asarray(self.spread @ np.concatenate([(mix @ strips).T for mix in self.mixes]))


def sweep_of(scene: Scene, meshed: Meshed, tolerance: float) -> Sweep:
    """Harmonics of the scene's scan, as many as a tolerance (K) may need."""
    motion, beam, grid, plan = scene.motion, scene.beam, meshed.grid, meshed.plan
    assert motion is not None
    presence = layer_presence(scene.stack, grid.plan)
    edges, columns, _ = lit_columns(scene.stack, beam, meshed.cuts, presence, grid.plan.corners)
    profiles = swept_profiles(beam.height, np.vstack([c.heat for c in columns]))
    spread = sparse.hstack([plan.parting[:, c.cells] @ c.width for c in columns])
    mixes = tuple(_on_levels(mix) for mix in np.split(profiles.mix, len(columns)))
    heights, at = np.unique(grid.plan.points[1], return_inverse=True)
    sharp = min(profiles.sharpest, scene.sigma)
    count = int(SPARE * harmonics_needed(motion, sharp, RIPPLE, tolerance))
    fine = STEP * motion.effective_stroke / (np.pi * count)
    moments = motion.moments(min(fine, sharp / 4))
    return Sweep(
        motion,
        profiles,
        edges,
        sparse.csr_array(spread),
        mixes,
        profiles.harmonics(moments, edges, count),
        light_harmonics(*lit_stripe(scene), moments, heights, count),
        at.ravel(),
    )


def _on_levels(slabs: Array) -> Array:
    """Values of slabs, half of each to the level on either side."""
    none = np.zeros((1, slabs.shape[1]))
    return np.asarray(np.concatenate([slabs, none]) + np.concatenate([none, slabs])) / 2


def passing(motion: Scan, y: Array, sigma: float) -> Passing:
    """When the stripe passes heights y (m), for the guess of the cycle; beyond a turn: at it."""
    time = np.arange(TIMES + 1) * motion.period / TIMES
    place = motion.weights @ motion.place_at(time)
    way = np.abs(place - place[0])
    far = int(way.argmax())
    gone = np.abs(y - place[0])
    there = np.interp(gone, np.maximum.accumulate(way[: far + 1]), time[: far + 1])
    back = np.interp(gone, np.maximum.accumulate(way[far:][::-1]), time[far:][::-1])
    omega = 2 * np.pi / motion.period
    up, down = np.exp(-1j * omega * there), np.exp(-1j * omega * back)
    return Passing(up, down, omega * sigma / motion.speed)
