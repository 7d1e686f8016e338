"""One way to solve the benchmark problem, timed in a process of its own.

python contestants.py WAY PLAN CELLS REPEATS prints one line of JSON: CPU seconds of the best
repeat, iterations, peak memory, peak rise.  The problem is invented: 20 slabs, layers up to 1e5
apart in conductivity, an absorber with a smooth fill map, films of 6 and 3000 W/(m2 K).
"""

import json
import sys
from pathlib import Path
from time import process_time

import numpy as np
from scipy import sparse

sys.path.insert(0, str(Path(__file__).parents[1] / "solve"))
from operators import bricks, disc, plan_of, rectangles, unstructured

from thermo.solve import LayeredOperator, Multigrid, Solver, layered_operator, plan_matrices

PLANS = {"rectangle": rectangles, "disc": disc, "unstructured": unstructured}
# slabs, their height (m), k (W/(m K)): membrane, absorber, gap, resist, glue, base, joint, holder
LAYERS = [
    (2, 20e-6, 160.0),
    (1, 12e-6, 317.0),
    (1, 100e-6, 0.03),
    (6, 80e-6, 0.2),
    (1, 20e-6, 0.25),
    (3, 300e-6, 148.0),
    (1, 10e-6, 0.0032),
    (5, 2e-3, 320.0),
]
HEIGHTS = np.concatenate([np.full(n, h) for n, h, _ in LAYERS])
K_SLAB = np.concatenate([np.full(n, k) for n, _, k in LAYERS])
ABSORBER, RESIST = 2, slice(4, 10)
FILMS = (6.0, 3000.0)


class Problem:
    """Plan, conductivities (slabs, cells) and heat (slabs, cells) W."""

    def __init__(self, plan, cells):
        self.points, self.quads, matrices = plan_of(PLANS[plan], cells, cells)
        self.lines = matrices.graph.lines
        x, y = self.points[:, self.quads].mean(1) / 0.08 * 2 * np.pi
        fill = 0.5 + 0.45 * np.sin(3 * x) * np.cos(2 * y)
        self.k = K_SLAB[:, None] * np.ones(len(x))
        self.k[ABSORBER] = 0.03 + fill * 317.0
        area = matrices.share.sum(0)
        heat = np.zeros_like(self.k)
        heat[ABSORBER] = 800.0 * fill * area
        heat[RESIST] = 300.0 * (1 - fill) * area
        load = matrices.parting @ heat.T / 2
        self.b = np.zeros((matrices.nodes, len(HEIGHTS) + 1))
        self.b[:, :-1] += load
        self.b[:, 1:] += load
        self.film = np.zeros_like(self.b)
        self.film[:, 0] = FILMS[0] * matrices.share.sum(1)
        self.film[:, -1] = FILMS[1] * matrices.share.sum(1)

    def operator(self):
        plan = plan_matrices(self.points, self.quads, "lumped", self.lines)
        K = layered_operator(plan, HEIGHTS, self.k, self.k)
        share = plan.share.sum(1)
        for level, h in zip((0, -1), FILMS, strict=True):
            K.loss[:, level] += h * share
        return K


def own(problem):
    """The product's operator, multigrid and solver; to 1e-8 and to 1e-10."""
    times = [process_time()]
    K = problem.operator()
    times.append(process_time())
    multigrid = Multigrid(K)
    times.append(process_time())
    found = {}
    for tolerance in (1e-8, 1e-10):
        solver = Solver(tolerance)
        solver.multigrid, solver.usual = multigrid, 30
        found[tolerance] = solver.solve(K, problem.b)
        times.append(process_time())
    assembly, setup, loose, tight = np.diff(times)
    return {
        "assembly": assembly,
        "setup": setup,
        "solve": loose,
        "tight": tight,
        "total": assembly + setup + loose,
        "iterations": found[1e-8].iterations,
        "iterations_tight": found[1e-10].iterations,
        "reported": found[1e-8].nbytes,
        "moved": moved(K, multigrid),
        "peak": found[1e-10].x.max(),
    }


def moved(K: LayeredOperator, multigrid: Multigrid) -> int:
    """Least bytes of one iteration: every array once for each loop that needs it."""
    field = 8 * K.link.size
    outer = K.nbytes + 2 * field  # K p
    outer += 11 * field + 2 * field // 2  # x, r, p updated, two products, z twice in single
    inner = 0
    for s in multigrid.stages:
        inner += 3 * s.side.nbytes + 2 * (s.ratio.nbytes + s.pivot.nbytes)  # two sweeps, residual
        inner += 2 * s.x.nbytes + 5 * s.x.nbytes + 2 * s.coarse.nbytes  # b twice; x; to and fro
    return outer + inner


