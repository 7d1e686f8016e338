"""Dose and time of the exposure: the plan for the wanted dose at the bottom of the resist."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.answer.scene import Scene
from thermo.beam import (
    Exposure,
    Scan,
    column_heat,
    exposure,
    needed_stroke,
    time_with_decay,
    unevenness,
)
from thermo.errors import PhysicsError

Array = NDArray[np.float64]
POINTS = 41  # depths at which the dose is worked out


@dataclass(frozen=True)
class DosePlan:
    """Doses of the finished exposure, J/m3, and how it is reached.

    depth, dose : dose against depth in the open resist (m, J/m3)
    under_absorber, under_absorber_back : under the metal, at the resist's lit face and at its back
    time, passes : what is left to expose, with the ring's lifetime where given; None where nothing
        scans or no dose
    dose_per_pass : J/m3 at the bottom;  wanted : dose asked for there
    done : passes' worth that were given before a stop
    """

    depth: Array
    dose: Array
    under_absorber: float
    under_absorber_back: float
    time: float
    time_constant_current: float
    passes: int | None
    passes_constant_current: int | None
    charge_per_length: float
    stroke_needed: float | None
    unevenness: float | None
    wanted: float
    dose_per_pass: float | None = None
    done: float = 0.0

    @property
    def top(self) -> float:
        """Dose at the lit face, J/m3."""
        return float(self.dose[0])

    @property
    def bottom(self) -> float:
        """Dose at the back of the resist, or little above it where a base shines back, J/m3."""
        return float(self.dose.min())

    @property
    def ratio(self) -> float:
        """Top over bottom."""
        return self.top / self.bottom


def dose_plan(scene: Scene, done: float = 0.0) -> DosePlan:
    """Exposure plan of a scene; whole passes, so the doses may lie a little above the wanted one.

    A held beam prints only its own stripe: its doses are those at the stripe's middle.
    done : passes' worth given before a stop, at the ring current of the case
    """
    case, stack = scene.case, scene.stack
    depth = np.linspace(0, stack.resist.thickness, POINTS)
    rate = scene.resist_dose_rate(False, depth)
    under = scene.resist_dose_rate(True, depth[[0, -1]])
    least = float(rate.min())
    if not least > 0:
        raise PhysicsError(
            "no light reaches the bottom of the resist: the dose is never reached; use a thinner "
            "membrane, filter or resist, or a higher ring energy"
        )
    wanted, lifetime = case.dose.bottom.value, case.ring.lifetime
    tau = None if lifetime is None else lifetime.value
    current = case.ring.current.value
    if scene.motion is None:
        return _held(scene, depth, rate, under, tau)
    plan: Exposure = exposure(
        wanted, least, current, scene.motion, tau, done, case.dose.even_passes
    )
    given = plan.delivered_with_decay * wanted / least  # s/m: dose over rate
    return DosePlan(
        depth=depth,
        dose=rate * given,
        under_absorber=float(under[0] * given),
        under_absorber_back=float(under[1] * given),
        time=plan.time_with_decay,
        time_constant_current=plan.time,
        passes=plan.passes_with_decay,
        passes_constant_current=plan.passes,
        charge_per_length=plan.charge_per_length,
        stroke_needed=needed_stroke(stack.pattern.field.height, scene.sigma, scene.motion),
        unevenness=dose_unevenness(scene, scene.motion),
        wanted=wanted,
        dose_per_pass=plan.dose_per_pass,
        done=done,
    )


def dose_unevenness(scene: Scene, motion: Scan) -> float:
    """Peak-to-valley unevenness of the dose at the resist's lit face over the field's height."""
    resist = scene.stack.resist
    cut = np.array([0.0, 0.02, 1.0]) * resist.thickness
    column = [replace(p, depths=cut) if p.name == resist.name else p for p in scene.column(False)]
    heat = column_heat(scene.beam, column)
    profile = heat.heat[heat.names.index(resist.name)][0]
    return unevenness(scene.stack.pattern.field.height, scene.beam.height, profile, motion)


def _held(scene: Scene, depth: Array, rate: Array, under: Array, tau: float | None) -> DosePlan:
    """Plan of a held beam: the dose rate at the stripe's middle decides."""
    beam, wanted = scene.beam, scene.case.dose.bottom.value
    step = beam.height[1] - beam.height[0]
    profile = beam.power.sum(1)
    middle = float(profile.max() / profile.sum() / step)  # share of the stripe per height, 1/m
    time = wanted / (rate.min() * middle)
    given = time * middle
    return DosePlan(
        depth=depth,
        dose=rate * given,
        under_absorber=float(under[0] * given),
        under_absorber_back=float(under[1] * given),
        time=time if tau is None else time_with_decay(time, tau),
        time_constant_current=time,
        passes=None,
        passes_constant_current=None,
        charge_per_length=wanted * scene.case.ring.current.value / float(rate.min()),
        stroke_needed=None,
        unevenness=None,
        wanted=wanted,
    )
