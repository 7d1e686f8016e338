"""The layered stack of a result folder cut open: the surfaces that its picture in 3D shows.

Kept is x >= 0, of the mask y >= 0 too, so that the scan's middle and the lit resist lie open.
Drawn in mm: x and y as they are, z along the beam with each layer stretched on its own.
"""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermo.errors import WarmstackError
from thermo.show.stretch import drawn_heights
from thermo.show.warp import Bodies, body_of, read_hexahedra

Array = NDArray[np.float64]
Index = NDArray[np.int64]
FIELD = "peak_temperature_degC"
FIELDS = ("temperature.vtu", "mask_displacement.vtu", "sample_displacement.vtu")
GAP = 3  # number of the gas gap in every stack: frame, membrane and absorber come before it
TALL = 0.62  # drawn height of the stack over its width
CLOSING = 0.5  # of the drawn gap: the largest displacement as drawn
SMALL = 1e-9  # m: a node so near to the cut lies on it
CORNER = 0.9  # cosine of the turn from which on the rim of a layer has an edge


class CutawayError(WarmstackError):
    """A folder whose stack cannot be drawn."""

    exit_code = 2


@dataclass(frozen=True)
class Part:
    """One layer as drawn.

    span : drawn levels of its top and bottom, mm;  end : its largest y in the section, mm
    thickness : m;  hottest : degC, None for gas, which has no faces
    points : (n, 3) mm;  T : (n,) degC
    faces : outward, (m, 4), a triangle has its last node twice;  edges : (2, k)
    """

    name: str
    span: tuple[float, float]
    end: float
    thickness: float
    hottest: float | None
    points: Array
    T: Array
    faces: Index
    edges: Index


@dataclass(frozen=True)
class Cutaway:
    """All layers from the beam side.

    stretch : drawn over true thickness, least and most;  moved : drawn over true displacement
    held : whether the beam is held
    """

    title: str
    held: bool
    parts: tuple[Part, ...]
    stretch: tuple[float, float]
    moved: float

    @property
    def points(self) -> Array:
        """All points, mm, (n, 3)."""
        return np.concatenate([part.points for part in self.parts])

    @property
    def T(self) -> Array:
        """Temperature at all points, degC."""
        return np.concatenate([part.T for part in self.parts])

    @property
    def faces(self) -> Index:
        """All faces, (m, 4)."""
        return np.concatenate([part.faces + n for part, n in self._numbered()])

    @property
    def edges(self) -> Index:
        """Ends of all edges, (2, k)."""
        return np.concatenate([part.edges + n for part, n in self._numbered()], axis=1)

    def _numbered(self) -> list[tuple[Part, int]]:
        count = [0, *np.cumsum([len(part.points) for part in self.parts])]
        return list(zip(self.parts, count[:-1], strict=True))


def read_cutaway(folder: Path) -> Cutaway:
    """The cut stack of a result folder; raises CutawayError for any other folder."""
    for name in ("answer.json", *FIELDS):
        if not (folder / name).is_file():
            raise CutawayError(
                f"{folder} is no result folder, {name} is missing; name one that "
                "'warmstack estimate' has written"
            )
    try:
        answer = json.loads((folder / "answer.json").read_text(encoding="utf-8"))
        names = list(answer["temperature"])
        names.insert(GAP, "gap")
        bodies = (body_of(folder / FIELDS[1]), body_of(folder / FIELDS[2]))
        hexahedra = read_hexahedra(folder / FIELDS[0], FIELD, "layer")
        layers = [_layer(*hexahedra, number) for number in range(len(names))]
        title, held = str(answer["case"]["title"]), answer["regime"] == "still"
    except (Exception, SystemExit) as error:  # whatever a damaged file makes a reader stumble on
        raise CutawayError(
            f"{folder} cannot be drawn, a file in it is damaged ({type(error).__name__}); "
            "estimate the case anew"
        ) from None
    return _cutaway(title, held, names, layers, bodies)


@dataclass(frozen=True)
class _Layer:
    """A layer as meshed: plan (2, n) m and quads (4, c); levels (l,) m; T (l, n) degC."""

    plan: Array
    quads: Index
    levels: Array
    T: Array


def _layer(xyz: Array, hexes: Index, T: Array, layer: Array, number: int) -> _Layer:
    """One layer of a file whose nodes are numbered level by level, as write_grid has them."""
    own = hexes[layer == number]
    top = xyz[own[:, 0], 2]
    starts = np.unique(top)
    rows = [np.unique(own[top == z, :4]) for z in starts]
    rows.append(np.unique(own[top == starts[-1], 4:]))
    quads = np.searchsorted(rows[0], own[top == starts[0], :4]).T
    levels = np.array([xyz[row[0], 2] for row in rows])
    return _Layer(xyz[rows[0], :2].T, quads, levels, np.stack([T[row] for row in rows]))


