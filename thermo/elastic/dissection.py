"""Direct solve of a symmetric positive definite system whose unknowns stand in plan columns.

Nested dissection by substructures: the plan cells are halved again and again; on the way back up,
two halves are joined and every column that no cell outside touches is eliminated,

    F = [F_oo  F_ro'; F_ro  F_rr],   L L' = F_oo,   R = F_ro L^-T,   F_rr <- F_rr - R R'     (1)

The fronts F are dense, so nearly all the work is done by BLAS. A column of a layered body couples
to all of itself anyway, which makes the dense fronts no waste.

Source: A. George, SIAM J. Numer. Anal. 10 (1973) 345; multifrontal form: I. S. Duff, J. K. Reid,
ACM Trans. Math. Softw. 9 (1983) 302 (both from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg.blas import dsyrk, dtrsm
from scipy.linalg.lapack import dpotrf

from thermo.elastic.solid import Floats, Ints
from thermo.errors import SolveError

LEAF = 9  # plan cells of a leaf; 4 to 12 cost the same within 15 % at 30k and at 100k unknowns
DIGITS = 1e-14  # a pivot this small beside its diagonal is round-off; of real foils: 1e-6


@dataclass(frozen=True)
class Part:
    """One set of plan cells: its halves, the columns it eliminates and those it leaves over."""

    cells: Ints
    halves: tuple["Part", ...]
    own: Ints
    rest: Ints
    touched: Ints  # how often the cells of this part touch each column of `rest`


@dataclass(frozen=True)
class Front:
    """One eliminated front: own unknowns, the unknowns it leaves over, and L and R of (1)."""

    own: Ints
    rest: Ints
    L: Floats
    R: Floats


@dataclass(frozen=True)
class Factor:
    """Cholesky factor as fronts in the order of elimination."""

    fronts: tuple[Front, ...]

    def solve(self, load: Floats) -> Floats:
        """Unknowns for loads of shape (unknowns, k), any k >= 1."""
        return self.backward(self.forward(load))

    def forward(self, load: Floats) -> Floats:
        """L^-1 of loads, the first half of `solve`; the whole K is L L'."""
        x = np.array(load, order="C")
        for front in self.fronts:
            own = x[front.own[0] : front.own[-1] + 1]
            own[:] = dtrsm(1.0, front.L, own.T, side=1, lower=1, trans_a=1, overwrite_b=1).T
            x[front.rest] -= front.R @ own
        return x

    def backward(self, y: Floats) -> Floats:
        """L'^-1 of y, (unknowns, k), the second half of `solve`."""
        x = np.array(y, order="C")
        for front in reversed(self.fronts):
            own = x[front.own[0] : front.own[-1] + 1]
            own -= front.R.T @ x[front.rest]
            own[:] = dtrsm(1.0, front.L, own.T, side=1, lower=1, overwrite_b=1).T
        return x


def dissect(quads: Ints, corners: Floats, cells: Ints, size: int = LEAF) -> Part:
    """Halve plan cells until `size` are left and say where each column is eliminated.

    Parameters
    ----------
    quads : plan nodes of the cells, shape (4, m)
    corners : plan corners, m, shape (m, 4, 2)
    cells : numbers of the plan cells that carry solid
    size : most cells of a leaf
    """
    degree = np.bincount(quads[:, cells].ravel(), minlength=int(quads.max()) + 1)
    return _dissect(quads, corners.mean(axis=1), degree, cells, size)


def _dissect(quads: Ints, middle: Floats, degree: Ints, cells: Ints, size: int) -> Part:
    halves: tuple[Part, ...] = ()
    if len(cells) > size:
        halves = tuple(
            _dissect(quads, middle, degree, half, size) for half in _halve(quads, middle, cells)
        )
        columns, place = np.unique(
            np.concatenate([half.rest for half in halves]), return_inverse=True
        )
        touched = np.bincount(
            place, np.concatenate([half.touched for half in halves]), minlength=len(columns)
        ).astype(np.int64)
    else:
        columns, touched = np.unique(quads[:, cells], return_counts=True)
    done = touched == degree[columns]
    return Part(cells, halves, columns[done], columns[~done], touched[~done])


