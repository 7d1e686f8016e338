"""The exposure plan: passes, time and charge for a wanted dose, and evenness over the field.

    dose of a pass D_1 = G/v,  passes' worth n = D/D_1                                (1)
    charge per length of scan q = D I/G = n I/v = Q/L_eff                             (2)
    time at decaying current t = -tau_b ln(1 - t0/tau_b)                              (3)
    passes' worth of N passes at decaying current (tau_b/T)(1 - exp(-N T/tau_b))      (4)
    needed stroke = Y + 2 r + 2 s_a + 2 |y_m|                                         (5)

D wanted dose (J/m3) at depth z, G power absorbed per depth at ring current I, v speed, Q charge,
T time of a pass, t0 time at constant current, tau_b ring lifetime, Y field height, y_m place of the
stripe at mid-stroke, r its reach: beyond it lies the share of its power that the dose at the
field's edge may lack.  For a Gaussian r = k sigma, k = 3 for 0.1 %, 2.33 for 1 % (common
practice).  (3) is (4) set to n T = t0.  Arithmetic.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.beam.motion import Scan, mean_over_scan
from thermo.errors import PhysicsError

Array = NDArray[np.float64]
MOST = 1e9  # passes; round-off would decide on the last one beyond
ROUND_OFF = 1e-12


@dataclass(frozen=True)
class Exposure:
    """How long the exposure takes, or what is left of it after a stop.

    needed : passes' worth at the starting current that the whole dose takes, not rounded
    passes, time : whole passes still to give at the starting current, and their time, s
    delivered : dose then given in all, share of the wanted one
    passes_with_decay, time_with_decay, delivered_with_decay : the same with the ring's lifetime
        (equal where none is given)
    dose_per_pass : J/m3 at the starting current, at the depth where the dose is wanted
    charge_per_length : ring charge per length of scan for the whole wanted dose, A s/m
    step : dose of one pass as a share of the dose given in all
    """

    needed: float
    passes: int
    time: float
    delivered: float
    passes_with_decay: int
    time_with_decay: float
    delivered_with_decay: float
    dose_per_pass: float
    charge_per_length: float
    step: float


def exposure(
    dose: float,
    rate: float,
    current: float,
    motion: Scan,
    lifetime: float | None = None,
    done: float = 0.0,
    even: bool = False,
) -> Exposure:
    """Passes and time for a dose (J/m3) where the beam deposits rate G (W/m2); equations (1)-(4).

    current : ring current that G belongs to and the exposure starts, or goes on, at, A
    lifetime : of the ring current from then on, s;  done : passes' worth given before a stop
    even : round the passes to give up to an even number, so that mask and sample end where they
        start and as many passes run up as down

    Raises PhysicsError where the beam, or the decaying beam, can never give the dose.
    """
    _check_done(done)
    per_pass = rate / motion.speed
    needed = dose / per_pass if per_pass > 0 else math.inf
    if not 0 < needed <= MOST:
        raise PhysicsError(
            f"the dose takes {needed:.3g} passes at {per_pass:.3g} J/m3 each and can never be "
            f"reached; allowed: above 0, at most {MOST:.0e}; use a thinner filter or a slower scan"
        )
    T, left = motion.pass_time, max(needed - done, 0.0)
    slowly = left if lifetime is None else time_with_decay(left * T, lifetime) / T
    passes, slow = (_whole(n, needed, even) for n in (left, slowly))
    worth = float(slow)
    if lifetime is not None:
        worth = -lifetime / T * math.expm1(-slow * T / lifetime)
    return Exposure(
        needed,
        passes,
        passes * T,
        (done + passes) / needed,
        slow,
        slow * T,
        (done + worth) / needed,
        per_pass,
        needed * current / motion.speed,
        1 / (done + passes),
    )


def _check_done(done: float) -> None:
    if not 0 <= done <= MOST:
        raise PhysicsError(
            f"the passes given before the stop are {done:.4g}; allowed: 0 to {MOST:.0e} passes' "
            "worth at the ring current of the plan; give 0 for a new exposure"
        )


def _whole(n: float, needed: float, even: bool) -> int:
    """Whole passes for n passes' worth, an even number where wanted."""
    whole = math.ceil(n - ROUND_OFF * needed)
    return whole + whole % 2 if even else whole


def passes_done(charge_per_length: float, current: float, speed: float) -> float:
    """Passes' worth at a ring current (A) that a logged charge per length (A s/m) stands for, (2).

    n = q v/I;  speed v of the plan, m/s
    """
    return charge_per_length * speed / current


def charge_per_length(charge: float, motion: Scan) -> float:
    """Ring charge per length of scan, A s/m, of a ring charge (A s) while it scans, (2)."""
    return charge / motion.effective_stroke


def time_with_decay(time: float, lifetime: float) -> float:
    """Time (s) at exponentially decaying current for what takes `time` at constant current, (3)."""
    if not time < lifetime:
        raise PhysicsError(
            f"the dose takes {time / 3600:.3g} h at constant current and can never be reached with "
            f"a lifetime of {lifetime / 3600:.3g} h; refill the ring or use a thinner filter"
        )
    return -lifetime * math.log1p(-time / lifetime)


def needed_stroke(field: float, reach: float, motion: Scan) -> float:
    """Stroke (m) that gives an even dose over a field of height `field`, equation (5).

    reach : how far the stripe reaches from its middle, m: k sigma, or as `stripe_reach` says
    """
    return field + 2 * reach + 2 * motion.turn + 2 * abs(motion.middle)


def stripe_reach(height: Array, profile: Array, share: float) -> float:
    """Height (m) above which only this share of an even stripe's power lies.

    height : heights of the rays, m;  profile : W/m in each ray
    """
    above = profile[::-1].cumsum()[::-1] - profile / 2
    return float(np.interp(-share, -above / profile.sum(), height))


def unevenness(field: float, height: Array, profile: Array, motion: Scan) -> float:
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
