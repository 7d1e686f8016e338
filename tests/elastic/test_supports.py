"""Supports that hold and supports that do not; hostile bodies and loads."""

import dataclasses

import numpy as np
import pytest
from elastic_blocks import framed, slab, warm

from thermo.elastic import FaceSprings, Held, Pins, cell_stress, expand, hold
from thermo.errors import PhysicsError, SolveError, WarmstackError

ALL = np.ones(12, bool)


def test_pins_hold_six_components():
    held = hold(slab(), (Pins(0),)).restraint.held
    assert held.sum() == 6
    assert held.sum(axis=(0, 1)).tolist() == [1, 2, 3]


@pytest.mark.parametrize(
    ("supports", "words"),
    [
        ((), "stop 0 of 6"),
        ((Pins(0, along_beam=False),), "stop 3 of 6"),
        ((FaceSprings(2, 0.0, 1e12),), "stop 3 of 6 rigid motions; add pins"),
        ((Held(ALL, "xy", (0,)),), "still move along z"),
        ((Held(np.arange(12) == 0, "xyz"),), "still turn about z"),
        ((Held(ALL, "z"), Held(np.arange(12) == 0, "xy")), "turn about z: its supports stop 5"),
        ((Pins(7),), "levels 0 to 2, got 7"),
        ((FaceSprings(2, -1.0, 1e12),), "got kt -1"),
        ((FaceSprings(2, 1e12, np.nan),), "kn nan N/m3"),
        ((FaceSprings(2, 1e12, 1e12, growth=np.inf),), "growth inf"),
        ((FaceSprings(2, 1e12, 1e12, cells=np.zeros(6, bool)),), "got 0 cells"),
        ((FaceSprings(2, 1e12, 1e12, cells=np.ones(5, bool)),), "the 6 plan cells"),
        ((Held(~ALL, "xyz"),), "holds 0 nodes"),
        ((Held(ALL[:3], "xyz"),), r"shape \(3,\), needs \(12,\)"),
        ((Held(ALL, "xr"),), "of x, y, z, got 'xr'"),
        ((Held(ALL, ""),), "got ''"),
        ((Held(ALL, "xyz", None, np.full((3, 12, 3), np.nan)),), "finite, got nan"),
    ],
)
def test_supports_that_do_not_hold_are_refused_before_solving(supports, words):
    with pytest.raises(PhysicsError, match=words):
        hold(slab(), supports)


def test_springs_of_a_sliding_back_and_pins_in_its_plane_hold():
    solid = slab()
    found = expand(solid, warm(solid), (FaceSprings(2, 0.0, 1e12), Pins(2, along_beam=False)))
    assert found.reaction[..., 2] == pytest.approx(np.zeros((3, 12)))


def test_a_loose_piece_is_found_although_the_other_is_held():
    solid = slab(4, 2)
    active = solid.active.copy()
    active[:, 2:4] = False  # cuts the slab in two
    cut = dataclasses.replace(solid, active=active)
    with pytest.raises(PhysicsError, match="a piece of"):
        hold(cut, (Held(cut.points[0] == cut.points[0].min(), "xyz"),))


def test_pieces_that_touch_in_an_edge_only_are_no_body():
    solid = slab(2, 2, (1e-3,))
    hinged = dataclasses.replace(solid, active=np.array([[True, False, False, True]]))
    with pytest.raises(SolveError, match="hangs by an edge or a corner"):
        hold(hinged, (Held(np.arange(9) < 2, "xyz"),))


def test_patches_at_the_corners_hold_less_than_the_whole_face():
    """Common sense of tape: fewer joined facets leave more growth."""
    solid = slab(6, 6, (0.5e-3,), side=100e-3)
    middle = solid.corners.mean(axis=1)
    corner = (np.abs(middle) > 30e-3).all(axis=1)
    rise = np.full((1, 36, 2, 4), 10.0)
    growth = [
        np.ptp(expand(solid, rise, (FaceSprings(1, 1e10, 1e12, cells),)).u[0, :, 0])
        for cells in (corner, None)
    ]
    assert growth[0] > 1.5 * growth[1]


