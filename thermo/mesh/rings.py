"""Plan of round parts: a core of rectangles, and rings of quads from outline to outline round it.

A node of the core's edge has a place u on the unit square's edge.  Its spoke runs outwards:

    rectangle of half sides (a, b)    p = (a u_x, b u_y)                              (1)
    circle round a rectangle          p + t u with |p + t u| = r, t > 0               (2)
    circle round a circle             p r/|p|                                         (3)

In (2) the spokes fan out from straight at the middle of a side to 45 degrees at a corner, so that
none of the three cells at a corner of the core is sharp.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from thermo.case.pattern import Outline
from thermo.errors import PhysicsError
from thermo.mesh.plan import Plan, rectangle_plan
from thermo.mesh.spacing import graded, halved

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Rings:
    """Core between two increasing sets of lines (m), and outlines round it from inside out.

    shares : for each ring, shares of its width that cut it into cells, from 0 to 1
    """

    x_lines: Array
    y_lines: Array
    outlines: tuple[Outline, ...]
    shares: tuple[Array, ...]

    def halved(self) -> "Rings":
        """With every spacing halved; new nodes lie on the circles too."""
        shares = tuple(halved(share) for share in self.shares)
        return Rings(halved(self.x_lines), halved(self.y_lines), self.outlines, shares)

    def plan(self) -> Plan:
        """The plan mesh."""
        core = rectangle_plan(self.x_lines, self.y_lines)
        edge = _edge(len(self.x_lines), len(self.y_lines))
        loops = list(_loops(core.points[:, edge], self.outlines))
        rows = [
            (1 - share) * inner + share * outer
            for (inner, outer), shares in zip(pairwise(loops), self.shares, strict=True)
            for share in shares[1:]
        ]
        count, first = len(edge), core.points.shape[1]
        number = np.vstack([edge, first + np.arange(len(rows) * count).reshape(-1, count)])
        inner, outer = number[:-1], number[1:]
        corners = (inner, outer, np.roll(outer, -1, 1), np.roll(inner, -1, 1))
        around = np.stack([corner.ravel() for corner in corners])
        plan = Plan(np.hstack([core.points, *rows]), np.hstack([core.quads, around]))
        if not (plan.areas > 0).all():
            raise PhysicsError("rings of the plan overlap; each outline must lie inside the next")
        return plan


def rings(
    x_lines: Array, y_lines: Array, outlines: Sequence[Outline], first: float, largest: float
) -> Rings:
    """Rings round a core, cells of about `first` beside outlines growing to `largest` (m)."""
    core = rectangle_plan(x_lines, y_lines).points[:, _edge(len(x_lines), len(y_lines))]
    loops = list(_loops(core, outlines))
    widths = [np.hypot(*(b - a)).max() for a, b in pairwise(loops)]
    shares = tuple(graded(0, width, first, largest) / width for width in widths)
    return Rings(x_lines, y_lines, tuple(outlines), shares)


def _edge(columns: int, rows: int) -> NDArray[np.int64]:
    """Nodes on the edge of the core, once round counter-clockwise."""
    node = np.arange(rows * columns).reshape(rows, columns)
    sides = (node[0, :-1], node[:-1, -1], node[-1, :0:-1], node[:0:-1, 0])
    return np.concatenate(sides)


def _loops(core: Array, outlines: Sequence[Outline]) -> list[Array]:
    """Nodes on the edge of the core and on every outline, each (2, nodes)."""
    middle, half = (core.max(1) + core.min(1)) / 2, np.ptp(core, axis=1) / 2
    u = (core - middle[:, None]) / half[:, None]
    found, is_round = [core], False
    for outline in outlines:
        p, r = found[-1], outline.diameter / 2
        if not outline.is_round:
            p = u * np.array([[outline.width / 2], [outline.height / 2]])
        elif is_round:
            p = p * r / np.hypot(*p)
        else:
            along, across = (p * u).sum(0), (u * u).sum(0)
            t = (np.sqrt(along**2 + across * (r**2 - (p * p).sum(0))) - along) / across
            p = p + t * u
        found.append(p)
        is_round = outline.is_round
    return found
