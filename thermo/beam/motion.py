"""Up-and-down motion through the standing beam, and the time spent at each place.

Trapezoidal speed: v over the middle, acceleration a at both ends of the stroke L:

    s_a = v^2/(2a)      length of each turn-around                                    (1)
    t_pass = L/v + v/a  one way                                                       (2)
    L_eff = L + v^2/a   stroke that would take t_pass at full speed                   (3)

Plain kinematics.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from thermo.beam.quadrature import gauss_legendre
from thermo.errors import PhysicsError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Motion:
    """Scan of stroke (m), speed (m/s) and acceleration (m/s2); the stroke's middle is y = 0."""

    stroke: float
    speed: float
    acceleration: float

    def __post_init__(self) -> None:
        if not self.stroke * self.acceleration >= self.speed**2 * (1 - 1e-12):
            raise PhysicsError(
                f"a stroke of {1e3 * self.stroke:.4g} mm is too short to reach "
                f"{1e3 * self.speed:.4g} mm/s at {self.acceleration:.4g} m/s2; "
                f"it takes {1e3 * self.speed**2 / self.acceleration:.4g} mm"
            )

    @property
    def turn(self) -> float:
        """Length of one turn-around, m, equation (1)."""
        return self.speed**2 / (2 * self.acceleration)

    @property
    def pass_time(self) -> float:
        """Time of one pass, s, equation (2)."""
        return self.stroke / self.speed + self.speed / self.acceleration

    @property
    def effective_stroke(self) -> float:
        """Stroke at full speed that takes as long, m, equation (3)."""
        return self.stroke + self.speed**2 / self.acceleration

    def places(self, step: float) -> tuple[Array, Array]:
        """Places of the stripe during a pass and the share of time at each (they sum to 1).

        Gauss-Legendre in time on the even part and on each turn-around, about `step` m apart.
        """
        turn, a = self.turn, self.acceleration
        even = max(self.stroke / 2 - turn, 0.0)
        x, w = gauss_legendre(int(np.ceil(2 * even / step)) + 8)
        u, q = gauss_legendre(int(np.ceil(4 * turn / step)) + 8)
        slow = (u + 1) / 2 * self.speed / a  # time before the stop
        ends = self.stroke / 2 - a * slow**2 / 2
        place = np.concatenate([-ends, even * x, ends])
        time = np.concatenate(
            [q * self.speed / (2 * a), w * even / self.speed, q * self.speed / (2 * a)]
        )
        return place, time / time.sum()


STILL = (np.zeros(1), np.ones(1))  # places and shares of a sample that does not move


def mean_over_scan(
    height: Array, profile: Array, places: tuple[Array, Array], edges: Array
) -> Array:
    """Mean power in each vertical interval of the moving parts, W/m, shape (profiles, intervals).

    height : heights of the rays, m, even spacing;  profile : W/m in each ray, (profiles, heights)
    places : places of the stripe and shares of time;  edges : ends of the intervals, m
    """
    below = _power_below(height, profile)
    place, share = places
    at_edges = sum(
        s * below(edges - y) for y, s in zip(place.tolist(), share.tolist(), strict=True)
    )
    return np.asarray(np.diff(at_edges, axis=-1))


def _power_below(height: Array, profile: Array) -> Callable[[Array], Array]:
    """Power under a given height as a function, (profiles, ...), exact in total."""
    step = height[1] - height[0]
    curve = CubicSpline(height, profile / step, axis=-1, bc_type="natural").antiderivative()
    total, whole = profile.sum(-1, keepdims=True), curve(height[-1])[..., None]
    scale = np.divide(total, whole, out=np.zeros_like(total), where=whole > 0)

    def below(y: Array) -> Array:
        return np.asarray(curve(np.clip(y, height[0], height[-1])) * scale)

    return below
