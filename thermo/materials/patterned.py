"""Patterned absorber as an even layer: what metal on a share of the membrane conducts and carries.

Metal is bonded to a membrane that runs on beneath it. Both stretch as one sheet of two phases in
the plane: the bare membrane, 0, and the membrane with its metal, 1. A one-sided metal also curls
the spot beneath it, and curling is soft, so stretch and curvature are kept together:

    (force, moment) = 2 K (strain, curvature)
    K_1 - K_0 = k_m [[t, t z], [t z, t^3/12 + t z^2]]                                          (1)
    K_layer = c [(K_1 - K_0)^-1 + (1 - c)(K_0 + M*)^-1]^-1                                     (2)

K holds the bulk moduli k = E/(2 (1 - nu)) of plane stress over the thickness, M the same with the
shear moduli mu = E/(2 (1 + nu)); z is the distance of the metal's middle from that of the membrane,
t the metal's thickness. M* is M of the phase that surrounds the other: the bare membrane round
islands, the covered one round openings. (2) is what the metal adds to a bare membrane that is kept
flat in the large; it is exact for coated discs, in which the displacement along the radius and the
slope obey one equation. Shear goes the same way, with what resists it round a spot,

    M_layer = c [(M_1 - M_0)^-1 + (1 - c)(M_0 + H*)^-1]^-1,   H* = k mu/(k + 2 mu) in stretch,
                                                              mu_b + 2 k_b in bending          (3)

where k, mu and k_b, mu_b are stretch and bending of K and M of the surrounding phase about its
neutral plane; bending follows from stretch because slopes of a plate obey the equations of a stress
function. Without curling, numbers in place of matrices, (2) and (3) are the bounds of Hashin and
Shtrikman.

The layer that stands for the metal expands exactly like the metal, whatever the pattern: the mean
strain of a continuous membrane is that of the sheet, so the membrane's force is that of a bare
one; all the rest is force in the metal, and one expansion sets it (V. M. Levin, Mekh. Tverd. Tela
2 (1967) 88; B. W. Rosen and Z. Hashin, Int. J. Eng. Sci. 8 (1970) 157; both from memory).

It holds for features wide against the thickness of membrane and metal together. Finer ones carry
less, because force needs a few metal thicknesses from an edge to get into the metal and because a
thick membrane strains past the feature. A membrane's tension s0 holds those flat that are wider
than sqrt(D/(s0 t)) of the covered membrane, 0.3 mm for 10 um of gold on a stretched foil, and then
they carry more. The bounds have both.

Sources: Z. Hashin and S. Shtrikman, J. Mech. Phys. Solids 11 (1963) 127; Z. Hashin, J. Mech. Phys.
Solids 13 (1965) 119, the 2D form; the matrices are worked out here. From memory.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermo.errors import PhysicsError

Array = NDArray[np.float64]
Kind = Literal["islands", "connected"]
Moduli = tuple[Array, Array]  # Young's modulus, Pa, and Poisson ratio
ROUNDING = 1e-9


@dataclass(frozen=True)
class Sheet:
    """An even layer stretched in its plane.

    E, nu, t : Young's modulus, Pa, Poisson ratio, thickness, m

    Raises
    ------
    PhysicsError : E or t not above zero, nu not between -1 and 0.5
    """

    E: float
    nu: float
    t: float

    def __post_init__(self) -> None:
        if not (0 < self.E < np.inf and 0 < self.t < np.inf and -1 < self.nu < 0.5):
            raise PhysicsError(
                f"sheet has E = {self.E:.6g} Pa, nu = {self.nu:.6g}, t = {self.t:.6g} m; allowed:"
                " E and t above zero, nu between -1 and 0.5; mend the material or the layer"
            )

    @property
    def bulk(self) -> float:
        """Bulk modulus in the plane, E/(2 (1 - nu)), Pa."""
        return self.E / (2 * (1 - self.nu))

    @property
    def shear(self) -> float:
        """Shear modulus, E/(2 (1 + nu)), Pa."""
        return self.E / (2 * (1 + self.nu))


def metal_in_plane(
    k_metal: float, k_gas: float, k_beneath: float, coverage: Array, kind: Kind
) -> Array:
    """In-plane conductivity of the absorber layer, W/(m K), shape of coverage c.

        s_0 = k_b + k_g,   s_1 = k_b + k_m
        k = k_g + c [1/(k_m - k_g) + (1 - c)/(s_0 + s*)]^-1

    Membrane and metal conduct as one sheet of two phases in the plane, bare, 0, and covered, 1,
    each per thickness of the metal; the layer adds s - k_b to the membrane.  s* is s_1 for metal
    with openings ("connected") and s_0 for islands, which the membrane beneath links: 3 times the
    bare sheet at c = 0.5 if they conduct far better.  These are the bounds for isotropic patterns.

    Heat crosses between the two within sqrt(R/(1/(k t) + 1/(k_0 t_0))), R = t/(3 k) + t_0/(3 k_0):
    1 um for gold on a nitride film, 35 um on 150 um of graphite.  The law holds for features wide
    against that; finer islands come down to k_b = 0, where only gas links them.

    Parameters
    ----------
    k_metal, k_gas : of the metal, and of what fills its openings, W/(m K)
    k_beneath : k_b, conductivity times thickness of the membrane over the metal's thickness
    coverage, kind : as in `patterned_metal`

    Source: Z. Hashin and S. Shtrikman, J. Appl. Phys. 33 (1962) 3125, 2D form from memory.
    """
    c, d = coverage, k_metal - k_gas
    s_0, s_1 = k_beneath + k_gas, k_beneath + k_metal
    around = s_0 + (s_1 if kind == "connected" else s_0)
    return np.asarray(k_gas + c * d * around / (around + (1 - c) * d))


def patterned_metal(coverage: Array, kind: Kind, metal: Sheet, membrane: Sheet) -> Moduli:
    """Young's modulus and Poisson ratio of the even layer that stands for a patterned absorber.

        k = (K_layer)_00/t,   mu = (M_layer)_00/t   by (2) and (3) of the module
        E = 4 k mu/(k + mu),   nu = (k - mu)/(k + mu)

    The layer has the metal's full thickness and, exactly, the metal's expansion.

    Parameters
    ----------
    coverage : share c of the area under metal, any shape
    kind : "islands", or "connected" metal with openings
    metal, membrane : the sheets when whole

    Returns
    -------
    E, nu : Pa and -, shape of coverage; the metal's own at c = 1; E falls to 0 with c

    Raises
    ------
    PhysicsError : a coverage outside 0 to 1
    """
    c = _checked(coverage)
    return _moduli(c, *_curling(c, kind, metal, membrane))


def patterned_metal_bounds(
    coverage: Array, kind: Kind, metal: Sheet, membrane: Sheet
) -> tuple[Moduli, Moduli]:
    """Least and most that a patterned absorber carries in its plane, as `patterned_metal`.

    Least: islands so narrow that they carry nothing; connected metal as a sheet with free holes,

        E = E_m c/(3 - 2 c),   nu = (nu_m + (1 - c)(1 - nu_m))/(3 - 2 c)

    for any nu_m: both moduli at their upper bound for holes, without any help of the membrane.

    Most: all metal held flat, in the best arrangement: (2) without curling, the covered membrane
    round the bare one.

    Returns
    -------
    least, most : each (E, nu), Pa and -, shape of coverage

    Raises
    ------
    PhysicsError : a coverage outside 0 to 1
    """
    c = _checked(coverage)
    most = _moduli(c, *_flat(c, metal, membrane))
    if kind == "islands":
        return (np.zeros_like(c), np.full_like(c, metal.nu)), most
    return _holes(c, metal), most


def _holes(c: Array, metal: Sheet) -> Moduli:
    """Sheet with free holes: upper bound of Hashin and Shtrikman, any Poisson ratio."""
    f = 1 - c
    return metal.E * c / (1 + 2 * f), (metal.nu + f * (1 - metal.nu)) / (1 + 2 * f)


def _checked(coverage: Array) -> Array:
    c = np.asarray(coverage, float)
    if not ((c >= -ROUNDING) & (c <= 1 + ROUNDING)).all():
        raise PhysicsError(
            f"coverage is {c.min():.6g} to {c.max():.6g}, allowed: 0 to 1; mend the pattern"
        )
    return np.asarray(np.clip(c, 0.0, 1.0))


def _flat(c: Array, metal: Sheet, membrane: Sheet) -> tuple[Array, Array]:
    """Bulk and shear modulus of covered round bare, over c, Pa, by (2) and (3) without curling."""
    k_0, mu_0 = membrane.bulk * membrane.t, membrane.shear * membrane.t
    dk, dmu = metal.bulk * metal.t, metal.shear * metal.t
    k, mu = k_0 + dk, mu_0 + dmu
    bulk = 1 / (1 / dk + (1 - c) / (k_0 + mu))
    shear = 1 / (1 / dmu + (1 - c) / (mu_0 + mu * k / (k + 2 * mu)))
    return bulk / metal.t, shear / metal.t


def _curling(c: Array, kind: Kind, metal: Sheet, membrane: Sheet) -> tuple[Array, Array]:
    """Bulk and shear modulus of the layer over c, Pa, by (2) and (3)."""
    t, t_0 = metal.t / (metal.t + membrane.t), membrane.t / (metal.t + membrane.t)
    bare = np.diag([t_0, t_0**3 / 12])  # lengths in units of the whole thickness
    added = np.array([[t, t / 2], [t / 2, t**3 / 12 + t / 4]])  # z is half the whole thickness
    K, M = membrane.bulk * bare, membrane.shear * bare
    if kind == "connected":
        K, M = K + metal.bulk * added, M + metal.shear * added
    k = _carried(c, metal.bulk * added, membrane.bulk * bare + M)
    mu = _carried(c, metal.shear * added, membrane.shear * bare + _hold_of_shear(K, M))
    return k / t, mu / t


def _carried(c: Array, added: Array, around: Array) -> Array:
    """Stretch by (2) over c, as A [1 + (1 - c) S^-1 A]^-1: a thin film's A is all but singular."""
    share = np.eye(2) + (1 - c)[..., None, None] * np.linalg.solve(around, added)
    return np.asarray((added @ np.linalg.inv(share))[..., 0, 0])


def _hold_of_shear(K: Array, M: Array) -> Array:
    """H* of (3), found about the neutral plane and brought back to the membrane's middle."""
    shift = np.array([[1.0, -M[0, 1] / M[0, 0]], [0.0, 1.0]])
    (k, k_b), (mu, mu_b) = (np.diag(shift.T @ X @ shift) for X in (K, M))
    back = np.linalg.inv(shift)
    return np.asarray(back.T @ np.diag([mu * k / (k + 2 * mu), mu_b + 2 * k_b]) @ back)


def _moduli(c: Array, k: Array, mu: Array) -> Moduli:
    """E, Pa, and nu of bulk and shear moduli c k and c mu."""
    return 4 * c * k * mu / (k + mu), (k - mu) / (k + mu)
