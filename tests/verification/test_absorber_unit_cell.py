"""Effective laws of a patterned absorber against resolved unit cells of square metal or openings.

A quarter of the periodic cell between symmetry planes, metal and void as they stand, solved by the
product's own elements. Stiffness in the plane is the force for an even strain in x and y, expansion
is what no force is needed for, conductivity the heat for one kelvin across. Gold 10 um on silicon
nitride 2 um and 15 um on graphite 150 um (typical values of the table); pitch 20 times and once the
whole thickness. Bulk modulus of the even layer over the metal's own:

    stack     kind       coverage   least   law    most    resolved 20x   resolved 1x
    nitride   islands      0.25     0       0.041   0.155     0.040          0.023
    nitride   islands      0.50     0       0.088   0.355     0.086          0.055
    nitride   islands      0.75     0       0.146   0.623     0.144          0.098
    nitride   connected    0.25     0.088   0.113   0.155     0.107          0.098
    nitride   connected    0.50     0.225   0.269   0.355     0.255          0.237
    nitride   connected    0.75     0.465   0.513   0.623     0.488          0.464
    graphite  islands      0.25     0       0.085   0.186     0.085          0.044
    graphite  islands      0.50     0       0.217   0.407     0.215          0.118
    graphite  islands      0.75     0       0.454   0.673     0.442          0.240
    graphite  connected    0.25     0.088   0.128   0.186     0.124          0.103
    graphite  connected    0.50     0.225   0.307   0.407     0.298          0.251
    graphite  connected    0.75     0.465   0.570   0.673     0.557          0.494

The law is made for wide features: there it is -0.2 to 5.3 % above the cell, because squares in an
array are no discs of all sizes. At a pitch of one thickness islands carry 52 to 67 % of it, metal
with openings 80 to 90 %. Curling of the spot beneath the metal is most of the story: held flat,
islands on nitride would carry four times as much. A square array has two shear moduli, along its
sides and along its diagonals; the law's one lies between them in all twelve cells.

Conductivity of the even layer in the plane, W/(m K), in helium, by metal and gas alone and by the
law with the membrane (3.2 of nitride, 90 of graphite, 300 of gold):

    stack     kind       coverage   alone    law      resolved 20x   resolved 1x
    nitride   islands      0.25       0.25     0.67       0.72           0.52
    nitride   islands      0.50       0.45     1.71       1.80           1.24
    nitride   islands      0.75       1.05     4.79       4.82           2.84
    nitride   connected    0.25      43.0     43.1       42.1           42.0
    nitride   connected    0.50     100.1    100.3       96.2           96.1
    nitride   connected    0.75     180.1    180.2      173.9          173.8
    graphite  islands      0.25       0.25    66.8       65.2           40.6
    graphite  islands      0.50       0.45   138.5      136.0           95.3
    graphite  islands      0.75       1.05   216.0      212.6          164.2
    graphite  connected    0.25      43.0     67.9       65.3           50.0
    graphite  connected    0.50     100.1    140.1      137.8          115.2
    graphite  connected    0.75     180.1    217.3      215.5          195.9

Wide islands on graphite add almost all of their metal, c times 300, to the membrane that links
them: for heat they are far from the islands in gas that they are when looked at alone.
"""

import numpy as np
import pytest
from expansion_bodies import at_corners, grid
from scipy.sparse import coo_array
from scipy.sparse.linalg import spsolve

from thermo.elastic import Held, Solid, hold
from thermo.elastic.hexahedron import plan_matrices
from thermo.materials import Sheet, metal_in_plane, patterned_metal, patterned_metal_bounds

STACKS = {
    "nitride": (Sheet(75e9, 0.42, 10e-6), Sheet(250e9, 0.24, 2e-6), 2.3e-6),
    "graphite": (Sheet(75e9, 0.42, 15e-6), Sheet(11e9, 0.2, 150e-6), 7e-6),
}
ALPHA = 14.2e-6  # gold, 1/K
ALL = [(s, k, c) for s in STACKS for k in ("islands", "connected") for c in (0.25, 0.5, 0.75)]


