"""Bodies and loads shared by the expansion checks: plates on boxes, on skewed cells, on a disc."""

from itertools import pairwise

import numpy as np

from thermo.elastic import Held, Solid


def grid(x, y):
    """Plan nodes and counter-clockwise cells of a box grid."""
    X, Y = np.meshgrid(x, y, indexing="ij")
    i = np.arange(X.size).reshape(X.shape)
    quads = [i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]]
    return np.array([X.ravel(), Y.ravel()]), np.array([q.ravel() for q in quads])


def disc(radius, cells):
    """Plan nodes and cells of a disc: a square of cells x cells inside four bent blocks."""
    a = np.linspace(-1, 1, cells + 1)
    square, quads = grid(a, a)
    blocks, count = [0.5 * square], square.shape[1]
    rays = (
        np.array([np.full_like(a, 1.0), a]),
        np.array([np.cos(a * np.pi / 4), np.sin(a * np.pi / 4)]),
    )
    w = np.repeat(np.linspace(0, 1, cells + 1), cells + 1)
    block = (1 - w) * 0.5 * np.tile(rays[0], cells + 1) + w * np.tile(rays[1], cells + 1)
    all_quads = [quads]
    for turn in range(4):
        c, s = round(np.cos(turn * np.pi / 2)), round(np.sin(turn * np.pi / 2))
        blocks.append(np.array([[c, -s], [s, c]]) @ block)
        all_quads.append(quads + (turn + 1) * count)
    return joined(radius * np.concatenate(blocks, axis=1), np.concatenate(all_quads, axis=1))


def joined(points, quads):
    """The plan with nodes that lie on each other made one."""
    size = np.abs(points).max()
    _, first, place = np.unique(
        np.round(points / size, 9) + 0.0, axis=1, return_index=True, return_inverse=True
    )
    return points[:, first], place.ravel()[quads]


def sector(radii, cells):
    """Plan nodes and cells of a quarter ring with the given radii and `cells` round the quarter."""
    (r, angle), quads = grid(radii, np.linspace(0, np.pi / 2, cells + 1))
    return np.array([r * np.cos(angle), r * np.sin(angle)]), quads


def symmetry(solid):
    """Clamps of a quarter model: planes x = 0 and y = 0."""
    low = np.abs(solid.points) < 1e-9 * solid.points.max()
    return Held(low[0], "x"), Held(low[1], "y")


def polar_stress(solid, sigma):
    """Radial and hoop stress, Pa, of stress (m, 6) in the middles of plan cells; radius, m."""
    x, y = solid.corners.mean(axis=1).T
    r = np.hypot(x, y)
    xx, yy, xy = sigma[:, 0], sigma[:, 1], sigma[:, 5]
    c, s = x / r, y / r
    return xx * c**2 + yy * s**2 + 2 * xy * c * s, xx * s**2 + yy * c**2 - 2 * xy * c * s, r


def body(plan, levels, E=130e9, nu=0.28, alpha=2.6e-6, tension=0.0):
    """A full body; each property is one number or one a layer."""
    points, quads = plan
    levels = np.asarray(levels, float)
    shape = (len(levels) - 1, quads.shape[1])

    def cells(value):
        return np.broadcast_to(np.reshape(value, (-1, 1)), shape).astype(float)

    return Solid(
        points,
        quads,
        levels,
        np.ones(shape, bool),
        cells(E),
        cells(nu),
        cells(alpha),
        cells(tension),
    )


def at_corners(solid, f):
    """f(x, y, z) at the corners of the cells, shape (nz, m, 2, 4) and what f adds behind."""
    x, y = solid.corners[..., 0], solid.corners[..., 1]
    faces = [f(x, y, np.full_like(x, z)) for z in solid.levels]
    return np.stack([np.stack(pair, axis=1) for pair in pairwise(faces)])


def at_nodes(solid, f):
    """f(x, y, z) at the nodes, shape (nz + 1, n) and what f adds behind."""
    x, y = solid.points
    return np.stack([f(x, y, np.full_like(x, z)) for z in solid.levels])


def rim(solid, components="xyz", levels=None):
    """Clamp on the edge of a rectangular plan."""
    p = solid.points
    edge = np.isclose(p, p.min(axis=1, keepdims=True)) | np.isclose(p, p.max(axis=1, keepdims=True))
    return Held(edge.any(axis=0), components, levels)


def curvature(solid, w, radius):
    """Mean of the two curvatures of w, 1/m, by a parabola through the nodes within radius."""
    x, y = solid.points
    near = np.hypot(x, y) <= radius
    x, y = x[near], y[near]
    terms = np.column_stack([np.ones_like(x), x, y, x * y, x**2 - y**2, (x**2 + y**2) / 2])
    return np.linalg.lstsq(terms, w[near], rcond=None)[0][5]