def dart():
    """Plan nodes with one inner node drawn back through the diagonal of its cell."""
    points = slab().points.copy()
    points[:, 4] = points[:, 0] + 0.3 * (points[:, 4] - points[:, 0])
    return points


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"levels": np.array([0.0, 1e-3, 1e-3])}, "smallest step is 0 m"),
        ({"levels": np.array([0.0, np.nan, 1e-3])}, "finite"),
        ({"points": np.full((2, 12), np.inf)}, "finite"),
        ({"quads": slab().quads[::-1]}, "counter-clockwise"),
        ({"points": dart()}, "convex"),
        ({"quads": slab().quads + 5}, "nodes 0 to 11, got 5 to 16"),
        ({"active": np.zeros((2, 6), bool)}, "0 solid cells"),
        ({"active": np.ones((3, 6), bool)}, r"active has shape \(3, 6\), needs \(2, 6\)"),
        ({"E": np.zeros((2, 6))}, "E must lie between 0 and 1e.13 Pa, got 0 to 0"),
        ({"E": np.full((2, 6), np.nan)}, "got nan to nan Pa"),
        ({"nu": np.full((2, 6), 0.5)}, "got 0.5 to 0.5"),
        ({"alpha": np.full((2, 6), 2.6)}, "per kelvin"),
        ({"tension": np.full((2, 6), -1e6)}, "buckling"),
    ],
)
def test_a_wrong_body_is_refused_with_the_number_and_the_way_out(changes, words):
    with pytest.raises(PhysicsError, match=words):
        slab(**changes)


@pytest.mark.parametrize(
    ("load", "words"),
    [
        ({"rise": np.full((2, 6, 2, 4), np.nan)}, "finite K"),
        ({"rise": np.zeros((2, 6, 4))}, r"got shape \(2, 6, 4\)"),
        ({"pressure": np.nan}, "pressure must be finite"),
        ({"pressure": np.ones(5)}, r"shape \(6,\), got shape \(5,\)"),
        ({"body_force": np.full((2, 6, 2, 4, 3), np.inf)}, "finite N/m3"),
        ({"body_force": np.zeros((2, 6, 3))}, r"got \(2, 6, 3\)"),
    ],
)
def test_a_wrong_load_is_refused(load, words):
    arguments = {"rise": warm(slab())} | load
    with pytest.raises(PhysicsError, match=words):
        expand(slab(), supports=(Pins(0),), **arguments)


def test_a_sheet_too_thin_for_double_precision_is_refused_and_not_answered():
    """A free foil of 1 um and 0.2 m: its shear is lost in the digits of its deflection."""
    solid = slab(20, 20, (1e-6,), side=0.2)
    rise = np.zeros((1, 400, 2, 4))
    rise[:, :, 1] = 1.0
    with pytest.raises(SolveError, match=r"relative residual .* initial tension"):
        expand(solid, rise, (Pins(0),))


def test_a_body_that_is_held_everywhere_needs_no_solve():
    solid = framed()
    everywhere = Held(np.ones(solid.points.shape[1], bool), "xyz")
    found = expand(solid, warm(solid), (everywhere,))
    assert found.unknowns == 0
    assert np.nanmax(np.abs(found.u)) == 0


def test_stress_is_nan_in_void_cells_only():
    solid = framed()
    sigma = cell_stress(solid, expand(solid, warm(solid), (Pins(2),)).u, warm(solid))
    assert (np.isnan(sigma).all(axis=(2, 3)) == ~solid.active).all()
    assert np.isnan(sigma).any(axis=(2, 3)).sum() == (~solid.active).sum()


def test_errors_of_this_room_have_the_one_root():
    with pytest.raises(WarmstackError):
        slab(nu=np.full((2, 6), 0.5))
