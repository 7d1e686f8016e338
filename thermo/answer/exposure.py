"""Dose and time of the exposure: the plan for the wanted dose at the bottom of the resist."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.answer.scene import Scene
from thermo.beam import (
    Exposure,
    Piece,
    column_heat,
    dose_rate,
    exposure,
    needed_stroke,
    time_with_decay,
    unevenness,
)

Array = NDArray[np.float64]


@dataclass(frozen=True)
class DosePlan:
    """Doses of the finished exposure, J/m3, and how it is reached.

    depth, dose : dose against depth in the open resist (m, J/m3)
    under_absorber : at the lit face of the resist under the metal
    ratio_spread : how far the ratio moves when Rayleigh scattering counts as lost, share of it
    time, passes : with the ring's lifetime where given; None where nothing scans or no dose
    """

    depth: Array
    dose: Array
    under_absorber: float
    ratio_spread: float
    time: float
    time_constant_current: float
    passes: int | None
    passes_constant_current: int | None
    charge_per_length: float
    stroke_needed: float | None
    unevenness: float | None

    @property
    def top(self) -> float:
        """Dose at the lit face, J/m3."""
        return float(self.dose[0])

    @property
    def bottom(self) -> float:
        """Dose at the back of the resist, J/m3."""
        return float(self.dose[-1])

    @property
    def ratio(self) -> float:
        """Top over bottom."""
        return self.top / self.bottom


def dose_plan(scene: Scene, points: int = 41) -> DosePlan:
    """Exposure plan of a scene; whole passes, so the doses may lie a little above the wanted one.

    A held beam prints only its own stripe: its doses are those at the stripe's middle.
    """
    case, beam, stack = scene.case, scene.beam, scene.stack
    resist = stack.resist
    depth = np.linspace(0, resist.thickness, points)
    open_, dark = (_above(scene, covered) for covered in (False, True))
    rate = dose_rate(beam, open_, resist.material, resist.thickness, depth)
    under = dose_rate(beam, dark, resist.material, resist.thickness, depth[:1])
    ends = (resist.material, resist.thickness, depth[[0, -1]])
    lossy = dose_rate(beam, open_, *ends, rayleigh=True)
    spread = float(abs(lossy[0] / lossy[1] * rate[-1] / rate[0] - 1))
    wanted, lifetime = case.dose.bottom.value, case.ring.lifetime
    tau = None if lifetime is None else lifetime.value
    current = case.ring.current.value
    if scene.motion is None:
        return _held(scene, depth, rate, float(under[0]), spread, tau)
    plan: Exposure = exposure(wanted, float(rate[-1]), current, scene.motion, tau)
    given = plan.passes / scene.motion.speed  # s/m, dose over rate
    field = stack.pattern.field.height
    top = np.array([0.0, 0.02 * resist.thickness])
    pieces = [*open_, Piece(resist.name, resist.material, np.append(top, resist.thickness))]
    profile = column_heat(beam, pieces).heat[-1][0]
    return DosePlan(
        depth,
        rate * given,
        float(under[0]) * given,
        spread,
        plan.time_with_decay,
        plan.time,
        plan.passes_with_decay,
        plan.passes,
        plan.charge_per_length,
        needed_stroke(field, scene.sigma, scene.motion),
        unevenness(field, beam.height, profile, scene.motion),
    )


def _held(
    scene: Scene, depth: Array, rate: Array, under: float, spread: float, tau: float | None
) -> DosePlan:
    """Plan of a held beam: the dose rate at the stripe's middle decides."""
    beam, wanted = scene.beam, scene.case.dose.bottom.value
    step = beam.height[1] - beam.height[0]
    profile = beam.power.sum(1)
    middle = float(profile.max() / profile.sum() / step)  # share of the stripe per height, 1/m
    time = wanted / (rate[-1] * middle)
    given = time * middle
    charge = wanted * scene.case.ring.current.value / float(rate[-1])
    decayed = time if tau is None else time_with_decay(time, tau)
    return DosePlan(
        depth, rate * given, under * given, spread, decayed, time, None, None, charge, None, None
    )


def _above(scene: Scene, covered: bool) -> list[Piece]:
    layers = [scene.stack.layer("membrane")]
    if covered:
        layers.append(scene.stack.layer("absorber"))
    return [Piece(la.name, la.material, np.array([0, la.thickness])) for la in layers]
