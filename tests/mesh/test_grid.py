"""Grid, interpolation and field files."""

import meshio
import numpy as np
import pytest

from thermo.mesh import Plan, extrude, interpolation, rectangle_plan, write_grid

PLAN = rectangle_plan(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 1.0, 2.0]))
SKEWED = Plan(
    np.array([[0.0, 1.0, 2.0, 0.1, 1.2, 2.0, 0.0, 0.9, 2.1], [0, 0.1, 0, 1, 0.8, 1.1, 2, 2, 2.2]]),
    np.array([[0, 1, 3, 4], [1, 2, 4, 5], [4, 5, 7, 8], [3, 4, 6, 7]]),
)
ALL = np.ones(6, bool)
RING = np.array([True, False, True, True, True, True])  # a hole in the second cell


def grid():
    """Two layers: a full one in two slabs, and one with a hole."""
    return extrude(PLAN, [np.array([0, 0.5, 1.0]), np.array([0, 2.0])], [ALL, RING], -1.0)


def test_levels_layers_and_slabs_of_an_extruded_grid():
    found = grid()
    assert found.levels.tolist() == [-1.0, -0.5, 0.0, 2.0]
    assert found.heights.tolist() == [0.5, 0.5, 2.0]
    assert found.layer.tolist() == [0, 0, 1]
    assert (found.slabs(0), found.slabs(1)) == (slice(0, 2), slice(2, 3))
    assert found.shape == (4, 12)


def test_only_nodes_that_touch_something_are_used():
    assert grid().node_used.all()  # every corner of the hole has another neighbour
    lonely = np.array([True, False, False, False, False, False])
    used = extrude(PLAN, [np.array([0, 1.0])], [lonely], 0.0).node_used
    assert np.flatnonzero(used[0]).tolist() == [0, 1, 4, 5]


@pytest.mark.parametrize("plan", [PLAN, SKEWED], ids=["rectangles", "skewed"])
def test_interpolation_is_exact_for_linear_fields_even_on_the_rim(plan):
    field = 3.0 + plan.points[0] * 2.0 - plan.points[1]
    inside = np.random.default_rng(3).uniform(0.25, 1.8, (2, 40))
    places = np.hstack([inside, plan.points])
    found = interpolation(plan, places) @ field
    assert found == pytest.approx(3 + 2 * places[0] - places[1], rel=1e-12)


def test_areas_of_skewed_quads_add_up_to_the_whole():
    """Shoelace formula over the rim's nodes."""
    assert (SKEWED.areas > 0).all()
    x, y = SKEWED.points[:, [0, 1, 2, 5, 8, 7, 6, 3]]
    whole = (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2
    assert SKEWED.areas.sum() == pytest.approx(whole, rel=1e-13)


def test_field_file_comes_back_as_written(tmp_path):
    """Points, voids, scalar and vector fields and named cell data survive the .vtu round trip."""
    found = grid()
    T = np.arange(48.0).reshape(4, 12)
    u = np.stack([T, -T, 2 * T], axis=-1)
    heat = np.arange(18.0).reshape(3, 6)
    path = tmp_path / "fields.vtu"
    write_grid(path, found, {"temperature_C": T, "u_m": u}, {"layer": heat})
    read = meshio.read(path)
    cells = read.cells_dict["hexahedron"]
    assert len(cells) == 17  # one void
    xyz = read.points
    node = (xyz[:, 0] + 4 * xyz[:, 1]).astype(int)
    level = np.searchsorted(found.levels, xyz[:, 2])
    assert read.point_data["temperature_C"].tolist() == T[level, node].tolist()
    assert read.point_data["u_m"].tolist() == u[level, node].tolist()
    assert read.cell_data["layer"][0].tolist() == [h for i, h in enumerate(heat.ravel()) if i != 13]
    a, b, d, e = (xyz[cells[:, i]] for i in (0, 1, 3, 4))
    volume = np.einsum("ij,ij->i", np.cross(b - a, d - a), e - a)
    assert volume.sum() == pytest.approx(6 * 1.0 + 5 * 2.0, rel=1e-12)  # right-handed bricks


def test_unused_nodes_are_left_out_of_the_file(tmp_path):
    lonely = np.array([True, False, False, False, False, False])
    found = extrude(PLAN, [np.array([0, 1.0])], [lonely], 0.0)
    path = tmp_path / "one.vtu"
    T = np.where(found.node_used, 1.0, np.nan)
    write_grid(path, found, {"T": T}, {"n": np.ones((1, 6))})
    read = meshio.read(path)
    assert len(read.points) == 8
    assert np.isfinite(read.point_data["T"]).all()
