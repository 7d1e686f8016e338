"""Edge stress of resist on silicon: closed formulas by hand, and a fine strip in plane strain."""

import numpy as np
import pytest
from expansion_bodies import at_corners, body, grid

from thermo.elastic import Held, cell_stress, edge_stress, expand
from thermo.errors import PhysicsError

E, NU = np.array([3e9, 160e9]), np.array([0.35, 0.22])  # PMMA, silicon; from memory
STRAIN = 5.0 * np.array([70e-6, 2.6e-6])
H = np.array([1e-3, 0.5e-3])


def test_pmma_on_silicon_has_the_edge_force_and_the_shear_of_shear_lag():
    """TE-SHEARLAG, E. Suhir, J. Appl. Mech. 53 (1986) 657 (from memory): 0.7865 N/mm, 1.089 MPa.

    Interfacial compliance h/(3 G) of both layers; 1e-3 as the check demands.
    """
    found = edge_stress(E, NU, STRAIN, H)
    assert found.force == pytest.approx(786.5, rel=1e-3)
    assert found.shear == pytest.approx(1.089e6, rel=1e-3)


def strip(per_layer=10, first=10e-6, length=12e-3):
    """Stress near the free end x = 0 of a strip one cell across, resist below, cells fine there.

    Returns x of the cells, m, and their stress (level, cell, height, component), Pa, and levels, m.
    """
    x = [0.0]
    while x[-1] < length:
        x.append(x[-1] + first * max(1.0, (x[-1] / 0.3e-3) ** 1.1))
    share = np.linspace(0, 1, per_layer + 1) ** 2
    levels = np.concatenate([H[0] * (1 - share[::-1]), H[0] + H[1] * share[1:]])
    layer = np.repeat([0, 1], per_layer)
    solid = body(
        grid(np.array(x), np.array([0.0, 0.2e-3])),
        levels,
        E=E[layer],
        nu=NU[layer],
        alpha=STRAIN[layer],
    )
    far = solid.points[0] == solid.points[0].max()
    plane = Held(np.ones(far.shape, bool), "y")
    rise = at_corners(solid, lambda x, y, z: 1 + 0 * x)
    supports = (plane, Held(far, "x"), Held(far, "z", (per_layer,)))
    sigma = cell_stress(solid, expand(solid, rise, supports).u, rise)
    return solid.corners.mean(axis=1)[:, 0], sigma, levels


def test_a_fine_strip_carries_the_force_the_shear_and_the_pressing_of_the_estimate():
    """TE-SHEARLAG, plane strain by finite elements: 1.12 MPa of shear 0.1 mm from the edge, 5 %.

    The estimate's peak against it: 5 %. Across the joint the estimate at x = 0 against the strip at
    0.05 mm: 30 %, as the strip's own value grows without end towards the edge.
    """
    x, sigma, levels = strip()
    joint = len(levels) // 2
    across = (sigma[joint - 1, :, 2] + sigma[joint, :, 0]) / 2  # both sides of the joint
    found = edge_stress(E, NU, STRAIN, H)
    force = -(np.diff(levels)[:joint] @ sigma[:joint, :, 1, 0])
    assert force[np.argmax(x)] == pytest.approx(found.force, rel=1e-3)
    shear = np.interp(0.1e-3, x, across[:, 4])
    assert shear == pytest.approx(1.12e6, rel=0.05)
    assert shear == pytest.approx(found.shear, rel=0.05)
    assert np.interp(0.05e-3, x, across[:, 2]) == pytest.approx(found.peel, rel=0.3)


def test_peel_solves_its_equation():
    """Equation (3) and its ends by finite differences of 10 um, elementary; 2 % by the step."""
    found = edge_stress(E, NU, STRAIN, H)
    stiff = E / (1 - NU**2)
    D, n = stiff * H**3 / 12, (H / (3 * stiff)).sum()
    g, k = (H[0] / D[0] - H[1] / D[1]) / 2, found.shear / found.force
    count, step = 800, 10e-6
    fourth = np.zeros((count, count))
    for place, weight in ((0, 6.0), (1, -4.0), (2, 1.0)):
        side = np.full(count - place, weight)
        fourth += np.diag(side, place) + (np.diag(side, -place) if place else 0)
    fourth[0, :3], fourth[1, :2] = (2.0, -4.0, 2.0), (-2.0, 5.0)  # both ends' ghost points
    load = g * k * found.shear * np.exp(-k * step * np.arange(count))
    load[0] -= 2 * g * found.shear / step
    p = np.linalg.solve(n / step**4 * fourth + (1 / D).sum() * np.eye(count), load)
    assert found.peel == pytest.approx(p[0], rel=0.02)
    assert abs(p[0] / 2 + p[1:].sum()) < 0.01 * np.abs(p).sum()


def test_a_shrinking_resist_lifts_its_edge_and_glue_spreads_the_shear():
    """Signs, elementary: all three turn with the strain; glue leaves the force and lowers the peak.

    With glue of twice the layers' compliance the shear falls by sqrt 3, equation (2).
    """
    grown, shrunk = edge_stress(E, NU, STRAIN, H), edge_stress(E, NU, -STRAIN, H)
    assert grown.force == -shrunk.force
    assert shrunk.force < 0 < shrunk.peel
    layers = (2 * H * (1 + NU) / (3 * E)).sum()
    glued = edge_stress(E, NU, STRAIN, H, 2 * layers)
    assert glued.force == grown.force
    assert glued.shear == pytest.approx(grown.shear / np.sqrt(3), rel=1e-12)


def test_equal_layers_of_equal_growth_carry_nothing():
    found = edge_stress(E, np.array([0.3, 0.3]), np.full(2, 1e-4), H)
    assert found.force == found.shear == found.peel == 0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"E": np.array([3e9, 0.0])}, "E is 3e.09 and 0 Pa"),
        ({"nu": np.array([0.6, 0.2])}, "nu is 0.6 and 0.2"),
        ({"h": np.array([1e-3, np.nan])}, "thickness is 0.001 and nan m"),
        ({"strain": np.array([np.nan, 0.0])}, "strain is nan"),
        ({"glue": -1.0}, "glue is -1 m/Pa"),
        ({"h": np.array([1e-3])}, "needs 2 values each"),
    ],
)
def test_layers_that_are_none_are_refused(change, words):
    with pytest.raises(PhysicsError, match=words):
        edge_stress(**({"E": E, "nu": NU, "strain": STRAIN, "h": H} | change))
