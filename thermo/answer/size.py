"""What a run would take: unknowns, memory and time, known before it is started.

The factors were measured on one core over the shipped cases from 66 thousand to 3.9 million
unknowns: memory comes out within 1.5, time within about 2 (machines differ).
"""

import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from thermo.answer.coarse_runs import hangs_on_expansion
from thermo.answer.scene import Meshed, Scene, describe, mesh
from thermo.answer.spread import spread_inputs
from thermo.case import Case
from thermo.errors import SizeError
from thermo.mesh import layer_presence

BASE_MB = 230  # interpreter, libraries, cross sections
NODE_BYTES = (1_600, 260)  # per node of the heat grid, nodes in voids among them: scanned, held
BODY_BYTES = 24_000  # per node of an elastic body
START_S, BODY_S = 2.0, 8e-4  # of a run on one core: once, per node of an elastic body
NODE_S = (2.6e-5, 7e-6)  # per node of the heat grid
RUN_S, BODY_RUN_S = (2.4e-5, 1.4e-5), 6e-5  # per run, and node of the coarse mesh or coarse body
COARSER = (6.0, 3.2)  # nodes of the mesh over those of the coarse one
COARSER_BODY = 2.7  # the same of the bodies
ENDS = 1.4  # runs for each range: one where its effect is small
LEVER_RUNS = 8


@dataclass(frozen=True)
class RunSize:
    """Unknowns of the heat solve, peak memory (MB) and time (s) on one core.

    machine_MB : memory of this machine, None where it cannot be told
    """

    unknowns: int
    memory_MB: float
    seconds: float
    machine_MB: float | None

    @property
    def fits(self) -> bool:
        """Whether the machine has the memory."""
        return self.machine_MB is None or self.memory_MB <= self.machine_MB


def run_size(case: Case, refine: int = 0, still: bool = False) -> RunSize:
    """Size of an estimate; only the mesh without refinement is made."""
    scene = describe(case, still)
    return scaled_size(scene, mesh(scene), refine)


def scaled_size(scene: Scene, usual: Meshed, refine: int) -> RunSize:
    """Size with every spacing of the usual mesh halved `refine` times."""
    grid = usual.grid
    more, wider = 8**refine, 4**refine
    nodes, bodies = more * grid.shape[0] * grid.shape[1], wider * _body_nodes(scene, usual)
    held, moved = scene.motion is None, hangs_on_expansion(scene.case)
    node_bytes, node_s, run_s, coarser = (
        pair[held] for pair in (NODE_BYTES, NODE_S, RUN_S, COARSER)
    )
    memory = BASE_MB + (node_bytes * nodes + BODY_BYTES * bodies) / 1e6
    runs = ENDS * len(spread_inputs(scene.case, moved)) + LEVER_RUNS
    each = run_s * nodes / more / coarser
    if moved:
        each += BODY_RUN_S * bodies / wider / COARSER_BODY
    seconds = START_S + node_s * nodes + BODY_S * bodies + runs * each
    return RunSize(more * int(grid.node_used.sum()), memory, seconds, machine_memory())


def check_size(scene: Scene, usual: Meshed, refine: int) -> None:
    """Raise SizeError when the run does not fit into this machine's memory."""
    size = scaled_size(scene, usual, refine)
    if size.fits:
        return
    fitting = [n for n in range(refine) if scaled_size(scene, usual, n).fits]
    way = f"--refine {fitting[-1]} would fit" if fitting else "take a machine with more memory"
    raise SizeError(
        f"{size.unknowns} unknowns need about {size.memory_MB / 1e3:.2g} GB, this machine has "
        f"{(size.machine_MB or 0) / 1e3:.2g} GB; {way}"
    )


def machine_memory() -> float | None:
    """Memory that this process may use, MB; None where the system does not tell."""
    found = []
    try:
        found.append(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / 1e6)
    except (AttributeError, ValueError, OSError):
        return None
    group = Path("/sys/fs/cgroup/memory.max")  # a container's own limit
    with suppress(OSError, ValueError):
        found.append(int(group.read_text()) / 1e6)
    return min(found)


def _body_nodes(scene: Scene, usual: Meshed) -> int:
    """Nodes of both elastic bodies: plan nodes times levels; the resist is two layers there."""
    plan, count = usual.bodies, 0
    presence = layer_presence(scene.stack, plan)
    for body in ("mask", "sample"):
        own = [i for i, layer in enumerate(scene.stack.layers) if layer.body == body]
        cells = presence[own].any(axis=0)
        levels = len(own) + (2 if body == "sample" else 1)
        count += levels * len(np.unique(plan.quads[:, cells]))
    return count
