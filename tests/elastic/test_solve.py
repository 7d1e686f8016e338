"""Numbering, dissection and refinement against a dense solve, balances, and more than one load."""

import dataclasses

import numpy as np
import pytest
from elastic_blocks import framed, slab, warm

from thermo.elastic import FaceSprings, Held, Pins, expand, hold
from thermo.elastic.columns import stretches
from thermo.elastic.dissection import dissect, elimination_order
from thermo.elastic.loads import corner_gather, corner_strain, nodal_forces, outer_forces


def clamps(solid):
    """Levels held apart from each other, some with a displacement, and springs: all at once."""
    side = solid.points[0] == solid.points[0].min()
    moved = np.zeros((*solid.exists.shape, 3))
    moved[..., 2] = 1e-6
    moved[..., 0] = 2e-6
    return (
        Held(side, "xyz", (0, 3), moved),
        Held(solid.points[1] == solid.points[1].max(), "y", (1, 2)),
        FaceSprings(3, 1e12, 3e12, growth=1e-5),
        FaceSprings(0, 2e11, 0.0),
    )


def dense(held, load):
    """Displacement by a dense solve for plain nodal displacements, from K applied to unit ones."""
    solid, shape = held.solid, held.restraint.held.shape
    units = np.eye(np.prod(shape)).reshape(*shape, -1) * solid.exists[:, :, None, None]
    K = held._force(stretches(units, solid.exists)).reshape(units.shape[-1], -1)
    fixed = held.restraint.held.ravel()
    free = np.repeat(solid.exists.ravel(), 3) & ~fixed
    u = held.restraint.displacement.ravel().copy()
    f = load.ravel() - K[:, fixed] @ u[fixed]
    u[free] = np.linalg.solve(K[np.ix_(free, free)], f[free])
    return np.where(solid.exists[..., None], u.reshape(shape), np.nan)


@pytest.mark.parametrize("solid", [slab(5, 4, (1e-3, 2e-3, 1e-3)), framed()], ids=["slab", "voids"])
def test_the_answer_equals_a_dense_solve_for_nodal_displacements(solid):
    """Voids, clamps on separate levels, prescribed displacement, springs; 1e-8: dense round-off."""
    held = hold(solid, clamps(solid))
    rise = warm(solid)
    strain = corner_strain(solid, rise[None], np.zeros((1, *solid.active.shape)))
    load = nodal_forces(held.gather, held.F @ strain) + held._springs()
    found = held.expand(rise)
    assert found.u == pytest.approx(dense(held, load), rel=1e-8, abs=1e-14, nan_ok=True)
    assert np.isnan(found.u[..., 0]).sum() == (~solid.exists).sum()
    assert found.residual < 1e-11
    assert found.balance < 1e-12


def test_forces_on_the_unknowns_do_the_work_of_the_nodal_forces():
    """f'x = r'u for clamps on separate levels: one map is the transpose of the other; round-off."""
    solid = framed()
    held = hold(solid, clamps(solid))
    random = np.random.default_rng(3)
    x = random.normal(size=(len(held.columns.free), 1))
    r = random.normal(size=(*held.restraint.held.shape, 1)) * solid.exists[:, :, None, None]
    u = np.cumsum(held.columns.unknowns(x), axis=0)
    assert u[held.restraint.held] == pytest.approx(0, abs=1e-13)
    assert (held.columns.forces(r) * x).sum() == pytest.approx((r * u).sum(), rel=1e-12)


def test_every_column_is_eliminated_once_and_the_last_part_leaves_nothing():
    solid = slab(7, 5)
    part = dissect(solid.quads, solid.corners, np.arange(35), 4)
    assert sorted(elimination_order(part)) == list(range(48))
    assert len(part.rest) == 0


def test_several_loads_at_once_equal_the_same_loads_alone():
    """1e-9: the same refinement, stopped by the worst of them."""
    solid = framed()
    held = hold(solid, (Pins(2),))
    rises = np.stack([warm(solid, 1), warm(solid, 2)])
    both = held.expand(rises).u
    for one, rise in zip(both, rises, strict=True):
        alone = held.expand(rise).u
        assert one == pytest.approx(alone, abs=1e-9 * np.nanmax(np.abs(alone)), nan_ok=True)


def test_the_response_is_linear_in_the_rise():
    """Elementary: u(2 a - 3 b) = 2 u(a) - 3 u(b); 1e-8: residual 1e-11, bending is soft."""
    solid = slab()
    held = hold(solid, (Pins(0),))
    a, b = warm(solid, 1), warm(solid, 2)
    u = held.expand(2 * a - 3 * b).u
    v = 2 * held.expand(a).u - 3 * held.expand(b).u
    assert u == pytest.approx(v, abs=1e-8 * np.abs(v).max())


def test_a_jump_of_rise_between_cells_loads_each_cell_with_its_own():
    """A layer warmed alone curls the slab; the same heat as a continuous field does less."""
    solid = slab(layers=(0.5e-3, 0.5e-3))
    jump = np.zeros((2, 6, 2, 4))
    jump[1] = 1.0
    ramp = jump.copy()
    ramp[0, :, 1] = ramp[1, :, 0] = 0.5
    held = hold(solid, (Pins(0),))
    assert np.ptp(held.expand(jump).u[0, :, 2]) > 1.05 * np.ptp(held.expand(ramp).u[0, :, 2])


