"""Dose and time of the exposure: the plan for the wanted dose at the bottom of the resist."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.answer.scene import Scene
from thermo.beam import (
    Exposure,
    Piece,
    WhiteBeam,
    behind,
    column_heat,
    dose_rate,
    exposure,
    needed_stroke,
    stripe_reach,
    time_with_decay,
    unevenness,
)
from thermo.beam.attenuation import coefficients
from thermo.errors import PhysicsError

Array = NDArray[np.float64]
PERMILLE, PERCENT = 1e-3, 1e-2  # of the dose that the field's edge may lack
FACE = 0.02  # share of the resist's thickness that stands for its face
POINTS = 41  # depths at which the dose is worked out


@dataclass(frozen=True)
class DosePlan:
    """Doses of the finished exposure, J/m3, and how it is reached.

    depth, dose : dose against depth in the open resist (m, J/m3)
    under_absorber, under_absorber_back : in the middle of a wide absorber, at the resist's lit face
        and at its back
    scattered : J/m3, upper estimate of what open parts beside scatter under a fine absorber
    time, passes : what is left to expose, with the ring's lifetime where given; None where nothing
        scans or no dose
    dose_per_pass : J/m3 at the bottom;  wanted : dose asked for there
    done : passes' worth that were given before a stop
    """

    depth: Array
    dose: Array
    under_absorber: float
    under_absorber_back: float
    scattered: float
    time: float
    time_constant_current: float
    passes: int | None
    passes_constant_current: int | None
    charge_per_length: float
    stroke_needed: float | None
    stroke_for_1_percent: float | None
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
    if scene.motion is None:
        return _held(scene, depth)
    rate, under, scattered = _rates(scene, depth)
    least = float(rate.min())
    wanted, lifetime = case.dose.bottom.value, case.ring.lifetime
    tau = None if lifetime is None else lifetime.value
    current = case.ring.current.value
    stripe = lit_stripe(scene)
    field = stack.pattern.field.height
    plan: Exposure = exposure(
        wanted, least, current, scene.motion, tau, done, case.dose.even_passes
    )
    given = plan.delivered_with_decay * wanted / least  # s/m: dose over rate
    return DosePlan(
        depth=depth,
        dose=rate * given,
        under_absorber=float(under[0] * given),
        under_absorber_back=float(under[1] * given),
        scattered=scattered * given,
        time=plan.time_with_decay,
        time_constant_current=plan.time,
        passes=plan.passes_with_decay,
        passes_constant_current=plan.passes,
        charge_per_length=plan.charge_per_length,
        stroke_needed=stroke_for(scene, stripe, PERMILLE),
        stroke_for_1_percent=stroke_for(scene, stripe, PERCENT),
        unevenness=unevenness(field, *stripe, scene.motion),
        wanted=wanted,
        dose_per_pass=plan.dose_per_pass,
        done=done,
    )


def stroke_for(scene: Scene, stripe: tuple[Array, Array], lack: float) -> float:
    """Stroke (m) at which the dose at the field's edge lacks this share; of a scan.

    stripe : heights and power, as `lit_stripe` says
    """
    assert scene.motion is not None  # a held beam has no stroke
    field = scene.stack.pattern.field.height
    return needed_stroke(field, stripe_reach(*stripe, lack), scene.motion)


def _rates(scene: Scene, depth: Array) -> tuple[Array, Array, float]:
    """Power per depth in the open, under the absorber at both faces, and scattered there."""
    rate = scene.resist_dose_rate(False, depth)
    if not float(rate.min()) > 0:
        raise PhysicsError(
            "no light reaches the bottom of the resist: the dose is never reached; use a thinner "
            "membrane, filter or resist, or a higher ring energy"
        )
    return rate, scene.resist_dose_rate(True, depth[[0, -1]]), _scattered(scene, depth)


def _scattered(scene: Scene, depth: Array) -> float:
    """Upper estimate of the power per depth that open parts bring under a fine absorber, W/m2.

    All that fluorescence and Compton photons bring to the open resist, and as much of its own
    Rayleigh photons as of its Compton photons; the largest over the depth, times the open share of
    the field, as if pattern and its scattered light were mixed evenly.
    """
    column, number = scene.column(False), scene.resist_number(False)
    brought = _brought(scene.beam, column, number, depth)
    light = behind(scene.beam, column[:number])
    own = _brought(light, column[number : number + 1], 0, depth)
    mu = coefficients(column[number].material, light.energy)
    spectrum = light.power.sum(0)
    rayleigh = float(spectrum @ mu.rayleigh / (spectrum @ (mu.compton * (1 - mu.recoil))))
    open_share = 1 - float(np.mean(scene.stack.pattern.rows))
    return open_share * float((brought + rayleigh * own).max())


def _brought(beam: WhiteBeam, column: list[Piece], number: int, depth: Array) -> Array:
    """What fluorescence and Compton photons bring to one piece of a column, W/m2."""
    inside = depth[1:-1]  # the faces of a base shine for a few micrometres only
    with_, spot = (dose_rate(beam, column, number, inside, brought=b) for b in (True, False))
    return with_ - spot


def lit_stripe(scene: Scene) -> tuple[Array, Array]:
    """Heights of the rays (m) and the power each leaves at the resist's lit face, W/m."""
    heat = column_heat(scene.beam, scene.column(False, (0.0, FACE, 1.0)))
    return scene.beam.height, heat.heat[scene.resist_number(False)][0]


def lit_stripes(scene: Scene) -> tuple[Array, Array]:
    """Heights of the rays (m); the power each leaves at top, middle and base of the resist, W/m."""
    cuts = (0.0, FACE, (1 - FACE) / 2, (1 + FACE) / 2, 1 - FACE, 1.0)
    heat = column_heat(scene.beam, scene.column(False, cuts)).heat[scene.resist_number(False)]
    return scene.beam.height, heat[[0, 2, 4]]


def _held(scene: Scene, depth: Array) -> DosePlan:
    """Plan of a held beam: the light of the stripe's middle ray decides, W/m3 per height."""
    beam, case = scene.beam, scene.case
    step = beam.height[1] - beam.height[0]
    ray = beam.power[len(beam.height) // 2][None] / step
    middle = replace(scene, beam=replace(beam, height=np.zeros(1), power=ray))
    rate, under, scattered = _rates(middle, depth)
    wanted, lifetime = case.dose.bottom.value, case.ring.lifetime
    time = wanted / float(rate.min())
    swept = float(scene.resist_dose_rate(False, depth).min())
    return DosePlan(
        depth=depth,
        dose=rate * time,
        under_absorber=float(under[0] * time),
        under_absorber_back=float(under[1] * time),
        scattered=scattered * time,
        time=time if lifetime is None else time_with_decay(time, lifetime.value),
        time_constant_current=time,
        passes=None,
        passes_constant_current=None,
        charge_per_length=wanted * case.ring.current.value / swept,
        stroke_needed=None,
        stroke_for_1_percent=None,
        unevenness=None,
        wanted=wanted,
    )
