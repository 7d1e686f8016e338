"""The exposure plan: passes, time and charge for a wanted dose, and evenness over the field.

    passes N = ceil(D v / G(z))                                                       (1)
    charge per length of scan = D I / G(z)                                            (2)
    time at decaying current t = -tau_b ln(1 - t0/tau_b)                              (3)
    needed stroke = Y + 2 k sigma + 2 s_a                                             (4)

D wanted dose (J/m3) at depth z, G power absorbed per depth at ring current I, v speed, t0 time
at constant current, tau_b ring lifetime, Y field height, sigma beam height (standard deviation).
k = 3 for 0.1 % dose unevenness.  (3) is the integral of exp(-t/tau_b) set to t0.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.beam.motion import Motion, mean_over_scan
from thermo.errors import PhysicsError

Array = NDArray[np.float64]
FWHM_PER_SIGMA = 2 * math.sqrt(2 * math.log(2))


@dataclass(frozen=True)
class Exposure:
    """How long the exposure takes.

    passes, time : at the starting current throughout, s
    passes_with_decay, time_with_decay : with the ring's lifetime (equal where none is given)
    dose_per_pass : J/m3 at the depth where the dose is wanted
    charge_per_length : ring charge per length of scan, A s/m
    """

    passes: int
    time: float
    passes_with_decay: int
    time_with_decay: float
    dose_per_pass: float
    charge_per_length: float


def exposure(
    dose: float, rate: float, current: float, motion: Motion, lifetime: float | None = None
) -> Exposure:
    """Passes and time for a dose (J/m3) where the beam deposits rate G (W/m2); equations (1)-(3).

    Raises PhysicsError when the decaying beam can never give the dose.
    """
    per_pass = rate / motion.speed
    needed = dose / per_pass
    slowly = needed
    if lifetime is not None:
        slowly = time_with_decay(needed * motion.pass_time, lifetime) / motion.pass_time
    passes, slow_passes = (math.ceil(n * (1 - 1e-12)) for n in (needed, slowly))
    return Exposure(
        passes,
        passes * motion.pass_time,
        slow_passes,
        slow_passes * motion.pass_time,
        per_pass,
        dose * current / rate,
    )


def time_with_decay(time: float, lifetime: float) -> float:
    """Time (s) at exponentially decaying current for what takes `time` at constant current, (3)."""
    if not time < lifetime:
        raise PhysicsError(
            f"the dose takes {time / 3600:.3g} h at constant current and can never be reached with "
            f"a lifetime of {lifetime / 3600:.3g} h; refill the ring or use a thinner filter"
        )
    return -lifetime * math.log1p(-time / lifetime)


def needed_stroke(field: float, sigma: float, motion: Motion, k: float = 3.0) -> float:
    """Stroke (m) that gives an even dose over a field of height `field`, equation (4)."""
    return field + 2 * k * sigma + 2 * motion.turn


def unevenness(field: float, height: Array, profile: Array, motion: Motion) -> float:
    """Peak-to-valley dose unevenness over the field's height, share of the mean dose.

    height : heights of the rays, m;  profile : W/m in each ray
    """
    sigma = math.sqrt(float((profile * height**2).sum() / profile.sum()))
    edges = np.linspace(-field / 2, field / 2, 401)
    dose = mean_over_scan(height, profile[None], motion.places(sigma / 4), edges)[0]
    # the outermost places, not only the interval means beside them
    first = 1.5 * dose[[0, -1]] - 0.5 * dose[[1, -2]]
    dose = np.concatenate([dose, first])
    return float((dose.max() - dose.min()) / dose.mean())
