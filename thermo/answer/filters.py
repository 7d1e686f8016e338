"""Which filter brings the dose ratio under its limit, and what that costs in time.

Tried: every foil of the case made thicker, to the thickness at which the ratio just meets the
limit, and every spare foil added behind the others as it is.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from thermo.answer.exposure import POINTS, DosePlan, dose_plan
from thermo.answer.scene import Scene
from thermo.beam import Piece, WhiteBeam, behind
from thermo.case import Filter
from thermo.errors import PhysicsError
from thermo.materials import Material

THICKEST = 0.1  # m, of any foil that is thought of
STEP = 1.02  # made a little thicker than just enough


@dataclass(frozen=True)
class FilterChoice:
    """One change of the filters; plan is None where the dose is then never reached.

    added : True for a spare foil, False for a foil of the case made thicker
    thickness : of the foil then, m;  before : m, 0 for an added one
    """

    material: str
    added: bool
    before: float
    thickness: float
    plan: DosePlan | None


def filter_choices(scene: Scene, limit: float) -> Iterator[FilterChoice]:
    """Every foil made thicker so that it meets the ratio's limit, and every spare one added."""
    case = scene.case
    seen = set()
    for foil in case.beam.filters:
        if not isinstance(foil, Filter) or foil.material in seen:
            continue
        seen.add(foil.material)
        extra = extra_thickness(scene, case.materials[foil.material], limit)
        if extra is not None and extra > 0:
            before = foil.thickness.value
            after = before + extra
            yield _tried(scene, foil.material, False, before, after)
    for foil in case.beam.spare_filters:
        yield _tried(scene, foil.material, True, 0.0, foil.thickness.value)


def extra_thickness(scene: Scene, material: Material, limit: float) -> float | None:
    """Thickness (m) to add so that the ratio meets its limit; 0 if it does; None if none does."""

    def over(extra: float) -> float:
        return dose_ratio(scene, thicker(scene.beam, material, extra)) - limit

    if over(0.0) <= 0:
        return 0.0
    high = 3e-6
    while over(high) > 0:
        high *= 3
        if high > THICKEST:
            return None
    return STEP * float(brentq(over, 0.0, high, rtol=2e-3))


def dose_ratio(scene: Scene, beam: WhiteBeam) -> float:
    """Dose at the resist's lit face over that at its back, in the open."""
    depth = np.linspace(0, scene.stack.resist.thickness, POINTS)
    rate = replace(scene, beam=beam).resist_dose_rate(False, depth)
    return float(rate[0] / rate.min()) if rate.min() > 0 else float("inf")


def thicker(beam: WhiteBeam, material: Material, extra: float) -> WhiteBeam:
    """The beam behind so much more of a foil (m)."""
    return behind(beam, [Piece(material.name, material, np.array([0.0, extra]))])


def _tried(scene: Scene, material: str, added: bool, before: float, after: float) -> FilterChoice:
    beam = thicker(scene.beam, scene.case.materials[material], after - before)
    try:
        plan = dose_plan(replace(scene, beam=beam))
    except PhysicsError:
        return FilterChoice(material, added, before, after, None)
    return FilterChoice(material, added, before, after, plan)
