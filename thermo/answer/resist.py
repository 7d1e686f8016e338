"""The resist against softening: hottest depth, local dose, margin.

The glass transition of PMMA falls with dose, so the margin at each depth is that of the local
dose: margin(z) = T_soft(D(z)) - T_peak(z).  Beyond the measured doses the lowest measured value is
an upper bound only: the margin is then 'at most'.
"""

from dataclasses import dataclass

import numpy as np

from thermo.answer.exposure import DosePlan
from thermo.answer.state import State
from thermo.answer.temperature import layer_nodes
from thermo.materials import Material, material, softening_by_dose


@dataclass(frozen=True)
class ResistMargin:
    """Where the margin is least: peak and softening temperature there, K.

    at_most : the dose there lies beyond the measured softening data
    """

    peak: float
    softening: float
    at_most: bool
    source: str


def softens_with_dose(resist: Material) -> bool:
    """Whether the published fall of the softening temperature with dose is for this material."""
    return dict(resist.composition) == dict(material("PMMA").composition)


def resist_margin(state: State, dose: DosePlan) -> ResistMargin | None:
    """Least margin over the depth of the resist, at the dose of the open resist at that depth.

    None where nothing is known of the resist's softening.
    """
    stack, grid = state.scene.stack, state.meshed.grid
    resist = stack.resist
    here = layer_nodes(grid, stack.index(resist.name))
    levels = np.flatnonzero(here.any(1))
    peak = np.where(here, state.peak, -np.inf)[levels].max(1)
    if softens_with_dose(resist.material):
        local = np.interp(grid.levels[levels], dose.depth, dose.dose)
        soft, beyond, source = softening_by_dose(local)
        worst = int((peak - soft).argmax())
        return ResistMargin(float(peak[worst]), float(soft[worst]), bool(beyond[worst]), source)
    limit = resist.material.limit
    if limit is None:
        return None
    return ResistMargin(float(peak.max()), limit.typical[0], False, limit.source)
