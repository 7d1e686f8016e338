"""Plan meshes in files: quads in metres that cover one piece of the plane without a gap."""

from pathlib import Path
from tempfile import NamedTemporaryFile

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from thermo.case.plan_file import PlanFile, plan_refused
from thermo.errors import shown
from thermo.mesh.plan import Plan
from thermo.mesh.quads import corner_angles, edges_of

Index = NDArray[np.int64]
MOST_CELLS = 50_000
FLAT = 1e-6  # of the size: how far from one z the nodes may lie
LARGEST = 10.0  # m
WIDEST = 175.0  # degrees: a corner wider than that is as good as straight
PASSED_OVER = {"vertex", "line"}  # what a mesh program writes beside its cells


def write_plan(path: Path, plan: Plan) -> None:
    """Write a plan as .vtu, rounded to a nanometre: the same plan always gives the same bytes."""
    import meshio

    flat = np.vstack([np.round(plan.points, 9), np.zeros(plan.points.shape[1])]).T + 0.0
    meshio.Mesh(flat, [("quad", plan.quads.T)]).write(path, file_format="vtu", compression=None)


def read_plan(file: PlanFile) -> Plan:
    """Plan of a file; nodes that no cell uses are left out.

    Raises
    ------
    CaseError : one fault: no quads alone, not flat, not finite, folded cells, gaps or loose nodes
    """
    xyz, quads = _read(file)
    if not 1 <= len(quads) <= MOST_CELLS:
        raise plan_refused(
            file.path, f"has {len(quads)} quads; allowed: 1 to {MOST_CELLS}; mesh it anew"
        )
    if not (quads.min() >= 0 and quads.max() < len(xyz)):
        text = f"has cells of nodes it does not hold; allowed: 0 .. {len(xyz) - 1}; mesh it anew"
        raise plan_refused(file.path, text)
    used, numbers = np.unique(quads, return_inverse=True)
    xyz, quads = xyz[used], numbers.reshape(quads.shape).T
    far = float(np.abs(xyz).max())
    if not far <= LARGEST:  # nan fails too
        text = f"has a coordinate of {far:.4g} m; allowed: -{LARGEST:g} .. {LARGEST:g} m, finite"
        raise plan_refused(file.path, f"{text}; write it in metres")
    height = float(np.ptp(xyz[:, 2]))
    if not height <= FLAT * float(np.ptp(xyz[:, :2], axis=0).max()):
        text = f"is not flat: z differs by {1e3 * height:.4g} mm; allowed: one z; flatten it"
        raise plan_refused(file.path, text)
    plan = Plan(np.ascontiguousarray(xyz[:, :2].T), quads)
    angle = corner_angles(plan).max(0)
    if not (angle < WIDEST).all():
        cell = int(angle.argmax())
        text = f"cell {cell} is turned over or folded: a corner of {angle[cell]:.0f} degrees; "
        way = "number its corners counter-clockwise or mesh it anew"
        raise plan_refused(file.path, f"{text}allowed: below {WIDEST:g}; {way}")
    _check_cover(file, plan)
    return plan


def _read(file: PlanFile) -> tuple[NDArray[np.float64], Index]:
    from meshio import vtu

    try:
        with NamedTemporaryFile(suffix=".vtu") as copy:  # the bytes that were guarded and hashed
            copy.write(file.content)
            copy.flush()
            mesh = vtu.read(copy.name)
        kinds = {block.type: len(block.data) for block in mesh.cells if len(block.data)}
        blocks = [np.asarray(block.data, np.int64) for block in mesh.cells if block.type == "quad"]
        xyz = np.asarray(mesh.points, float).reshape(-1, 3)
    except (Exception, SystemExit):  # whatever a damaged file makes a reader stumble on
        text = "cannot be read, it is damaged or cut short; allowed: a .vtu file of quads"
        raise plan_refused(file.path, f"{text}; save it anew") from None
    for kind in kinds.keys() - PASSED_OVER - {"quad"}:
        text = (
            f"has cells of the kind '{shown(kind)}' ({kinds[kind]} of them); allowed: quads alone"
        )
        raise plan_refused(file.path, f"{text}; mesh it anew with quads")
    return xyz, np.concatenate([np.empty((0, 4), np.int64), *blocks])


def _check_cover(file: PlanFile, plan: Plan) -> None:
    """One closed rim and no cell twice: a hole, a hanging node or a gap has a rim of its own."""
    ends, number = edges_of(plan.quads)
    cells = np.bincount(number.ravel())
    around = ends[:, cells == 1]
    nodes = plan.points.shape[1]
    links = coo_array((np.ones(around.shape[1]), tuple(around)), (nodes, nodes))
    loop = connected_components(links, directed=False)[1][around[0]]
    meeting = np.unique(around, return_counts=True)[1]
    _, place, size = np.unique(loop, return_index=True, return_counts=True)
    if (meeting == 2).all() and len(size) == 1 and cells.max() <= 2:
        return
    x, y = 1e3 * plan.points[:, around[0, place[size.argmin()]]]
    raise plan_refused(
        file.path,
        f"its cells leave a gap, a hole or a hanging node, or overlap (look near x = {x:.4g}, "
        f"y = {y:.4g} mm); allowed: cells that meet edge to edge over one piece; join doubled "
        "nodes or mesh it anew",
    )
