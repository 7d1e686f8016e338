"""Bodies whose expansion is known exactly: free, linearly heated, confined, strained at the rim."""

import numpy as np
import pytest
from expansion_bodies import at_corners, at_nodes, body, grid, rim

from thermo.elastic import FaceSprings, Held, Pins, cell_stress, expand
from thermo.elastic.supports import rigid_motions

ALPHA = 2.6e-6
X = np.array([-25e-3, -11e-3, 2e-3, 9e-3, 25e-3])  # uneven boxes
Y = np.array([-25e-3, -3e-3, 8e-3, 25e-3])
Z = np.array([0.0, 0.2e-3, 0.525e-3])


def skewed():
    """Uneven grid whose inner nodes are moved: no cell is a box."""
    points, quads = grid(X, Y)
    inner = (np.abs(points) < 24e-3).all(axis=0)
    moved = points + inner * 3e-3 * np.sin(np.array([[7.0], [5.0]]) * np.arange(points.shape[1]))
    return moved, quads


@pytest.mark.parametrize("plan", [grid(X, Y), skewed()], ids=["boxes", "skewed"])
def test_a_free_body_grows_by_alpha_times_rise_without_stress(plan):
    """TE-FREE, elementary: 1 K on silicon; the field is in the space of the element on any cells.

    1e-10: round-off alone. The pins may leave a rigid turn on skewed cells: it is taken out.
    """
    solid = body(plan, Z, alpha=ALPHA)
    rise = at_corners(solid, lambda x, y, z: np.ones_like(x))
    found = expand(solid, rise, (Pins(0),))
    x = at_nodes(solid, lambda x, y, z: np.stack([x, y, z], axis=-1))
    excess = (found.u - ALPHA * x).ravel()
    modes = rigid_motions(solid, np.zeros(3)).reshape(-1, 6)
    excess -= modes @ np.linalg.lstsq(modes, excess, rcond=None)[0]
    assert np.abs(excess).max() < 1e-10 * 130e-9
    assert np.abs(cell_stress(solid, found.u, rise)).max() < 1e-9 * 130e9 * ALPHA


def test_a_silicon_piece_of_50_mm_grows_by_130_nm_a_kelvin():
    """TE-FREE, elementary: 2.6e-6 x 50 mm; 1e-10 is round-off."""
    solid = body(grid(X, Y), Z, alpha=ALPHA)
    found = expand(solid, at_corners(solid, lambda x, y, z: np.ones_like(x)), (Pins(0),))
    assert np.ptp(found.u[0, :, 0]) == pytest.approx(130e-9, rel=1e-10)


def free_of_stress(plan, a):
    """Worst displacement and stress of a free body under a linear rise, as shares.

    u_x = alpha (a0 x + a1 (x2 - y2 - z2)/2 + a2 x y + a3 x z), and cyclic: no stress.

    Returns
    -------
    off : largest error of displacement over the largest displacement
    stress : largest stress over E alpha dT, dT the spread of the rise, at least 1 K
    """
    a0, a1, a2, a3 = a
    solid = body(plan, Z, alpha=ALPHA)

    def exact(x, y, z):
        linear = a0 + a1 * x + a2 * y + a3 * z
        r2 = x**2 + y**2 + z**2
        return ALPHA * np.stack(
            [x * linear - a1 * r2 / 2, y * linear - a2 * r2 / 2, z * linear - a3 * r2 / 2], axis=-1
        )

    rise = at_corners(solid, lambda x, y, z: a0 + a1 * x + a2 * y + a3 * z)
    u = at_nodes(solid, exact)
    clamp = Held(np.arange(solid.points.shape[1]) < 3, "xyz", None, u)  # holds at exact values
    found = expand(solid, rise, (clamp,))
    stress = np.abs(cell_stress(solid, found.u, rise)).max()
    off = np.abs(found.u - u).max() / np.abs(u).max()
    return off, stress / (130e9 * ALPHA * max(np.ptp(rise), 1.0))


@pytest.mark.parametrize(
    "a", [(1, 0, 0, 0), (0, 40, 0, 0), (0, 0, 40, 0), (0, 0, 0, 2000), (2, 30, -20, 900)]
)
def test_a_free_box_with_a_linear_rise_has_no_stress_and_the_exact_displacement(a):
    """TE-LINEAR-T, Boley & Weiner (from memory); zero strain energy checked by hand.

    1e-9 of E alpha dT is round-off: on boxes the inner modes carry the quadratic part of this
    field exactly.
    """
    off, stress = free_of_stress(grid(X, Y), a)
    assert off < 1e-9
    assert stress < 1e-9


def test_a_rise_linear_along_the_beam_leaves_skewed_cells_without_stress():
    """TE-LINEAR-T on skewed cells, along z: in the space of the element, round-off alone."""
    off, stress = free_of_stress(skewed(), (2, 0, 0, 900))
    assert off < 1e-9
    assert stress < 1e-9