def quarter(half, coverage, kind, cells):
    """Plan of a quarter cell, finer towards the edge of the metal, and which cells have metal."""
    edge = half * np.sqrt(coverage if kind == "islands" else 1 - coverage)
    s = np.linspace(0, 1, cells + 1)
    x = np.append(edge * (1 - (1 - s) ** 1.5), edge + (half - edge) * s[1:] ** 1.5)
    points, quads = grid(x, x)
    inner = (points[:, quads].mean(axis=1) < edge).all(axis=0)
    return points, quads, inner if kind == "islands" else ~inner


def cell_body(stack, half, coverage, kind, cells=6):
    """Membrane and metal in two layers each, m."""
    metal, membrane, alpha = STACKS[stack]
    points, quads, on = quarter(half, coverage, kind, cells)
    t = [membrane.t / 2] * 2 + [metal.t / 2] * 2
    active = np.stack([np.ones_like(on)] * 2 + [on] * 2)
    rows = np.array(
        [(membrane.E, membrane.nu, alpha, 0.0)] * 2 + [(metal.E, metal.nu, ALPHA, 0)] * 2
    )
    each = (np.repeat(rows[:, [i]], len(on), axis=1) for i in range(4))
    return Solid(points, quads, np.append(0.0, np.cumsum(t)), active, *each)


def stiffness_and_expansion(solid):
    """Bulk modulus of the sheet, N/m, and its free expansion, 1/K, between planes of symmetry."""
    half = solid.points.max()
    low, high = np.isclose(solid.points, 0), np.isclose(solid.points, half)

    def force(strain, rise):
        u = np.zeros((*solid.exists.shape, 3))
        u[..., :2] = strain * solid.points.T
        planes = [Held(low[i] | high[i], "xy"[i], None, u) for i in (0, 1)]
        corner = Held(low.all(axis=0), "z", (0,))
        T = at_corners(solid, lambda x, y, z: np.full_like(x, rise))
        found = hold(solid, (*planes, corner)).expand(T)
        return found.reaction[:, high[0], 0].sum() / half

    pull = force(1.0, 0.0)
    return pull / 2, -force(0.0, 1.0) / pull


def shear_moduli(solid):
    """Shear moduli of the sheet, N/m, along its sides (strain 1, -1) and along its diagonals."""
    half, (x, y) = solid.points.max(), solid.points
    low, high = np.isclose(solid.points, 0), np.isclose(solid.points, half)
    no_rise = at_corners(solid, lambda x, y, z: 0 * x)

    def work(u_x, u_y, along_x, along_y):
        u = np.zeros((*solid.exists.shape, 3))
        u[..., 0], u[..., 1] = u_x, u_y
        planes = [Held(low[i] | high[i], (along_x, along_y)[i], None, u) for i in (0, 1)]
        corner = Held(low.all(axis=0), "z", (0,))
        found = hold(solid, (*planes, corner)).expand(no_rise)
        return (found.reaction * u).sum(where=solid.exists[..., None]) / half**2

    return work(x, -y, "x", "y") / 4, work(y, x, "yz", "xz") / 4


def layer_bulk(E, nu):
    return E / (2 * (1 - nu))


def resolved(stack, kind, coverage, pitches):
    """Bulk modulus of the even layer that a resolved cell stands for, Pa, and the cell's own."""
    metal, membrane, _ = STACKS[stack]
    half = pitches * (metal.t + membrane.t) / 2
    K, alpha = stiffness_and_expansion(cell_body(stack, half, coverage, kind))
    return (K - membrane.bulk * membrane.t) / metal.t, K, alpha


@pytest.mark.parametrize(("stack", "kind", "c"), ALL)
def test_the_law_is_that_of_a_resolved_cell_of_wide_features(stack, kind, c):
    """-1 to 6 % of the layer: squares in an array are no discs (worst 5.3 %), 1 % is the mesh."""
    metal, membrane, _ = STACKS[stack]
    found, _, _ = resolved(stack, kind, c, 20)
    law = layer_bulk(*patterned_metal(np.array(c), kind, metal, membrane))
    assert -0.01 < law / found - 1 < 0.06


