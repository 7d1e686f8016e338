"""What is exposed and how: stack, beam, motion and mesh of a case."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.answer.depths import depth_cuts
from thermo.answer.light import beam_of, motion_of
from thermo.answer.plan import FINE, Spacing, Stripe, coarse_spacing, scene_plan
from thermo.beam import FWHM_PER_SIGMA, STILL, Piece, Scan, WhiteBeam, dose_rate
from thermo.beam.power import column_pieces
from thermo.case import Case
from thermo.case.stack import Stack, build_stack
from thermo.mesh import CHORD, Grid, Plan, halved, interpolation, mesh_stack
from thermo.solve import PlanMatrices, plan_matrices

Array = NDArray[np.float64]
BODIES = Spacing(2.0, 1.5, 2.0, 0)  # of expansion, which is smoother than temperature
NUDGE = 1e-3  # of a plan: over such shifts of its nodes strains of 1e-5 move far less than 1 nm


@dataclass(frozen=True)
class GapChange:
    """How much wider the bow of both bodies makes the gap, m, at the nodes of a plan; 0 beyond."""

    plan: Plan
    wider: Array

    def at(self, places: Array) -> Array:
        """Change at places (2, n) m of the same outline, (n,)."""
        inwards = 1.0 if self.plan.lines is not None else 1 - CHORD
        return np.asarray(interpolation(self.plan, inwards * places) @ self.wider)


@dataclass(frozen=True)
class Scene:
    """A case described for the computation, no mesh; motion is None where the beam is held.

    gap_change : by the bow of the bodies, None as long as it is not known
    """

    case: Case
    stack: Stack
    beam: WhiteBeam
    motion: Scan | None
    gap_change: GapChange | None = None

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
    """Mesh of a scene.

    grid, plan : of the heat, and its plan matrices;  cuts : the depths that cut each layer
    bodies : plan of mask and sample as elastic bodies;  is_coarse : for differences between runs
    """

    grid: Grid
    plan: PlanMatrices
    cuts: tuple[Array, ...]
    bodies: Plan
    is_coarse: bool

    def is_like(self, other: "Meshed") -> bool:
        """Whether both have the same plans and slabs, so that fields and bodies fit either.

        Heights may differ.  Light that spreads wider asks for more lines in either plan, or moves
        those of a held stripe a little.
        """
        plans = (self.grid.plan, other.grid.plan), (self.bodies, other.bodies)
        return (
            np.array_equal(self.grid.layer, other.grid.layer)
            and np.array_equal(self.grid.active, other.grid.active)
            and all(_is_like(*pair) for pair in plans)
        )


def _is_like(one: Plan, two: Plan) -> bool:
    if one.points.shape != two.points.shape or not np.array_equal(one.quads, two.quads):
        return False
    return bool(np.abs(one.points - two.points).max() <= NUDGE * np.ptp(two.points))


def describe(case: Case, still: bool = False) -> Scene:
    """Stack, beam and motion of a case; still: the beam is held at the middle of the field."""
    stack = build_stack(case)
    beam = beam_of(case, [layer.material for layer in stack.layers if not layer.is_contact])
    return Scene(case, stack, beam, None if still else motion_of(case))


def mesh(scene: Scene, refine: int = 0, coarse: bool = False) -> Meshed:
    """Mesh with steps of parts, pattern and beam on its lines; refine halves every spacing.

    coarse : twice the spacing in the plan (four times across under a scan) and through the layers,
        for differences between runs
    """
    motion = scene.motion
    turn = 0.0 if motion is None else abs(motion.middle) + motion.stroke / 2
    stripe, wide = Stripe(scene.sigma, turn), coarse_spacing(motion is not None)
    heat, bodies = (wide, wide) if coarse else (FINE, BODIES)
    plan, own = (
        scene_plan(scene.case, scene.stack, stripe, refine, spacing) for spacing in (heat, bodies)
    )
    cuts = depth_cuts(scene.stack, scene.beam, coarse)
    for _ in range(refine):
        cuts = tuple(halved(c) for c in cuts)
    grid = mesh_stack(scene.stack, plan, cuts)
    return Meshed(grid, plan_matrices(plan.points, plan.quads, lines=plan.lines), cuts, own, coarse)
