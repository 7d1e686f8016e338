"""The plan mesh of a scene: rectangles, rings round a core where parts are round, or a file's own.

Lines and rings stand on every step of parts, pattern, lit width and tape patches.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from thermo.case import Case
from thermo.case.nesting import Nest, is_clear, nest
from thermo.case.patches import patch_edges
from thermo.case.pattern import Outline
from thermo.case.plan_file import PlanFile, plan_refused
from thermo.case.stack import Stack
from thermo.errors import PhysicsError
from thermo.mesh import (
    ON_OUTLINE,
    Plan,
    border_of,
    edges_of,
    halved,
    lines_between,
    merged,
    read_plan,
    rectangle_plan,
    rings,
    split,
)

Array = NDArray[np.float64]
Index = NDArray[np.int64]
EDGE, OPEN = 1.0e-3, 3.5e-3  # m: cells beside edges of parts and pattern, and away from them
BRIGHT, CELL = 4.0, 0.5  # sigma: reach of the stripe, and the longest cell that it lights
ROUND = 20  # cells along a side of the core: 80 round a circle leave 0.1 % of its area out
FULL = 1 - 2 / ROUND  # of the smallest circle a long core may fill: a cell is left at its corners
BOTH = 2.0  # how much wider the cells of a coarse mesh are
FOLLOWED = 5e-3  # of its area: a circle of the user's own plan mesh has 36 straight edges or more


@dataclass(frozen=True)
class Spacing:
    """How much wider than the finest a plan's cells are: across the scan, along it, round circles.

    A plan mesh of the user's own, which has no such directions, is cut in four `cut` times.
    """

    across: float
    along: float
    rings: float
    cut: int


FINE = Spacing(1.0, 1.0, 1.0, 1)


def coarse_spacing(scans: bool) -> Spacing:
    """Twice the spacing, under a scan four times across, for differences between runs."""
    return Spacing(BOTH**2 if scans else BOTH, BOTH, BOTH, 0)


@dataclass(frozen=True)
class Stripe:
    """Height of the lit stripe as a standard deviation, and where it turns (0: held), m from y=0.

    A held stripe is bright over 4 sigma to either side, a scanning one that far beyond its turns.
    """

    sigma: float
    turn: float

    def edges(self, breaks: list[float]) -> list[float]:
        """Where a held stripe ends, within the breaks."""
        bright = min(4 * self.sigma, max(breaks))
        return [] if self.turn else [-bright, bright]

    def closer(self, y_lines: Array, breaks: list[float], wider: float) -> Array:
        """The lines with no cell too long for the stripe: 0.5 sigma wherever it is bright."""
        if self.turn:
            return _cut(y_lines, 0.0, self.turn + BRIGHT * self.sigma, wider * CELL * self.sigma)
        bright = min(4 * self.sigma, y_lines[-1])
        fine = np.linspace(-bright, bright, 2 * int(np.ceil(2.5 / wider * bright / self.sigma)) + 1)
        beyond = y_lines[np.abs(y_lines) > bright]
        inside = [y for y in breaks if abs(y) < bright]
        return merged([*fine, *beyond, *inside], self.sigma / 50)


def _cut(lines: Array, start: float, stop: float, longest: float) -> Array:
    """The lines with cells between two distances from 0 cut to at most the longest, m."""
    middle = np.abs(lines[:-1] + lines[1:]) / 2
    length = np.diff(lines)
    near = (middle > start) & (middle < stop)
    parts = np.where(near, np.ceil(length / longest * (1 - 1e-9)), 1).astype(int)
    cells = np.repeat(length / parts, parts)
    cut = lines[0] + np.concatenate([[0], np.cumsum(cells)])
    ends = np.concatenate([[0], np.cumsum(parts)])
    cut[ends] = lines
    return np.asarray(cut)


def scene_plan(
    case: Case, stack: Stack, stripe: Stripe, refine: int = 0, spacing: Spacing = FINE
) -> Plan:
    """Plan of a case; refine halves every spacing, with new nodes on the circles."""
    if case.plan is not None:
        return _own_plan(case.plan, stack, refine + spacing.cut)
    outlines = {"pattern field": stack.pattern.field, **stack.outlines}
    found = nest(outlines)
    if found is not None:
        return _ring_plan(case, stack, stripe, found, spacing, refine)
    whole = Outline(*(max(getattr(o, s) for o in outlines.values()) for s in ("width", "height")))
    x_lines, y_lines = _lines(case, stack, stripe, whole, (EDGE, OPEN), spacing)
    for _ in range(refine):
        x_lines, y_lines = halved(x_lines), halved(y_lines)
    return rectangle_plan(x_lines, y_lines)


def _ring_plan(
    case: Case, stack: Stack, stripe: Stripe, found: Nest, spacing: Spacing, refine: int
) -> Plan:
    if found.crossing is not None:  # the case room has refused it already
        one, other = found.crossing
        raise PhysicsError(f"{one} and {other} cross; give one inside the other, or mesh.plan")
    core = _core(found, stack.lit_width)
    largest = min(OPEN, core.width / ROUND, core.height / ROUND)
    x_lines, y_lines = _lines(case, stack, stripe, core, (min(EDGE, largest), largest), spacing)
    made = rings(x_lines, y_lines, found.rings, spacing.rings * EDGE, spacing.rings * OPEN)
    for _ in range(refine):
        made = made.halved()
    return made.plan()


def _core(found: Nest, lit_width: float) -> Outline:
    """The core, as wide as the light where that fits, and a long one not too narrow."""
    core, first = found.core, found.rings[0]
    lit = Outline(max(core.width, lit_width), core.height)
    core = lit if is_clear(lit, first) else core
    long, short = max(core.width, core.height), min(core.width, core.height)
    room = sqrt(max((FULL * first.diameter) ** 2 - long**2, 0.0))
    short = max(short, min(long, room))
    return Outline(long, short) if core.width >= core.height else Outline(short, long)


def _lines(
    case: Case,
    stack: Stack,
    stripe: Stripe,
    whole: Outline,
    sizes: tuple[float, float],
    spacing: Spacing,
) -> tuple[Array, Array]:
    """Lines over a rectangle through every step in it, cells of two sizes (m) beside and away."""
    x_breaks, y_breaks = (list(steps) for steps in stack.pattern.steps())
    for outline in (*stack.outlines.values(), whole):
        x_breaks += [s * outline.width / 2 for s in (-1, 1)]
        y_breaks += [s * outline.height / 2 for s in (-1, 1)]
    x_patches, y_patches = patch_edges(case, stack)
    x_breaks += x_patches
    y_breaks += y_patches
    x_breaks += [-stack.lit_width / 2, stack.lit_width / 2]
    x_breaks = [x for x in x_breaks if abs(x) <= whole.width / 2]
    y_breaks = [y for y in y_breaks if abs(y) <= whole.height / 2]
    x_lines = lines_between(x_breaks, *(spacing.across * size for size in sizes))
    along = (spacing.along * size for size in sizes)
    y_lines = lines_between([*y_breaks, *stripe.edges(y_breaks)], *along)
    return x_lines, stripe.closer(y_lines, y_breaks, spacing.along)


def _own_plan(file: PlanFile, stack: Stack, times: int) -> Plan:
    """The plan of a file, every cell cut in four so many times; raises CaseError."""
    plan = read_plan(file)
    edges = edges_of(plan.quads)
    for name, outline in {"pattern field": stack.pattern.field, **stack.outlines}.items():
        if off := _off(plan, edges, outline):
            text = f"does not follow the {name} ({outline}): {off}; let edges of cells run along"
            way_out = "every outline, in metres, x = y = 0 in the middle of the field"
            raise plan_refused(file.path, f"{text} {way_out}")
    circles = {o.diameter for o in stack.outlines.values() if o.is_round}
    for _ in range(times):
        plan = split(plan, sorted(circles))
    return plan


def _off(plan: Plan, edges: tuple[Index, Index], outline: Outline) -> str:
    """Where a plan leaves an outline and what is allowed; empty where it follows it."""
    ends, number = edges
    inside = outline.covers(*plan.centres)
    places = plan.points[:, ends[:, border_of(number, inside)]]
    if not outline.is_round:  # no edge cuts off a corner
        places = np.concatenate([places, places.mean(1, keepdims=True)], axis=1)
    far = outline.distance(*places).ravel()
    allowed = ON_OUTLINE * min(outline.width, outline.height) / 2
    if not (far <= allowed).all():
        x, y = 1e3 * places.reshape(2, -1)[:, far.argmax()]
        return (
            f"the edge of a cell at x = {x:.4g}, y = {y:.4g} mm is {1e3 * far.max():.3g} mm off "
            f"it; allowed: up to {1e3 * allowed:.3g} mm"
        )
    found = float(plan.areas[inside].sum())
    if not abs(found / outline.area - 1) <= FOLLOWED:
        return (
            f"its cells inside cover {1e6 * found:.5g} of {1e6 * outline.area:.5g} mm2; "
            f"allowed: {100 * FOLLOWED:g} % off"
        )
    return ""
