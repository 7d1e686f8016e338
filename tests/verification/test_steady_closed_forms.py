"""Steady heat against closed forms: composite walls, absorbed light, the corner-patch block."""

import numpy as np
import pytest
from blocks import block, slab

from thermo.mesh import from_face


def cut(thickness, cells):
    return from_face(thickness, cells, 1.0)


def nothing(grid):
    return np.zeros(grid.active.shape)


def volume(grid):
    return grid.heights[:, None] * grid.plan.areas


def test_wall_with_heat_source_and_cooled_wall_in_series():
    """F. P. Incropera, D. P. DeWitt, composite wall with heat generation: 140, 115, 105 degC.

    Numbers from memory.  Nodal values are exact for an even source: only round-off is left.
    """
    T, _ = slab(
        [(cut(0.05, 8), 75.0), (cut(0.02, 3), 150.0)],
        0.0,
        1000.0,
        lambda grid: np.where(grid.layer[:, None] == 0, 1.5e6, 0.0) * volume(grid),
        sinks=(0.0, 30.0),
    )
    assert [T[0], T[8], T[-1]] == pytest.approx([140, 115, 105], rel=1e-8)


def test_three_layers_with_films_on_both_faces():
    """Closed form of the 1D composite, PMMA 0.5 / glue 0.1 / silicon 0.5 mm (derived)."""
    T, _ = slab(
        [(cut(0.5e-3, 6), 0.2), (cut(0.1e-3, 2), 0.3), (cut(0.5e-3, 2), 148.0)],
        300.0,
        2000.0,
        lambda grid: np.where(grid.layer[:, None] == 0, 2e6, 0.0) * volume(grid),
    )
    assert T[[0, 6]] == pytest.approx([1.04282739603, 0.574947943047], rel=1e-8)


def test_two_plates_across_an_exchange_layer():
    """Plates k = 40, 0.495 m each, 80 W/(m2 K) between them, ends at 100 and 300 (derived).

    The exchange layer is a cell with k = h d.  q = 5369.12751678 W/m2 through films of
    1e4 W/(m2 K) holds the ends; only round-off is left.
    """
    d, film, q = 1e-4, 1e4, 5369.12751678
    layers = [(cut(0.495, 2), 40.0), (cut(d, 1), 80.0 * d), (cut(0.495, 2), 40.0)]
    T, _ = slab(layers, film, film, nothing, sinks=(100.0 - q / film, 300.0 + q / film))
    assert T[[0, 2, 3, 5]] == pytest.approx([100, 166.442953020, 233.557046980, 300], rel=1e-8)


def test_wall_with_one_film():
    """Wall 0.05 m, k = 0.75, 400 W/m2 into the back, film 30 to 140 degC (derived): 126.67."""

    def heat(grid):
        last = np.arange(len(grid.heights)) == len(grid.heights) - 1
        return -400.0 * last[:, None] * grid.plan.areas

    T, found = slab([(cut(0.05, 4), 0.75)], 30.0, 0.0, heat, (140.0, 0.0))
    assert found.film_heat["top"] / 1e-6 == pytest.approx(-400, rel=1e-8)
    assert T[0] == pytest.approx(126.666667, abs=1e-5)


def test_light_absorbed_along_its_path_heats_an_insulated_face():
    """q0 mu exp(-mu z), insulated at z = 0, T = 0 at the back: closed form (derived).

    Heat is integrated over each cell, so only its place inside the cell is off: order 2.
    """
    q0, mu, L, k = 1000.0, 2000.0, 0.5e-3, 0.2

    def heat(grid):
        z = grid.levels
        return q0 * (np.exp(-mu * z[:-1]) - np.exp(-mu * z[1:]))[:, None] * grid.plan.areas

    exact = (q0 / k) * (L - (1 - np.exp(-mu * L)) / mu)
    assert exact == pytest.approx(0.919698602929, rel=1e-11)
    errors = [slab([(cut(L, n), k)], 0.0, 1e12, heat)[0][0] / exact - 1 for n in (8, 16, 32, 256)]
    assert abs(errors[0]) < 4e-3
    orders = np.log2(np.array(errors[:2]) / np.array(errors[1:3]))
    assert orders == pytest.approx([2, 2], abs=0.1)
    assert abs(errors[3]) < 3e-6


# The block: 10 x 10 mm, three layers, 1000 W/m2 on a corner patch of 2.5 x 2.5 mm; double cosine
# series in the style of H. S. Carslaw and J. C. Jaeger (derived), cross-checked with three
# general-purpose open-source finite-element and finite-volume codes.
PLACES = {
    (0, 1): 0.22143680778,
    (0, 2): 0.0438564985706,
    (0, 3): 0.0428126738524,
    (-1, 1): 0.0084758173641,
    (-1, 2): 0.0089536781366,
    (-1, 3): 0.0089259212519,
}


def patch_block(size, slabs, integration):
    lines = np.arange(0, 10e-3 + size / 2, size)
    layers = [(cut(0.5e-3, slabs[0]), 0.2), (cut(0.1e-3, slabs[1]), 0.3)]
    layers.append((cut(0.5e-3, slabs[2]), 148.0))

    def patch(plan):
        return (plan.centres < 2.5e-3).all(0)

    films = (300.0, 2000.0)
    return block(lines, lines, layers, *films, nothing, integration, flux=(patch, 1000.0))


def patch_errors(size, slabs, integration):
    _, found = patch_block(size, slabs, integration)
    level = np.concatenate([[0], np.cumsum(slabs)])
    return {
        place: found.T[level[place[1]], place[0]] / exact - 1 for place, exact in PLACES.items()
    }, found


def worst(errors):
    return max(abs(e) for e in errors.values())


@pytest.mark.parametrize(
    ("size", "slabs", "integration", "allowed"),
    [
        (0.25e-3, (8, 2, 3), "lumped", 1e-3),
        (0.25e-3, (8, 2, 3), "exact", 1e-3),
        pytest.param(0.125e-3, (16, 4, 4), "lumped", 3e-4, marks=pytest.mark.slow),
        pytest.param(0.125e-3, (16, 4, 8), "exact", 1e-4, marks=pytest.mark.slow),
    ],
)
def test_block_lit_on_a_corner_patch_agrees_with_the_series(size, slabs, integration, allowed):
    errors, _ = patch_errors(size, slabs, integration)
    assert worst(errors) < allowed


@pytest.mark.parametrize("integration", ["lumped", "exact"])
def test_block_converges_at_second_order(integration):
    """Under the corner on silicon, where the coarsest mesh is smooth enough; 0.1 is customary."""
    errors = [
        patch_errors(size, slabs, integration)[0][0, 2]
        for size, slabs in ((1.25e-3, (4, 2, 2)), (0.625e-3, (8, 4, 4)), (0.3125e-3, (16, 8, 8)))
    ]
    orders = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
    assert orders[-1] == pytest.approx(2, abs=0.1)


def test_lumped_integration_never_gives_a_negative_rise():
    _, found = patch_errors(1.25e-3, (4, 1, 1), "lumped")
    assert found.T.min() > -1e-9 * found.T.max()
