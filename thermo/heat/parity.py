"""Up-down parity of a scan: on a stack that mirrors itself about mid-stroke half of it is enough.

Where the motion mirrors itself too, half a period later the stripe is at -y, so

    X_n(-y) = (-1)^n X_n(y)                                                            (1)

Even harmonics live on the half y >= 0, whose couplings along y = 0 count half; odd ones vanish on
y = 0, so nodes beside it lose to a place at zero.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermo.heat.steady import HeatSystem
from thermo.solve import LayeredOperator, Multigrid, PlanGraph, Shifts

Array = NDArray[np.float64]
Index = NDArray[np.int64]
SAME = 1e-9  # relative difference of mirror images
ON_AXIS = 1e-9  # m


@dataclass(frozen=True)
class Half:
    """One half of a symmetric stack for harmonics of one parity.

    nodes : of the whole;  own : those it keeps;  image : their mirror images;  sign : of these
    share : of what belongs to a node (half on the axis), (nodes of the half,)
    """

    nodes: int
    own: Index
    image: Index
    sign: int
    share: Array
    K: LayeredOperator
    C: Array
    shifts: Shifts

    def folded(self, load: NDArray[Any]) -> NDArray[Any]:
        """Load of the half from that of the whole."""
        return np.asarray(load[self.own] * self.share[:, None])

    def unfolded(self, x: NDArray[Any]) -> NDArray[np.complex64]:
        """The whole field from the half's."""
        out = np.zeros((self.nodes, x.shape[1]), np.complex64)
        out[self.image] = self.sign * x
        out[self.own] = x
        return out


Halves = tuple[Half, Half]


class Whole:
    """The stack as it is, for harmonics of either parity."""

    own = slice(None)

    def __init__(self, system: HeatSystem, multigrid: Multigrid) -> None:
        self.K, self.C = system.K, system.C
        self.shifts = Shifts(multigrid, system.K, system.C)

    def folded(self, load: NDArray[Any]) -> NDArray[Any]:
        """The load itself."""
        return load

    def unfolded(self, x: NDArray[Any]) -> NDArray[np.complex64]:
        """The field itself."""
        return x.astype(np.complex64)


def halves(system: HeatSystem, points: Array) -> Halves | None:
    """Halves for even and odd harmonics; None where the stack does not mirror itself about y = 0.

    None too where couplings run across y = 0 without a node on it.
    points : (2, nodes) m
    """
    mirror = _mirror(points)
    if mirror is None or system.K.cross is not None or not _symmetric(system, mirror):
        return None
    side = np.where(np.abs(points[1]) <= ON_AXIS, 0.0, np.sign(points[1]))
    if (side[system.K.graph.ends].prod(0) < 0).any():
        return None
    upper, axis = points[1] > ON_AXIS, np.abs(points[1]) <= ON_AXIS
    return _half(system, mirror, upper | axis, axis, 1), _half(system, mirror, upper, axis, -1)


def _mirror(points: Array) -> Index | None:
    """For each node the one at -y; None where one is missing."""
    there = points * [[1], [-1]]
    orders = [np.lexsort(np.round(p / ON_AXIS)) for p in (points, there)]
    if not np.abs(points[:, orders[0]] - there[:, orders[1]]).max() <= ON_AXIS:
        return None
    mirror = np.empty(points.shape[1], np.int64)
    mirror[orders[1]] = orders[0]
    return mirror


def _symmetric(system: HeatSystem, mirror: Index) -> bool:
    """Whether K and C of the mirrored stack are the same, K by what it does to a random field."""
    x = np.where(system.used, np.random.default_rng(1).standard_normal(system.C.shape), 0.0)
    there, here = system.K.times(x[mirror])[mirror], system.K.times(x)
    scale = system.K.diagonal * np.abs(x).max()
    same = np.abs(there - here) <= SAME * np.where(scale > 0, scale, 1.0)
    return bool(same.all() and np.allclose(system.C[mirror], system.C, rtol=SAME, atol=0))


def _half(
    system: HeatSystem, mirror: Index, kept: NDArray[np.bool_], axis: NDArray[np.bool_], sign: int
) -> Half:
    K, graph = system.K, system.K.graph
    own = np.flatnonzero(kept)
    number = np.full(len(kept), -1)
    number[own] = np.arange(len(own))
    a, b = graph.ends
    inside = kept[a] & kept[b]
    share = np.where(axis[own], 0.5, 1.0)
    along = np.where(axis[a] & axis[b], 0.5, 1.0)[inside, None]
    loss = K.loss[own] * share[:, None]
    if sign < 0:  # what couples to the axis couples to zero
        for one, other in ((a, b), (b, a)):
            cut = kept[one] & axis[other]
            np.add.at(loss, number[one[cut]], K.side[cut])
    lines = graph.lines
    if lines is not None:
        x, y = lines
        lines = x, y[y > ON_AXIS] if sign < 0 else y[y > -ON_AXIS]
    ends = np.stack([number[a[inside]], number[b[inside]]]).astype(np.int32)
    half = PlanGraph(len(own), ends, lines)
    own_K = LayeredOperator(half, K.side[inside] * along, K.link[own] * share[:, None], loss)
    C = system.C[own] * share[:, None]
    return Half(
        len(kept), own, mirror[own], sign, share, own_K, C, Shifts(Multigrid(own_K), own_K, C)
    )
