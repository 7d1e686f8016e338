"""The layered stack in 3D: what the page's script needs to build and turn it."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermo.show.report.charts import packed, scaled
from thermo.show.report.contents import Contents
from thermo.show.stretch import drawn_heights
from thermo.show.surfaces import BODIES

Array = NDArray[np.float64]
HEIGHT = 0.45  # of the width: drawn height of the whole stack
GAP = 0.5  # drawn height of the gap, as those of layers
CLOSING = 0.45  # of the drawn gap: the largest displacement as drawn, so that bodies do not meet


@dataclass(frozen=True)
class Solid:
    """Data for the script, and the exaggerations in numbers.

    thicker : drawn over true thickness, least and most;  bent : drawn over true displacement
    """

    data: dict[str, Any]
    thicker: tuple[float, float]
    bent: float


def solid_view(found: Contents) -> Solid:
    """Mask over sample, each layer stretched on its own, displacement enlarged."""
    s = found.surfaces
    width = max(float(np.ptp(s[f"{b}_points"], axis=1).max()) for b in BODIES)
    drawn, factors = _levels(found, width)
    largest = max(float(np.linalg.norm(s[f"{b}_moved"], axis=0).max()) for b in BODIES)
    gap = float(drawn["mask"][-1] - drawn["sample"][0])
    bent = CLOSING * gap / max(1e-3 * largest, 1e-12)
    peaks = np.concatenate([s[f"{b}_peak"][_used(found, b)] for b in BODIES])
    bodies = [
        {
            "name": b,
            "points": packed(s[f"{b}_points"]),
            "quads": packed(s[f"{b}_quads"]),
            "active": packed(s[f"{b}_active"].astype(np.uint8)),
            "peak": scaled(s[f"{b}_peak"]),
            "moved": scaled(s[f"{b}_moved"]),
            "drawn": drawn[b].tolist(),
            "layers": [str(name) for name in s[f"{b}_layers"]],
        }
        for b in BODIES
    ]
    data = {"bodies": bodies, "span": [float(peaks.min()), float(peaks.max())], "bent": 1e-3 * bent}
    return Solid(data, (min(factors), max(factors)), bent)


def _used(found: Contents, body: str) -> NDArray[np.bool_]:
    """Nodes of solid cells, (levels, nodes)."""
    s = found.surfaces
    active, quads = s[f"{body}_active"], s[f"{body}_quads"].astype(int)
    used = np.zeros(s[f"{body}_peak"].shape, bool)
    for slab, cells in enumerate(active):
        nodes = np.unique(quads[:, cells.astype(bool)])
        used[slab : slab + 2, nodes] = True
    return used


def _levels(found: Contents, width: float) -> tuple[dict[str, Array], list[float]]:
    """Drawn heights of the levels of each body (mm, falling along the beam); stretch of slabs."""
    s = found.surfaces
    thick = {b: np.diff(s[f"{b}_levels"].astype(float)) for b in BODIES}
    heights = drawn_heights(np.concatenate([*thick.values()]))
    first = len(thick[BODIES[0]])
    steps = dict(zip(BODIES, (heights[:first], heights[first:]), strict=True))
    total = float(sum(x.sum() for x in steps.values())) + GAP
    unit = HEIGHT * width / total
    top = total * unit
    drawn, factors = {}, []
    for b in BODIES:
        drawn[b] = top - unit * np.concatenate([[0.0], np.cumsum(steps[b])])
        factors += (unit * steps[b] / thick[b]).tolist()
        top = float(drawn[b][-1]) - GAP * unit
    return drawn, factors
