"""Series of coarser plans, from the operator's own plan down to a few nodes.

A grid of lines loses lines: those closest together go first, whichever way they run, so that cells
become square before they become large.  Lines on which layers end stay while there is room between
them: a coarse cell that lies half in a void serves neither side.  Any other plan is coarsened from
its couplings alone.  Voids strewn at random over cells of very uneven size converge slowly, or not.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from thermo.solve.graph import Array, Coarsening, Lines, PlanGraph, coarsening, int32
from thermo.solve.operator import LayeredOperator

Mask = NDArray[np.bool_]
FEWEST = 40  # plan nodes below which all lines are solved at once
FEWER = 0.55  # share of the nodes that a coarser grid of lines may keep
WIDEN = 1.1  # how much wider the wanted spacing becomes while a grid keeps more than that
STALLED = 0.9  # share of the nodes from which on coarsening is given up


def coarser_plans(K: LayeredOperator) -> list[Coarsening]:
    """Steps from the plan of K to ever coarser ones."""
    lines = K.graph.lines
    if lines is None:
        return _algebraic(K.graph, K.side.sum(1))
    return _by_lines(K.graph, lines, _ends_of_layers(K, lines))


def _by_lines(graph: PlanGraph, lines: Lines, stay: tuple[Mask, Mask]) -> list[Coarsening]:
    found: list[Coarsening] = []
    while graph.nodes > FEWEST:
        keep = _kept_lines(lines, stay)
        coarse = lines[0][keep[0]], lines[1][keep[1]]
        P = sparse.kron(_between(lines[1], coarse[1]), _between(lines[0], coarse[0]))
        found.append(coarsening(graph, sparse.csr_array(P), coarse))
        graph, lines, stay = found[-1].coarse, coarse, (stay[0][keep[0]], stay[1][keep[1]])
    return found


def _ends_of_layers(K: LayeredOperator, lines: Lines) -> tuple[Mask, Mask]:
    """Lines in x and y on which a layer begins or ends: what conducts differs on both sides."""
    x, y = lines
    a, b = K.graph.ends
    conducts = K.side > 0
    by_x = conducts[a // len(x) == b // len(x)].reshape(len(y), len(x) - 1, -1)
    by_y = conducts[a % len(x) == b % len(x)].reshape(len(y) - 1, len(x), -1)
    in_x = (by_x[:, 1:] != by_x[:, :-1]).any((0, 2))
    in_y = (by_y[1:] != by_y[:-1]).any((1, 2))
    return np.pad(in_x, 1), np.pad(in_y, 1)


def _kept_lines(
    lines: Lines, stay: tuple[Mask, Mask]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Numbers of the lines to keep in x and y."""
    (x, y), nodes = lines, len(lines[0]) * len(lines[1])
    wanted = 2 * min(np.diff(x).min(), np.diff(y).min())
    while True:
        keep = _merged(x, wanted, stay[0]), _merged(y, wanted, stay[1])
        if len(keep[0]) * len(keep[1]) <= FEWER * nodes:
            return keep
        wanted *= WIDEN


def _merged(lines: Array, wanted: float, stay: Mask) -> NDArray[np.int64]:
    """Numbers of the lines left when cells are merged into cells of about `wanted` (m) at most.

    Lines that are to stay do so unless they lie closer than half of that to the one before; a rest
    shorter than half before one of them joins the cell before it.
    """
    last, keep = 0, [0]
    for i in range(1, len(lines)):
        room = min(lines[i] - lines[last], lines[-1] - lines[i])
        if i == len(lines) - 1 or (stay[i] and room >= wanted / 2):
            if keep[-1] != last and lines[i] - lines[keep[-1]] < wanted / 2:
                keep.pop()
            last = i
            keep.append(i)
        elif lines[i + 1] - lines[keep[-1]] > wanted * (1 + 1e-9):
            keep.append(i)
    return np.array(keep)


def _between(lines: Array, kept: Array) -> sparse.csr_array:
    """Linear interpolation from the kept lines to all, (lines, kept)."""
    left = np.clip(np.searchsorted(kept, lines, side="right") - 1, 0, len(kept) - 2)
    t = (lines - kept[left]) / (kept[left + 1] - kept[left])
    row = np.tile(np.arange(len(lines)), 2)
    P = sparse.csr_array(
        (np.concatenate([1 - t, t]), (row, np.concatenate([left, left + 1]))),
        shape=(len(lines), len(kept)),
    )
    P.eliminate_zeros()
    return P


def _algebraic(graph: PlanGraph, sheet: Array) -> list[Coarsening]:
    """Coarser plans chosen from the conductances of the couplings (edges,), all levels together.

    Negative couplings (bent quads, coarser plans) are left out of the choice: they would give
    negative weights, and P^T of what couples through the stack could then be negative.
    """
    found: list[Coarsening] = []
    while graph.nodes > FEWEST and (sheet > 0).any():
        P = _interpolated(graph, np.maximum(sheet, 0))
        if P.shape[1] > STALLED * graph.nodes:
            break
        found.append(coarsening(graph, P))
        graph, sheet = found[-1].coarse, found[-1].gather @ sheet
    return found


def _interpolated(graph: PlanGraph, sheet: Array) -> sparse.csr_array:
    """Interpolation from the coarse nodes, rows sum to 1.

    Source: J. W. Ruge and K. Stueben, in Multigrid Methods, SIAM 1987, ch. 4 (from memory).
    """
    import pyamg

    A = sparse.csr_array((-sheet, tuple(graph.ends)), shape=(graph.nodes, graph.nodes))
    A = A + A.T
    A.eliminate_zeros()
    A = A + sparse.diags_array(-(1 + 1e-6) * A.sum(1))
    plan = sparse.csr_matrix(A)
    plan.indptr, plan.indices = int32(plan.indptr), int32(plan.indices)
    choice = ("RS", {"second_pass": True})  # no node is left without a coarse one beside it
    step = pyamg.ruge_stuben_solver(plan, CF=choice, max_coarse=FEWEST, max_levels=2).levels[0]
    P = sparse.csr_array(step.P)
    total = P.sum(1)
    total[total == 0] = 1  # nodes in a void through all layers
    return sparse.csr_array(sparse.diags_array(1 / total) @ P)
