"""Plans and layered operators for the checks of this room: invented stacks, bent plans, voids."""

import numpy as np
from scipy.spatial import Delaunay

from thermo.solve import layered_operator, plan_matrices


def rectangles(nx, ny, width=0.08, height=0.08):
    return grid_of_lines(np.linspace(0, width, nx + 1), np.linspace(0, height, ny + 1))


def grid_of_lines(x_lines, y_lines):
    """Points and counter-clockwise quads between two sets of lines, x fastest."""
    x, y = np.meshgrid(x_lines, y_lines)
    row = len(x_lines)
    first = (np.arange(len(y_lines) - 1)[:, None] * row + np.arange(row - 1)).ravel()
    return np.stack([x.ravel(), y.ravel()]), np.stack(
        [first, first + 1, first + row + 1, first + row]
    )


def skewed(nx, ny):
    points, quads = rectangles(nx, ny, 1.0, 1.0)
    x, y = points
    bend = 0.12 * np.sin(np.pi * x) * np.sin(np.pi * y)
    return 0.08 * np.stack([x + bend + 0.2 * y, y - 0.7 * bend]), quads


def disc(nx, _=None, radius=0.05):
    """A square of cells inside four bent blocks; about 5/4 nx2 cells."""
    n = max(nx // 2, 1)
    a = np.linspace(-1, 1, n + 1)
    square, quads = grid_of_lines(a, a)
    w = np.repeat(np.linspace(0, 1, n + 1), n + 1)
    ray = np.tile(a, n + 1)
    flat = np.stack([np.full_like(ray, 0.5), 0.5 * ray])
    bent = np.stack([np.cos(ray * np.pi / 4), np.sin(ray * np.pi / 4)])
    block = (1 - w) * flat + w * bent
    across = quads[[0, 3, 2, 1]]  # rays run fastest here
    points, cells = [0.5 * square], [quads]
    for turn in range(4):
        c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[turn]
        points.append(np.array([[c, -s], [s, c]]) @ block)
        cells.append(across + (turn + 1) * square.shape[1])
    every = np.concatenate(points, axis=1)
    _, first, place = np.unique(
        np.round(every, 9) + 0.0, axis=1, return_index=True, return_inverse=True
    )
    return radius * every[:, first], place.ravel()[np.concatenate(cells, axis=1)]


def unstructured(nx, _=None, size=0.08):
    """Triangles over scattered points, each cut into three quads; about nx2 cells."""
    n = max(round(nx / np.sqrt(6)), 2)
    x, y = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, n + 1))
    stray = np.random.default_rng(17).uniform(-0.3, 0.3, (2, n + 1, n + 1)) / n
    x = x + np.where((x > 0) & (x < 1), stray[0], 0)
    y = y + np.where((y > 0) & (y < 1), stray[1], 0)
    points = np.stack([x.ravel(), y.ravel()])
    corners = Delaunay(points.T).simplices.T.astype(np.int64)
    a, b, c = points[:, corners].transpose(1, 0, 2)
    area = (b - a)[0] * (c - a)[1] - (b - a)[1] * (c - a)[0]
    corners = corners[:, area > 1e-9 / n**2]
    count = points.shape[1]
    sides = np.sort(np.stack([corners, np.roll(corners, -1, axis=0)]), axis=0)
    key, number = np.unique(sides[0] * count + sides[1], return_inverse=True)
    middle = count + number.reshape(corners.shape)  # of the side from each corner to the next
    centre = count + len(key) + np.arange(corners.shape[1])
    quads = [np.stack([corners[i], middle[i], centre, middle[i - 1]]) for i in range(3)]
    halfway = points[:, np.stack(np.divmod(key, count))].mean(1)
    every = np.concatenate([points, halfway, points[:, corners].mean(1)], axis=1)
    return size * every, np.concatenate(quads, axis=1)


def plan_of(shape, nx, ny, integration="lumped"):
    """Plan matrices of a shape above, with its lines where it is a grid of them."""
    points, quads = shape(nx, ny)
    lines = (points[0, : nx + 1], points[1, :: nx + 1]) if shape is rectangles else None
    return points, quads, plan_matrices(points, quads, integration, lines)


def cooled(plan, heights, k, active=None, film=100.0):
    """Operator of conductivities k (slabs, cells) with a film on the back, W/(m2 K)."""
    live = k if active is None else k * active
    K = layered_operator(plan, heights, live, live)
    K.loss[:, -1] += film * (plan.share @ (live[-1] > 0).astype(float))
    return K


def bricks(points, quads, heights, k_xy, k_z, integration="exact"):
    """Trilinear bricks assembled by scikit-fem, unknowns in the order node * levels + level."""
    from skfem import Basis, BilinearForm, ElementHex1, MeshHex
    from skfem.helpers import grad

    z = np.concatenate([[0], np.cumsum(heights)])
    nodes, levels = points.shape[1], len(z)
    xyz = np.vstack([np.tile(points, levels), np.repeat(z, nodes)])
    a, b, c, d = np.hstack([quads + i * nodes for i in range(levels - 1)])
    below = [a + nodes, b + nodes, c + nodes, d + nodes]
    # corner order of the library's reference brick
    corners = np.stack([a, b, d, below[0], c, below[1], below[3], below[2]])
    mesh = MeshHex(xyz, corners, validate=False, sort_t=False)
    if integration == "exact":
        basis = Basis(mesh, ElementHex1(), intorder=3)
    else:
        unit = np.stack(np.meshgrid([0.0, 1.0], [0.0, 1.0], [0.0, 1.0])).reshape(3, -1)
        basis = Basis(mesh, ElementHex1(), quadrature=(unit, np.full(8, 1 / 8)))

    @BilinearForm
    def conduction(u, v, w):
        du, dv = grad(u), grad(v)
        return w.kxy * (du[0] * dv[0] + du[1] * dv[1]) + w.kz * du[2] * dv[2]

    K = conduction.assemble(basis, kxy=k_xy.reshape(-1, 1), kz=k_z.reshape(-1, 1))
    order = (np.arange(levels)[None, :] * nodes + np.arange(nodes)[:, None]).ravel()
    return K.tocsr()[order][:, order]