def test_pressure_is_carried_by_the_clamp():
    """Force and moment balance by hand, without the solver's own check: p times area; round-off."""
    solid = slab(4, 4)
    edge = Held(np.abs(solid.points[0]) > 4.99e-3, "xyz")
    found = expand(solid, np.zeros((2, 16, 2, 4)), (edge,), pressure=100.0)
    force = found.reaction.sum(axis=(0, 1))
    assert force == pytest.approx([0, 0, -100.0 * 1e-4], abs=1e-12)
    x, y, z = solid.points[0], solid.points[1], solid.levels[:, None]
    rx, ry, rz = np.moveaxis(found.reaction, -1, 0)
    assert (x * rz - z * rx).sum() == pytest.approx(0, abs=1e-13)
    assert (y * rz - z * ry).sum() == pytest.approx(0, abs=1e-13)


def test_pressure_reaches_the_membrane_over_an_opening():
    """The lit face of a column is its lowest solid cell; p times area by hand, round-off."""
    solid = framed()
    edge = Held(np.abs(solid.points).max(axis=0) > 4.99e-3, "xyz")
    found = expand(solid, np.zeros((4, 16, 2, 4)), (edge,), pressure=100.0)
    assert found.reaction[..., 2].sum() == pytest.approx(-100.0 * 1e-4, rel=1e-10)


def test_a_body_force_does_the_work_of_its_integral():
    """int b v dV for b = z and v = z in one direction: area t3/3 by hand, layer by layer; exact."""
    solid = slab()
    b = np.zeros((2, 6, 2, 4, 3))
    b[..., 0, :, 1], b[..., 1, :, 1] = solid.levels[:2, None, None], solid.levels[1:, None, None]
    f = outer_forces(solid, corner_gather(solid.quads, 12), None, b)
    assert (f[..., 1] * solid.levels[:, None]).sum() == pytest.approx(1e-4 * 1e-9 / 3, rel=1e-12)
    assert f[..., 1].sum() == pytest.approx(1e-4 * 1e-6 / 2, rel=1e-12)


def test_pins_carry_no_force():
    """Three-two-one pins are statically determinate: a heated body leans on none of them."""
    solid = framed()
    held = hold(solid, (Pins(2),))
    strain = corner_strain(solid, warm(solid)[None], np.zeros((1, *solid.active.shape)))
    load = nodal_forces(held.gather, held.F @ strain)
    found = held.expand(warm(solid))
    assert np.abs(found.reaction).max() < 1e-9 * np.abs(load).max()  # round-off of the refinement


def test_a_body_that_is_moved_as_a_whole_pushes_back_nowhere():
    """Rigid motion by clamps on all nodes of one side; the rest follows without a reaction."""
    solid = slab()
    x, y = solid.points
    z = solid.levels[:, None]
    turn = np.array([1e-4, -2e-4, 3e-4])
    zero = np.zeros((3, len(x)))
    place = np.stack([x + zero, y + zero, z + zero], axis=-1)
    u = np.cross(turn, place) + np.array([1e-6, 2e-6, -1e-6])
    found = expand(solid, np.zeros((2, 6, 2, 4)), (Held(x == x.min(), "xyz", None, u),))
    assert np.abs(found.u - u).max() < 1e-9 * np.abs(u).max()
    strained = 53e9 * np.abs(u).max() * 1e-2  # force of such a displacement as a stretch, N
    assert np.abs(found.reaction).max() < 1e-9 * strained


def test_a_symmetric_load_does_not_shift_the_middle():
    """Symmetry: even load about both axes on an even mesh pinned in its middle; 1e-10 round-off."""
    even = slab(4, 4)
    x = np.array([-5e-3, -2e-3, 0.0, 2e-3, 5e-3])
    points = np.array([np.repeat(x, 5), np.tile(x, 5)])
    solid = dataclasses.replace(even, points=points)
    spot = np.exp(-((solid.corners / 3e-3) ** 2).sum(axis=2))
    rise = np.broadcast_to(spot[:, None, :], (2, 16, 2, 4))
    u = expand(solid, rise, (Pins(0),)).u
    assert np.abs(u[:, 12, :2]).max() < 1e-10 * np.abs(u).max()
    flipped = u.reshape(3, 5, 5, 3)[:, ::-1]
    assert u.reshape(3, 5, 5, 3) == pytest.approx(flipped * [-1, 1, 1], abs=1e-10 * np.abs(u).max())


def test_void_values_are_not_read():
    solid = framed()
    blank = np.where(solid.active, solid.E, np.nan)
    rise = np.where(solid.active[:, :, None, None], warm(solid), np.nan)
    with_nan = expand(dataclasses.replace(solid, E=blank), rise, (Pins(2),)).u
    assert with_nan == pytest.approx(expand(solid, warm(solid), (Pins(2),)).u, nan_ok=True)


@pytest.mark.slow
def test_thirty_thousand_unknowns_take_seconds():
    """1.3 s on one core where this was written; 30 s only catches a lost order of magnitude."""
    from time import perf_counter

    solid = slab(44, 44, (0.25e-3,) * 4, side=80e-3)
    start = perf_counter()
    found = expand(solid, warm(solid), (Pins(0),))
    assert found.unknowns == 45 * 45 * 5 * 3 - 6
    assert perf_counter() - start < 30
