"""Expansion of both bodies at the mean state, and what it does to the printed pattern."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.answer.bodies import Body, mask_body, sample_body
from thermo.answer.placement import at_points, field_points
from thermo.answer.state import State
from thermo.elastic import cell_stress

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Moved:
    """One body's displacement on its own nodes, m, (levels, nodes, 3), and the body."""

    body: Body
    u: Array
    residual: float


@dataclass(frozen=True)
class Expansion:
    """Displacement at the mean state; the mask's only for a held beam.

    points : over the pattern field, (2, n) m
    sample_at : displacement of resist top, middle and base there, (3, n, 3) m
    printed : placement error at the same depths, (3, n, 2) m, None where the beam scans
    gap_change : sample minus mask along the beam, a wider gap is positive, (n,) m, None likewise
    membrane_stress : lowest and highest in-plane stress of the clear membrane, Pa, None likewise
    """

    points: Array
    sample: Moved
    sample_at: Array
    mask: Moved | None
    printed: Array | None
    gap_change: Array | None
    membrane_stress: tuple[float, float] | None

    @property
    def residual(self) -> float:
        """Largest residual of the elastic solves."""
        return max(self.sample.residual, self.mask.residual if self.mask else 0.0)


def expand_bodies(state: State, before: Expansion | None = None) -> Expansion:
    """Expansion of the sample, and of the mask where the beam is held.

    before : an expansion of the same bodies at other temperatures: its factors are used again
    """
    case, stack = state.scene.case, state.scene.stack
    points = field_points(stack.pattern.field)
    sample = _move(
        state, before.sample.body if before else None, sample_body, case.sample.measured_at.value
    )
    sample_at = np.stack([at_points(sample.body, sample.u, level, points) for level in (0, 1, 2)])
    bare = Expansion(points, sample, sample_at, None, None, None, None)
    if state.scene.motion is not None:
        return bare
    kept = before.mask.body if before and before.mask else None
    reference = case.mask.measured_at.value
    mask = _move(state, kept, mask_body, reference)
    mask_at = at_points(mask.body, mask.u, 2, points)
    gap_change = sample_at[0, :, 2] - mask_at[:, 2]
    error = mask_at[:, :2] - sample_at[:, :, :2]
    error[:, :, 0] += points[0] * gap_change / case.beam.distance.value
    stress = _membrane_stress(state, mask, reference)
    return replace(bare, mask=mask, printed=error, gap_change=gap_change, membrane_stress=stress)


def _move(
    state: State, kept: Body | None, make: Callable[[State], Body], reference: float
) -> Moved:
    body = kept.again(state) if kept else make(state)
    u, residual = body.expand(state.meshed.grid, state.mean, reference)
    return Moved(body, u, residual)


def _membrane_stress(state: State, mask: Moved, reference: float) -> tuple[float, float]:
    """Lowest and highest in-plane normal stress of the clear membrane, initial tension added."""
    solid, grid = mask.body.held.solid, state.meshed.grid
    rise = np.nan_to_num(mask.body.rise(grid, state.mean, reference))
    sigma = cell_stress(solid, np.nan_to_num(mask.u), rise)[1]
    tension = solid.tension[1]
    clear = tension > 0 if tension.any() else ~solid.active[0]
    inside = sigma[clear][:, :, :2] + tension[clear][:, None, None]
    return float(inside.min()), float(inside.max())