def _halve(quads: Ints, middle: Floats, cells: Ints) -> tuple[Ints, Ints]:
    """Two halves of the cells, cut across the plan direction with the shorter common border."""
    n, cuts = len(cells), []
    for x in middle[cells].T:
        order = np.argsort(x, kind="stable")
        place = np.arange(max(1, int(0.4 * n)), int(0.6 * n) + 1)
        gap = np.diff(x[order])[place - 1]
        place = place[gap >= 0.5 * gap.max()]  # between rows of cells, not inside one
        cut = place[np.argmin(np.abs(place - n / 2))]
        cuts.append((cells[order[:cut]], cells[order[cut:]]))
    return min(cuts, key=lambda cut: len(np.intersect1d(quads[:, cut[0]], quads[:, cut[1]])))


def elimination_order(part: Part) -> Ints:
    """Columns in the order in which they are eliminated."""
    parts = [elimination_order(half) for half in part.halves]
    return np.concatenate([*parts, part.own])


def factorise(
    part: Part, first: Ints, count: Ints, assemble: Callable[[Ints, Ints], Floats]
) -> Factor:
    """Cholesky factor of the system whose leaves are assembled by `assemble`.

    Parameters
    ----------
    part : root of the dissection
    first, count : number of the first unknown of each column and how many it has; the unknowns are
        numbered in the order of elimination
    assemble : (cells, columns) -> dense stiffness of a leaf for the unknowns of the columns, N/m

    Raises
    ------
    SolveError : a front is not positive definite
    """
    fronts: list[Front] = []
    _eliminate(part, first, count, assemble, fronts)
    return Factor(tuple(fronts))


def _unknowns(columns: Ints, first: Ints, count: Ints) -> Ints:
    """Numbers of the unknowns of the columns, one after the other."""
    n = count[columns]
    start = np.repeat(first[columns] - np.cumsum(n) + n, n)
    return start + np.arange(n.sum())


def _add_lower(F: Floats, S: Floats, place: Ints) -> None:
    """Add the lower triangle of S at increasing places of F, run by run of neighbouring places."""
    into, part = F.T, S.T  # rows are contiguous
    starts = np.flatnonzero(np.diff(place, prepend=-2) != 1)
    ends = np.flatnonzero(np.diff(place, append=-2) != 1) + 1
    runs = list(zip(starts.tolist(), ends.tolist(), place[starts].tolist(), strict=True))
    for n, (i, j, row) in enumerate(runs):
        for first, last, column in runs[n:]:  # few: the borders of one half
            block = part[i:j, first:last]
            into[row : row + j - i, column : column + last - first] += block


def _eliminate(
    part: Part,
    first: Ints,
    count: Ints,
    assemble: Callable[[Ints, Ints], Floats],
    fronts: list[Front],
) -> tuple[Ints, Floats]:
    """Eliminate the own unknowns of a part; returns what is left over, lower triangle valid."""
    rest = part.rest[np.argsort(first[part.rest], kind="stable")]
    columns = np.concatenate([part.own, rest])
    unknowns = _unknowns(columns, first, count)
    if part.halves:
        F = np.zeros((len(unknowns), len(unknowns)), order="F")
        for half in part.halves:
            left, S = _eliminate(half, first, count, assemble, fronts)
            _add_lower(F, S, np.searchsorted(unknowns, left))
    else:
        F = assemble(part.cells, columns)
    n = int(count[part.own].sum())
    if n == 0:
        return unknowns, F
    L, info = dpotrf(F[:n, :n], lower=1)
    lost = np.flatnonzero(L.diagonal() ** 2 <= DIGITS * F.diagonal()[:n])
    if info == 0 and len(lost):
        info = int(lost[0]) + 1
    if info != 0:
        raise SolveError(
            f"the stiffness of {n} unknowns is not positive definite (minor {info});"
            " a piece hangs by an edge or a corner only: join it by a face; or a sheet is too thin"
            " for its size: give it an initial tension"
        )
    R, S = F[n:, :n], np.asfortranarray(F[n:, n:])
    if len(unknowns) > n:
        R = dtrsm(1.0, L, R, side=1, lower=1, trans_a=1)
        S = dsyrk(-1.0, R, beta=1.0, c=S, lower=1, overwrite_c=1)
    fronts.append(Front(unknowns[:n], unknowns[n:], L, R))
    return unknowns[n:], S