def _cutaway(
    title: str, held: bool, names: list[str], layers: list[_Layer], bodies: Bodies
) -> Cutaway:
    width = 1e3 * max(float(np.ptp(layer.plan[1])) for layer in layers)
    thickness = np.array([layer.levels[-1] - layer.levels[0] for layer in layers])
    drawn = TALL * width * _heights(thickness)
    factor = drawn / (1e3 * thickness)
    ends = np.concatenate([[0.0], np.cumsum(drawn)])
    most = 1e3 * max(body.largest for body in bodies)
    moved = _even(CLOSING * drawn[GAP] / most) if most > 0 else 1.0
    parts = tuple(
        _part(name, layer, (float(ends[i]), float(ends[i + 1])), i, bodies, moved)
        for i, (name, layer) in enumerate(zip(names, layers, strict=True))
    )
    solid = np.delete(factor, GAP)
    return Cutaway(title, held, parts, (float(solid.min()), float(solid.max())), moved)


def _heights(thickness: Array) -> Array:
    """Shares of the whole height: each layer stretched on its own, thin ones most."""
    heights = drawn_heights(thickness)
    return np.asarray(heights / heights.sum())


def _even(value: float) -> float:
    """The next number below of 1, 2, 5 times a power of ten."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(max(n for n in (1, 2, 5) if n * power <= value * (1 + 1e-9)) * power)


def _part(
    name: str, layer: _Layer, span: tuple[float, float], number: int, bodies: Bodies, moved: float
) -> Part:
    thickness = float(layer.levels[-1] - layer.levels[0])
    kept = _cut(np.vstack([layer.plan, layer.T]), layer.quads, 0)
    if number < GAP:
        kept = _cut(*kept, 1)
    nodal, quads = kept
    end = 1e3 * float(nodal[1, nodal[0] == 0].max())
    if number == GAP:
        none = np.zeros((0, 3)), np.zeros(0), np.zeros((0, 4), int), np.zeros((2, 0), int)
        return Part(name, span, end, thickness, None, *none)
    plan, T = nodal[:2], nodal[2:]
    depth = span[0] + (span[1] - span[0]) * (layer.levels - layer.levels[0]) / thickness
    at = np.empty((*T.shape, 3))
    at[:, :, :2], at[:, :, 2] = 1e3 * plan.T, depth[:, None]
    at += 1e3 * moved * bodies[number > GAP].at(plan, layer.levels)
    faces, edges = _surface(plan, quads, len(T))
    used, numbers = np.unique(np.concatenate([faces.ravel(), edges.ravel()]), return_inverse=True)
    points, shown = at.reshape(-1, 3)[used], T.ravel()[used]
    faces, edges = numbers[: faces.size].reshape(-1, 4), numbers[faces.size :].reshape(2, -1)
    return Part(name, span, end, thickness, float(layer.T.max()), points, shown, faces, edges)


def _cut(nodal: Array, quads: Index, axis: int) -> tuple[Array, Index]:
    """What lies at x >= 0 (axis 0) or y >= 0 (axis 1); new nodes where the cut crosses a side.

    nodal : x and y, m, and further nodal values, (k, nodes)
    """
    nodal = nodal.copy()
    nodal[axis, np.abs(nodal[axis]) < SMALL] = 0.0
    side = np.sign(nodal[axis])
    low, high = side[quads].min(0), side[quads].max(0)
    kept = [quads[:, low >= 0]]
    new: dict[tuple[int, int], int] = {}
    for quad in quads[:, (low < 0) & (high > 0)].T.tolist():
        ring: list[int] = []
        for a, b in zip(quad, [*quad[1:], quad[0]], strict=True):
            if side[a] >= 0:
                ring.append(a)
            if side[a] * side[b] < 0:
                key = (min(a, b), max(a, b))
                ring.append(new.setdefault(key, nodal.shape[1] + len(new)))
        ring += [ring[-1]] * (4 - len(ring))
        kept.append(np.array([ring[:4]]).T)
        if len(ring) == 5:
            kept.append(np.array([[ring[3], ring[4], ring[0], ring[0]]]).T)
    if new:
        a, b = np.array(list(new)).T
        share = nodal[axis, a] / (nodal[axis, a] - nodal[axis, b])
        between = nodal[:, a] + share * (nodal[:, b] - nodal[:, a])
        between[axis] = 0.0
        nodal = np.hstack([nodal, between])
    return nodal, np.concatenate(kept, axis=1)


def _surface(plan: Array, quads: Index, levels: int) -> tuple[Index, Index]:
    """Outward faces (m, 4) and edges (2, k) of a layer, nodes numbered level by level."""
    count = plan.shape[1]
    start, stop = np.stack([quads, np.roll(quads, -1, 0)]).reshape(2, -1)
    there = start != stop  # a triangle has a side without length
    start, stop = start[there], stop[there]
    rim = ~np.isin(start * count + stop, stop * count + start)
    a, b = start[rim], stop[rim]
    step = count * np.arange(levels - 1)[:, None]
    walls = np.stack([a + step, b + step, b + count + step, a + count + step]).reshape(4, -1)
    last = count * (levels - 1)
    faces = np.concatenate([quads[::-1].T, quads.T + last, walls.T])
    along = (plan[:, b] - plan[:, a]) / np.hypot(*(plan[:, b] - plan[:, a]))
    arriving = np.zeros((2, count))
    arriving[:, b] = along
    turned = a[(arriving[:, a] * along).sum(0) < CORNER]
    upright = np.stack([turned + step, turned + count + step]).reshape(2, -1)
    ring = np.stack([a, b])
    return faces, np.concatenate([ring, ring + last, upright], axis=1)