@pytest.mark.parametrize(("stack", "kind", "c"), ALL)
def test_the_shear_of_the_law_lies_between_the_two_of_a_square_array(stack, kind, c):
    """Elementary: a pattern of all directions is between the extremes of one with few; 2 % mesh."""
    metal, membrane, _ = STACKS[stack]
    solid = cell_body(stack, 10 * (metal.t + membrane.t), c, kind)
    found = [(mu - membrane.shear * membrane.t) / metal.t for mu in shear_moduli(solid)]
    E, nu = patterned_metal(np.array(c), kind, metal, membrane)
    assert min(found) * 0.98 < E / (2 * (1 + nu)) < max(found) * 1.02


@pytest.mark.parametrize(("stack", "kind", "c"), ALL)
def test_features_as_fine_as_the_mask_is_thick_lie_between_the_bounds(stack, kind, c):
    """1 %: square openings go a little below the bound for holes, which is met by round ones."""
    metal, membrane, _ = STACKS[stack]
    found, _, _ = resolved(stack, kind, c, 1)
    least, most = patterned_metal_bounds(np.array(c), kind, metal, membrane)
    assert layer_bulk(*least) * 0.99 < found < layer_bulk(*most)
    share = found / layer_bulk(*patterned_metal(np.array(c), kind, metal, membrane))
    low, high = (0.5, 0.7) if kind == "islands" else (0.79, 0.93)  # measured, see the table
    assert low < share < high


@pytest.mark.parametrize(
    ("stack", "kind", "pitches"),
    [
        ("nitride", "islands", 1),
        ("nitride", "connected", 20),
        ("graphite", "islands", 20),
        ("graphite", "connected", 1),
    ],
)
def test_the_even_layer_expands_exactly_like_the_metal_at_any_pitch(stack, kind, pitches):
    """Levin's theorem for a continuous membrane, see the module; 1e-9 is round-off."""
    _, membrane, alpha_0 = STACKS[stack]
    _, K, alpha = resolved(stack, kind, 0.5, pitches)
    K_0 = membrane.bulk * membrane.t
    assert (K * alpha - K_0 * alpha_0) / (K - K_0) == pytest.approx(ALPHA, rel=1e-9)


@pytest.mark.parametrize(("stack", "kind"), [("nitride", "islands"), ("graphite", "connected")])
def test_an_even_layer_of_the_law_on_the_bare_membrane_is_the_sheet_it_stands_for(stack, kind):
    """Elementary: stiffness K_0 + K_layer, expansion by force; round-off alone."""
    metal, membrane, alpha_0 = STACKS[stack]
    E, nu = patterned_metal(np.array(0.5), kind, metal, membrane)
    whole = cell_body(stack, 1e-3, 0.5, kind, cells=1)
    on = np.ones_like(whole.active)
    rows = [np.array([[a], [a], [b], [b]]) * on for a, b in ((membrane.E, E), (membrane.nu, nu))]
    even = Solid(whole.points, whole.quads, whole.levels, on, *rows, whole.alpha, whole.tension)
    K, alpha = stiffness_and_expansion(even)
    K_0, layer = membrane.bulk * membrane.t, layer_bulk(E, nu) * metal.t
    assert pytest.approx(K_0 + layer, rel=1e-9) == K
    assert alpha == pytest.approx((K_0 * alpha_0 + layer * ALPHA) / K, rel=1e-9)


CONDUCTIVITY = {"nitride": 3.2, "graphite": 90.0}  # of the membrane, W/(m K), typical of the table
GOLD, GAS = 300.0, 0.15  # helium in the openings


def heat(points, quads, heights, k):
    """Heat through a square of layers for one kelvin across it, W; k is (layers, cells)."""
    mass, unit = plan_matrices(np.ascontiguousarray(points.T[quads.T]))
    along, across = np.array([[2, 1], [1, 2]]) / 6, np.array([[1, -1], [-1, 1]])
    levels = points.shape[1] * np.arange(len(heights) + 1)
    rows, values = [], []
    for low, high, h, own in zip(levels[:-1], levels[1:], heights, k, strict=True):
        cell = h * np.kron(along, unit) + np.kron(across, mass) / h
        rows.append(np.concatenate([quads + low, quads + high]).T)
        values.append(own[:, None, None] * cell)
    nodes = np.concatenate(rows)
    i, j = np.repeat(nodes[:, :, None], 8, 2), np.repeat(nodes[:, None, :], 8, 1)
    K = coo_array((np.concatenate(values).ravel(), (i.ravel(), j.ravel()))).tocsr()
    x = np.tile(points[0] / points.max(), len(levels))
    T = np.isclose(x, 1).astype(float)
    inside = ~(np.isclose(x, 0) | np.isclose(x, 1))
    T[inside] = spsolve(K[inside][:, inside].tocsc(), -(K @ T)[inside])
    return T @ (K @ T)