@pytest.mark.parametrize("a", [(0, 40, 0, 0), (0, 0, 40, 0)])
def test_a_rise_linear_in_the_plane_stresses_skewed_cells_by_a_few_per_cent_and_less_when_finer(a):
    """TE-LINEAR-T on skewed cells, in the plane: NOT exact, and this is how far off.

    The inner modes 1 - xi2 and 1 - eta2 are quadratics of x and y on parallelograms alone. On
    twelve cells bent by a third of their width 0.023 and 0.036 of E alpha dT are left; on 32 x 32
    cells bent by a fifth 0.0034 and 0.0026. The shipped plans are boxes or smooth rings.
    """
    assert 1e-3 < free_of_stress(skewed(), a)[1] < 0.045
    x = np.linspace(-25e-3, 25e-3, 33)
    points, quads = grid(x, x)
    inner = (np.abs(points) < 24.9e-3).all(axis=0)
    turn = np.sin(np.array([[7.0], [5.0]]) * np.arange(points.shape[1]))
    fine = points + inner * 0.2 * (x[1] - x[0]) * turn, quads
    assert free_of_stress(fine, a)[1] < 0.005


@pytest.mark.parametrize(
    ("hold", "component", "expected"),
    [("xyz", 0, -7.0e6), ("xy", 0, -3.230769230769e6), ("x", 0, -2.1e6)],
)
def test_confined_blocks_reach_the_elementary_stress(hold, component, expected):
    """TE-RIGID, elementary: -E alpha dT over (1 - 2 nu), (1 - nu), 1; 1e-10 is round-off."""
    x = np.array([0.0, 1e-3, 3e-3])
    solid = body(grid(x, x), [0.0, 1e-3, 1.5e-3], E=3e9, nu=0.35, alpha=70e-6)
    rise = at_corners(solid, lambda x, y, z: np.full_like(x, 10.0))
    everywhere = np.ones(solid.points.shape[1], bool)
    supports = [Held(everywhere, hold)]
    if hold != "xyz":
        supports.append(Held(solid.points[1] == 0, "y"))
        supports.append(Held(everywhere, "z", (0,)))
    sigma = cell_stress(solid, expand(solid, rise, tuple(supports)).u, rise)
    assert sigma[..., component] == pytest.approx(np.full((2, 4, 3), expected), rel=1e-10)


@pytest.mark.parametrize("strain", range(6))
def test_constant_strain_passes_the_patch_test_on_skewed_cells(strain):
    """Patch test (B. M. Irons, common practice): rim moved linearly, inside exact to round-off."""
    solid = body(skewed(), Z)
    e = np.zeros(6)
    e[strain] = 1e-4
    grad = np.array([[e[0], e[5], e[4]], [0, e[1], e[3]], [0, 0, e[2]]])
    u = at_nodes(solid, lambda x, y, z: np.stack([x, y, z], axis=-1) @ grad.T)
    no_rise = at_corners(solid, lambda x, y, z: 0 * x)
    clamp = rim(solid)
    faces = Held(np.ones(solid.points.shape[1], bool), "xyz", (0, 2), u)  # middle level stays free
    found = expand(solid, no_rise, (Held(clamp.nodes, "xyz", None, u), faces))
    assert np.abs(found.u - u).max() < 1e-10 * np.abs(u).max()
    sigma = cell_stress(solid, found.u, no_rise)
    mu, lam = 130e9 / (2 * 1.28), 130e9 * 0.28 / (1.28 * 0.44)
    hooke = np.append(lam * e[:3].sum() + 2 * mu * e[:3], mu * e[3:])  # engineering shear
    assert np.abs(sigma - hooke).max() < 1e-9 * np.abs(hooke).max()


def test_a_thin_plate_of_skewed_cells_bends_exactly_under_a_linear_gradient():
    """TE-LINEAR-T for z alone on skewed cells: the element holds constant curvature."""
    solid = body(skewed(), [0.0, 0.1e-3], alpha=ALPHA)
    rise = at_corners(solid, lambda x, y, z: z / 0.1e-3)
    found = expand(solid, rise, (Pins(0),))
    x, y = solid.points
    bow = -ALPHA / 0.1e-3 * (x**2 + y**2) / 2  # grows most at the upper face: edges move to -z
    terms = np.column_stack([np.ones_like(x), x, y])
    tilt = np.linalg.lstsq(terms, found.u[0, :, 2] - bow, rcond=None)[0]
    assert np.abs(found.u[0, :, 2] - bow - terms @ tilt).max() < 1e-8 * np.ptp(bow)
    assert np.abs(cell_stress(solid, found.u, rise)).max() < 1e-7 * 130e9 * ALPHA


def test_a_base_that_grows_like_the_body_puts_no_stress_on_it():
    """Elementary: glue between two bodies of equal growth carries nothing; round-off alone."""
    solid = body(skewed(), Z, alpha=ALPHA)
    rise = at_corners(solid, lambda x, y, z: np.full_like(x, 10.0))
    found = expand(solid, rise, (FaceSprings(-1, 1e13, 3e13, growth=ALPHA * 10),))
    assert np.abs(cell_stress(solid, found.u, rise)).max() < 1e-9 * 130e9 * ALPHA * 10
    assert found.u[0, :, 0] == pytest.approx(ALPHA * 10 * solid.points[0], rel=1e-9, abs=1e-18)
