"""A body and the heat mesh whose temperatures move it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.answer.bodies import Body
from thermo.answer.mounts import elastic_constants, mount_growth
from thermo.answer.rise import Transfer
from thermo.answer.scene import Meshed
from thermo.answer.state import State, layer_weights

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Heated:
    """A body under temperatures of one heat mesh.

    way : how they reach its cells;  reference : temperature of measurement, K
    base : weights of the mean temperature of what it is tied to, (levels, nodes), zero where that
        keeps its own;  base_alpha : expansion of that, 1/K;  strain : which it has by itself
    shrunk : free strain of the cells, (slabs, cells)
    """

    body: Body
    way: Transfer
    reference: float
    base: Array
    base_alpha: float
    strain: float
    shrunk: Array

    def rise(self, fields: NDArray[np.floating], measured: bool) -> Array:
        """Rise at the cells' corners, K, (k, slabs, cells, 2, 4); arguments as in `moved`."""
        return self.way.rise(fields, self.reference if measured else 0.0)

    def moved(self, fields: NDArray[np.floating], measured: bool = False) -> tuple[Array, float]:
        """Displacement (k, levels, nodes, 3) m, and the residual of the solve.

        fields : (k, nodes, levels) K, nan where there is nothing
        measured : absolute temperatures, counted from that of measurement; else rises alone
        """
        base = np.tensordot(np.nan_to_num(fields), self.base.T, 2)
        if not measured:
            return self.body.displacement(self.rise(fields, False), self.base_alpha * base)
        growth = self.strain + self.base_alpha * (base - self.base.sum() * self.reference)
        return self.body.displacement(self.rise(fields, True), growth, self.shrunk)


def heated_mask(body: Body, state: State, meshed: Meshed) -> Heated:
    """The mask; its mount keeps the temperature of its water."""
    case, stack = state.scene.case, state.scene.stack
    none = np.zeros(meshed.grid.shape)
    reference, strain = case.mask.measured_at.value, mount_growth(case, stack)
    return Heated(body, body.transfer(meshed), reference, none, 0.0, strain, _shrunk(body, state))


def heated_sample(body: Body, state: State, meshed: Meshed) -> Heated:
    """The sample; its holder grows with its own mean temperature."""
    last = len(state.scene.stack.layers) - 1
    base, alpha = layer_weights(meshed.grid, last), holder_expansion(state)
    reference = state.scene.case.sample.measured_at.value
    return Heated(body, body.transfer(meshed), reference, base, alpha, 0.0, _shrunk(body, state))


def holder_expansion(state: State) -> float:
    """Expansion of the holder at its own mean temperature, 1/K."""
    layer, T = state.scene.stack.layers[-1], state.layer_T[-1]
    return elastic_constants(layer, T)[2]


def _shrunk(body: Body, state: State) -> Array:
    layers, active = state.scene.stack.layers, body.held.solid.active
    own = np.array([layers[slab.layer].free_strain for slab in body.slabs])
    return np.where(active, own[:, None], 0.0)


def at_points(weights: sparse.csr_array, u: Array, levels: Sequence[int]) -> Array:
    """Nodal u (k, levels, nodes, 3) of some levels at points, (k, levels, n, 3)."""
    some = np.nan_to_num(u[:, list(levels)])
    count, depths, nodes, _ = some.shape
    flat = some.transpose(2, 0, 1, 3).reshape(nodes, -1)
    return np.asarray(weights @ flat).reshape(-1, count, depths, 3).transpose(1, 2, 0, 3)
