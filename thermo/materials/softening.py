"""How exposure lowers the softening temperature of PMMA.

The beam cuts the chains, and shorter chains soften earlier.
"""

from typing import overload

import numpy as np
from numpy.typing import NDArray

from thermo.errors import PhysicsError

__all__ = ["softening_by_dose"]

D_MEASURED = 2.4e9  # J/m3
T_UNEXPOSED, T_MEASURED = 391.15, 368.15  # K: 118 and 95 degC
SOURCE = "J. Appl. Phys. 102, 013528 (2007), abstract"


@overload
def softening_by_dose(dose: float) -> tuple[float, bool, str]: ...
@overload
def softening_by_dose(
    dose: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.bool_], str]: ...
def softening_by_dose(
    dose: float | NDArray[np.float64],
) -> tuple[float, bool, str] | tuple[NDArray[np.float64], NDArray[np.bool_], str]:
    """Softening temperature of PMMA after a dose D: its glass transition.

        T(D) = 118 degC - 23 K D / (2.4 kJ/cm3)      0 <= D <= 2.4 kJ/cm3
        T(D) <= 95 degC                                  D > 2.4 kJ/cm3

    Only the two ends are published; the line between them is an assumption. Above 2.4 kJ/cm3
    nothing is known, and the last value is an upper bound. The line is never continued: it would
    fall below room temperature within the doses in use.

    Parameters
    ----------
    dose : D, absorbed energy per volume, J/m3, scalar or array

    Returns
    -------
    temperature : T, K, shape of dose
    is_upper_bound : True where the softening temperature may lie below T
    source : text

    Raises
    ------
    PhysicsError : a dose below zero or not finite

    Source: J. Appl. Phys. 102, 013528 (2007), abstract.
    """
    D = np.asarray(dose, float)
    if not ((D >= 0) & np.isfinite(D)).all():
        raise PhysicsError(
            f"dose {D.min():.6g} to {D.max():.6g} J/m3; allowed: finite and not below zero; "
            "check the dose plan"
        )
    T = T_UNEXPOSED + (T_MEASURED - T_UNEXPOSED) * np.minimum(D / D_MEASURED, 1)
    above = D > D_MEASURED
    return (T, above, SOURCE) if isinstance(dose, np.ndarray) else (float(T), bool(above), SOURCE)