@pytest.mark.parametrize(
    ("kind", "c", "cell"),
    [
        ("islands", 0.25, 0.2597),
        ("islands", 0.5, 0.4696),
        ("islands", 0.75, 1.0739),
        ("connected", 0.25, 41.91),
        ("connected", 0.5, 95.85),
        ("connected", 0.75, 173.33),
    ],
)
def test_the_conductivity_of_the_layer_alone_is_that_of_a_resolved_cell(kind, c, cell):
    """Gold in helium, 300 and 0.15 W/(m K): the law is 0.250, 0.449, 1.046 and 43.0, 100.1, 180.1.

    5 %: squares lie inside the bound (4.5 % worst), on the side that it allows. `cell` is the same
    cell on a mesh 3 times finer, within 0.1 %.
    """
    points, quads, on = quarter(1.0, c, kind, 12)
    found = heat(points, quads, [1.0], np.where(on, GOLD, GAS)[None])
    assert found == pytest.approx(cell, rel=1e-3)
    law = float(metal_in_plane(GOLD, GAS, 0.0, np.array(c), kind))
    assert law == pytest.approx(found, rel=0.05)
    assert (law < found) == (kind == "islands")


def sheet_heat(stack, coverage, kind, pitches, k_gas=GAS):
    """Conductance of membrane and metal in the plane, W/K, and that of the membrane alone."""
    metal, membrane, _ = STACKS[stack]
    half = pitches * (metal.t + membrane.t) / 2
    points, quads, on = quarter(half, coverage, kind, 6)
    bare = np.full(len(on), CONDUCTIVITY[stack])
    k = np.stack([bare] * 2 + [np.where(on, GOLD, k_gas)] * 2)
    heights = [membrane.t / 2] * 2 + [metal.t / 2] * 2
    return heat(points, quads, heights, k), CONDUCTIVITY[stack] * membrane.t


def layer_heat(stack, c, kind, pitches):
    """Conductivity of the even layer: law, resolved, and the law of metal and gas alone."""
    sheet, bare = sheet_heat(stack, c, kind, pitches)
    t = STACKS[stack][0].t
    alone, law = (float(metal_in_plane(GOLD, GAS, b, np.array(c), kind)) for b in (0.0, bare / t))
    return law, (sheet - bare) / t, alone


@pytest.mark.parametrize(("stack", "kind", "c"), ALL)
def test_the_conductivity_over_a_membrane_is_that_of_a_resolved_cell_of_wide_features(
    stack, kind, c
):
    """7 %: squares in an array are no discs (6.2 % worst), 1 % of it is the mesh."""
    law, found, _ = layer_heat(stack, c, kind, 20)
    assert law == pytest.approx(found, rel=0.07)


@pytest.mark.parametrize(("stack", "kind", "c"), ALL)
def test_features_as_fine_as_the_mask_is_thick_conduct_between_gas_alone_and_the_law(
    stack, kind, c
):
    """Elementary: heat that must first cross to the metal takes the poorer way; 7 % as above, for
    squares against discs."""
    law, found, alone = layer_heat(stack, c, kind, 1)
    assert alone * 0.93 < found < law * 1.001


def test_gold_islands_on_half_of_a_nitride_film_make_three_of_it():
    """A film that conducts far worse than its islands: 3 for discs, 3.12 for a square array."""
    sheet, bare = sheet_heat("nitride", 0.5, "islands", 200, k_gas=1e-6)
    assert sheet / bare == pytest.approx(3.12, rel=0.01)  # the mesh
