"""What a run would take: unknowns, memory and time, before it is started."""

from dataclasses import dataclass

from thermo.answer.scene import describe, mesh
from thermo.answer.spread import spread_inputs
from thermo.case import Case

BYTES = 4_500  # measured peak per unknown of the fine mesh, all stages
BASE_MB = 250  # interpreter and libraries
SECONDS = 1.6e-5  # measured on one core per unknown of one heat solve with its sweeps
ELASTIC = 4.0e-5


@dataclass(frozen=True)
class RunSize:
    """Unknowns of the heat solve, peak memory (MB) and time (s) on one core."""

    unknowns: int
    memory_MB: float
    seconds: float


def run_size(case: Case) -> RunSize:
    """Size of an estimate of this case at the default mesh."""
    scene = describe(case)
    unknowns = int(mesh(scene).grid.node_used.sum())
    held = scene.motion is None
    runs = 2 * len(spread_inputs(case, held)) + 8
    each = SECONDS / 4 + (ELASTIC / 4 if held else 0.0)
    seconds = unknowns * (5 * SECONDS + ELASTIC + runs * each)
    return RunSize(unknowns, BASE_MB + BYTES * unknowns / 1e6, seconds)
