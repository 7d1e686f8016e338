"""Heat conductance of a gas gap between two plates, from continuum to free-molecular flow.

    1/h = d/k + 1/h_fm                                                                (1)
    h_fm = a p (g + 1)/(g - 1) sqrt(R/(8 pi M T)),   1/a = 1/alpha_1 + 1/alpha_2 - 1  (2)

d width, k conductivity of the dilute gas (independent of pressure), p pressure, g ratio of heat
capacities, M molar mass, alpha accommodation coefficients of the two walls.  For a monatomic gas
(1) equals the temperature-jump law.  Gas at rest, |T1 - T2| << T; no radiation, and no free
convection, which does not start in gaps under 30 mm.

Sources: F. S. Sherman's interpolation, reviewed by G. S. Springer, Adv. Heat Transfer 7 (1971)
163; (2) M. Knudsen (1911); all from memory.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import R

from thermo.errors import PhysicsError

Array = NDArray[np.float64]


def gap_conductance(
    d: ArrayLike,
    k: float,
    T: float,
    p: float,
    M: float,
    g: float,
    alpha: tuple[float, float],
) -> Array:
    """Conductance h of the gap, W/(m2 K), shape of d; heat flux q = h (T1 - T2).

    Parameters
    ----------
    d : gap width, m;  k : gas conductivity at T, W/(m K);  T : mean gas temperature, K
    p : pressure, Pa;  M : molar mass, kg/mol;  g : ratio of heat capacities
    alpha : accommodation coefficients of the two walls, each in (0, 1]

    Raises
    ------
    PhysicsError : d <= 0, p <= 0, T <= 0, or alpha outside (0, 1]
    """
    d = np.asarray(d, float)
    if not (d > 0).all():
        raise PhysicsError(
            f"gap width must be > 0 m, got {d.min():.4g} m; model contact as a joint"
        )
    if not (p > 0 and T > 0):
        raise PhysicsError(f"gas needs pressure and temperature > 0, got {p:.4g} Pa and {T:.4g} K")
    if not all(0 < a <= 1 for a in alpha):
        raise PhysicsError(f"accommodation coefficients must lie in (0, 1], got {alpha}")
    a = 1 / (1 / alpha[0] + 1 / alpha[1] - 1)
    h_fm = a * p * (g + 1) / (g - 1) * np.sqrt(R / (8 * np.pi * M * T))
    return np.asarray(1 / (d / k + 1 / h_fm))
