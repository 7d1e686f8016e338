"""How exposure lowers the softening temperature of PMMA.

The beam cuts the chains, and shorter chains soften earlier. The published values are rows of the
materials table.
"""

from typing import overload

import numpy as np
from numpy.typing import NDArray

from thermo.errors import PhysicsError
from thermo.materials.table import material

__all__ = ["softening_by_dose"]


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
    rows = [(row.dose, row.temperature) for row in material("PMMA").softening]
    D_measured, T_measured = np.array(rows, float).T
    T = np.asarray(np.interp(D, D_measured, T_measured))
    above = D_measured[-1] < D
    source = material("PMMA").softening[-1].source
    return (T, above, source) if isinstance(dose, np.ndarray) else (float(T), bool(above), source)