def algebraic(problem):
    """Algebraic multigrid (Ruge and Stueben) of a general library and conjugate gradients."""
    import pyamg

    A = sparse.csr_matrix(problem.operator().matrix())
    A.indptr, A.indices = A.indptr.astype(np.int32), A.indices.astype(np.int32)
    start = process_time()
    solver = pyamg.ruge_stuben_solver(A)
    middle = process_time()
    left: list[float] = []
    x = solver.solve(problem.b.ravel(), tol=1e-8, accel="cg", maxiter=300, residuals=left)
    end = process_time()
    return {
        "setup": middle - start,
        "solve": end - middle,
        "total": end - start,
        "iterations": len(left) - 1,
        "peak": x.max(),
    }


def general(problem):
    """3D assembly of trilinear bricks by scikit-fem, same quadrature, and its default solve."""
    import skfem

    start = process_time()
    whole = bricks(problem.points, problem.quads, HEIGHTS, problem.k, problem.k, "lumped")
    A = sparse.csr_matrix(whole + sparse.diags_array(problem.film.ravel()))
    middle = process_time()
    x = skfem.solve(A, problem.b.ravel())
    end = process_time()
    return {
        "assembly": middle - start,
        "solve": end - middle,
        "total": end - start,
        "peak": x.max(),
    }


def other(problem):
    """Another finite-element library: trilinear hexahedra, full integration, sparse Cholesky."""
    import netgen.meshing as nm
    import ngsolve as ng

    z = np.concatenate([[0], np.cumsum(HEIGHTS)])
    mesh = nm.Mesh(3)
    ids = [[mesh.Add(nm.MeshPoint(nm.Pnt(px, py, pz))) for px, py in problem.points.T] for pz in z]
    mesh.SetMaterial(1, "stack")
    faces = [mesh.Add(nm.FaceDescriptor(surfnr=i + 1, domin=1, bc=i + 1)) for i in range(2)]
    cells = problem.quads.T.tolist()
    for slab in range(len(HEIGHTS)):
        above, below = ids[slab], ids[slab + 1]
        for quad in cells:
            mesh.Add(nm.Element3D(1, [*(above[q] for q in quad), *(below[q] for q in quad)]))
    for face, level in zip(faces, (0, -1), strict=True):
        for quad in cells:
            mesh.Add(nm.Element2D(face, [ids[level][q] for q in quad]))
    mesh.SetBCName(0, "lit")
    mesh.SetBCName(1, "back")
    domain = ng.Mesh(mesh)
    ng.SetNumThreads(1)
    start = process_time()
    space = ng.H1(domain, order=1)
    k = ng.GridFunction(ng.L2(domain, order=0))
    k.vec.FV().NumPy()[:] = problem.k.ravel()
    u, v = space.TnT()
    a = ng.BilinearForm(space, symmetric=True)
    a += k * ng.grad(u) * ng.grad(v) * ng.dx
    a += FILMS[0] * u * v * ng.ds("lit") + FILMS[1] * u * v * ng.ds("back")
    a.Assemble()
    middle = process_time()
    f = a.mat.CreateColVector()
    f.FV().NumPy()[:] = problem.b.T.ravel()
    x = f.CreateVector()
    x.data = a.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky") * f
    end = process_time()
    return {
        "assembly": middle - start,
        "solve": end - middle,
        "total": end - start,
        "peak": x.FV().NumPy().max(),
    }


def resident():
    """Peak memory of this process so far, GB."""
    status = Path("/proc/self/status").read_text()  # ru_maxrss would count the parent's, too
    return int(status.split("VmHWM:")[1].split()[0]) * 1024 / 1e9


def main(way, plan, cells, repeats):
    solve = globals()[way]
    solve(Problem(plan, 12))  # imports and kernels compiled before the clock starts
    before = resident()
    problem = Problem(plan, int(cells))
    best = min((solve(problem) for _ in range(int(repeats))), key=lambda run: run["total"])
    best = {name: float(value) for name, value in best.items()}
    best |= {"unknowns": problem.b.size, "memory": resident(), "memory_before": before}
    print(json.dumps(best))


if __name__ == "__main__":
    main(*sys.argv[1:])
