"""What is exposed and how: stack, beam, motion and mesh of a case."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.answer.light import beam_of, motion_of
from thermo.beam import FWHM_PER_SIGMA, STILL, Piece, Scan, WhiteBeam, dose_rate
from thermo.beam.power import column_pieces
from thermo.case import Case
from thermo.case.stack import Layer, Stack, build_stack
from thermo.mesh import (
    Grid,
    from_face,
    halved,
    lines_between,
    merged,
    mesh_stack,
    rectangle_plan,
)
from thermo.solve import PlanMatrices, plan_matrices

Array = NDArray[np.float64]
EDGE, OPEN = 1.0e-3, 3.5e-3  # m: cells beside edges of parts and pattern, and away from them
RESIST_SLABS, RESIST_GROWTH = (5, 3), 1.2  # above and below its middle
THICK = 200e-6  # m: layers above this are cut into several slabs


@dataclass(frozen=True)
class Scene:
    """A case described for the computation, no mesh; motion is None where the beam is held."""

    case: Case
    stack: Stack
    beam: WhiteBeam
    motion: Scan | None

    @property
    def sigma(self) -> float:
        """Height of the stripe as a standard deviation taken from its half-maximum width, m."""
        return self.beam.fwhm / FWHM_PER_SIGMA

    @property
    def places(self) -> tuple[Array, Array]:
        """Places of the stripe and the share of time at each."""
        return STILL if self.motion is None else self.motion.places(self.sigma / 3)

    def column(self, covered: bool, resist_cuts: Sequence[float] = (0.0, 1.0)) -> list[Piece]:
        """What the beam meets of the stack in the middle of the field, in the open or covered.

        resist_cuts : depths that cut the resist, shares of its thickness
        """
        layers, resist = self.stack.layers, self.stack.resist
        cuts = [
            np.array(resist_cuts if la is resist else (0.0, 1.0)) * la.thickness for la in layers
        ]
        return column_pieces(self.stack, [la.name != "frame" for la in layers], covered, cuts)

    def resist_number(self, covered: bool) -> int:
        """Place of the resist in such a column."""
        return [piece.name for piece in self.column(covered)].index(self.stack.resist.name)

    def resist_dose_rate(self, covered: bool, depth: Array) -> Array:
        """Power absorbed per depth of the resist, W/m2, shape of depth (m)."""
        return dose_rate(self.beam, self.column(covered), self.resist_number(covered), depth)


@dataclass(frozen=True)
class Meshed:
    """Mesh of a scene: grid, plan matrices, and the depths that cut each layer."""

    grid: Grid
    plan: PlanMatrices
    cuts: tuple[Array, ...]


def describe(case: Case, still: bool = False) -> Scene:
    """Stack, beam and motion of a case; still: the beam is held at the middle of the field."""
    stack = build_stack(case)
    beam = beam_of(case, [layer.material for layer in stack.layers if not layer.is_contact])
    return Scene(case, stack, beam, None if still else motion_of(case))


def mesh(scene: Scene, refine: int = 0, coarse: bool = False) -> Meshed:
    """Mesh with steps of parts, pattern and beam on its lines; refine halves every spacing.

    coarse : twice the spacing in the plan and through the layers, for differences between runs
    """
    x_lines, y_lines = _plan_lines(scene, 2.0 if coarse else 1.0)
    cuts = tuple(_cuts(scene.stack, layer, coarse) for layer in scene.stack.layers)
    for _ in range(refine):
        x_lines, y_lines = halved(x_lines), halved(y_lines)
        cuts = tuple(halved(c) for c in cuts)
    plan = rectangle_plan(x_lines, y_lines)
    grid = mesh_stack(scene.stack, plan, cuts)
    return Meshed(grid, plan_matrices(plan.points, plan.quads), cuts)


def _plan_lines(scene: Scene, wider: float) -> tuple[Array, Array]:
    stack = scene.stack
    x_steps, y_steps = stack.pattern.steps()
    outlines = list(_outlines(stack))
    x_breaks = [*x_steps, *(s * o.width / 2 for o in outlines for s in (-1, 1))]
    y_breaks = [*y_steps, *(s * o.height / 2 for o in outlines for s in (-1, 1))]
    patch, face = scene.case.sample.patch, stack.resist.outline
    if patch is not None:
        x_breaks += [s * (face.width / 2 - patch.value) for s in (-1, 1)]
        y_breaks += [s * (face.height / 2 - patch.value) for s in (-1, 1)]
    half_lit, half_x = stack.lit_width / 2, max(x_breaks)
    if half_lit < half_x:
        x_breaks += [-half_lit, half_lit]
    x_lines = lines_between(x_breaks, wider * EDGE, wider * OPEN)
    if scene.motion is not None:
        return x_lines, lines_between(y_breaks, wider * EDGE, wider * OPEN)
    bright = min(4 * scene.sigma, max(y_breaks))
    fine = np.linspace(-bright, bright, 2 * int(np.ceil(2.5 / wider * bright / scene.sigma)) + 1)
    coarse = lines_between([*y_breaks, -bright, bright], wider * EDGE, wider * OPEN)
    beyond = coarse[np.abs(coarse) > bright]
    inside = [y for y in y_breaks if abs(y) < bright]
    return x_lines, merged([*fine, *beyond, *inside], scene.sigma / 50)


def _outlines(stack: Stack) -> Iterator:  # type: ignore[type-arg]
    for layer in stack.layers:
        yield layer.outline
        if layer.opening is not None:
            yield layer.opening


def _cuts(stack: Stack, layer: Layer, coarse: bool) -> Array:
    """Depths that cut one layer; the resist has one at its middle."""
    share = 2 if coarse else 1
    if layer is stack.resist:
        upper, lower = (-(-count // share) for count in RESIST_SLABS)
        half = layer.thickness / 2
        below = half + from_face(half, lower, 1.0)[1:]
        return np.concatenate([from_face(half, upper, RESIST_GROWTH), below])
    thick = layer.thickness > THICK and layer.body in ("sample", "holder")
    slabs = {"holder": 4, "sample": 2}[layer.body] if thick else 1
    if layer.name == "frame":
        slabs = 2
    return from_face(layer.thickness, max(1, slabs // share), 1.0)
