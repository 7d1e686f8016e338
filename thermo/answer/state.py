"""Temperatures of a scene: scan-mean state with properties at temperature, and the swing on top."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from thermo.answer.plan import TURN
from thermo.answer.scene import Meshed, Scene
from thermo.beam.power import AbsorbedPower, absorbed_power, column_profiles
from thermo.case.pattern import Outline
from thermo.errors import SolveError
from thermo.heat import (
    ColdEdge,
    Column,
    Fields,
    Film,
    Gas,
    HeatSystem,
    Steady,
    StripeCycle,
    cold_edge,
    conduction_fields,
    face_h,
    heat_system,
    open_faces,
    steady,
    stripe_pairs,
)
from thermo.mesh import Grid, layer_presence
from thermo.solve import Solver

Array = NDArray[np.float64]
SETTLED = 0.05  # K: no layer's mean moves more between two sweeps
SWEEPS = 12
AWAY = (8, 12)  # distances from the middle at which the swing is found: before the turn, in it
CHORDS = 8  # steps in which the height of a round opening is told apart


@dataclass(frozen=True)
class State:
    """Temperatures of a scene on its mesh, K, each (levels, nodes), nan where there is nothing.

    mean : scan mean;  peak : mean plus the swing of the moving stripe;  printing : dose-weighted
    layer_T : mean temperature of each layer, at which its properties were taken
    """

    scene: Scene
    meshed: Meshed
    power: AbsorbedPower
    fields: Fields
    system: HeatSystem
    films: tuple[Film, ...]
    steady: Steady
    peak: Array
    printing: Array
    layer_T: tuple[float, ...]

    @property
    def mean(self) -> Array:
        """Scan-mean temperature, K, (levels, nodes)."""
        return self.steady.T


def scene_films(scene: Scene, grid: Grid) -> tuple[Film, ...]:
    """Water on holder and frame, chamber gas on every open face but the holder's back."""
    case, stack = scene.case, scene.stack
    present = layer_presence(stack, grid.plan)
    holder, frame = case.sample.holder, case.mask.frame
    back = len(grid.levels) - 1
    films = [
        Film("holder water", back, present[-1], holder.film.value, holder.water.value),
    ]
    if frame.cooling is not None and frame.water is not None:
        films.append(Film("frame water", 0, present[0], frame.cooling.value, frame.water.value))
    if case.chamber.outer_film.value > 0:
        for level, faces in enumerate(open_faces(grid)[:back]):
            if faces.any():
                h, sink = case.chamber.outer_film.value, case.chamber.temperature.value
                films.append(Film("chamber gas", level, faces, h, sink))
    return tuple(films)


def solve_state(
    scene: Scene,
    meshed: Meshed,
    solver: Solver,
    before: State | None = None,
) -> State:
    """Fixed-point sweeps until no layer's mean temperature moves by 0.05 K, then the swing.

    before : a state of nearly the same scene on an equal mesh, to start from
    """
    case, stack, grid = scene.case, scene.stack, meshed.grid
    presence = layer_presence(stack, grid.plan)
    power = absorbed_power(
        stack, scene.beam, scene.places, meshed.cuts, presence, grid.plan.corners
    )
    films = scene_films(scene, grid)
    chamber = case.chamber
    gas = Gas(
        chamber.pressure.value,
        (chamber.accommodation_mask.value, chamber.accommodation_sample.value),
    )
    layer_T = before.layer_T if before else (chamber.temperature.value,) * len(stack.layers)
    guess = before.mean if before else None
    for _ in range(SWEEPS):
        fields = conduction_fields(stack, grid, layer_T, gas, case.mask.absorber.kind)
        system = heat_system(grid, meshed.plan, fields, films)
        found = steady(system, power.heat, solver, guess)
        guess, old = found.T, layer_T
        layer_T = layer_means(grid, found.T, len(stack.layers), layer_T)
        moved = max(abs(a - b) for a, b in zip(layer_T, old, strict=True))
        if moved < SETTLED:
            break
    else:
        raise SolveError(
            f"properties and temperature did not settle in {SWEEPS} sweeps (moved {moved:.2g} K); "
            "the stack may be far hotter than its materials' tables"
        )
    peak, printing = _with_swing(scene, meshed, fields, films, found.T)
    return State(scene, meshed, power, fields, system, films, found, peak, printing, layer_T)


def layer_means(grid: Grid, T: Array, layers: int, absent: tuple[float, ...]) -> tuple[float, ...]:
    """Volume mean of each layer, K; `absent` where a layer has no cell."""
    corner = np.nan_to_num(T)[:, grid.plan.quads].mean(1)
    volume = grid.active * grid.plan.areas * grid.heights[:, None]
    content = volume * (corner[:-1] + corner[1:]) / 2
    own = [grid.layer == i for i in range(layers)]
    return tuple(
        float(content[rows].sum() / volume[rows].sum()) if volume[rows].any() else absent[i]
        for i, rows in enumerate(own)
    )


def _with_swing(
    scene: Scene, meshed: Meshed, fields: Fields, films: tuple[Film, ...], mean: Array
) -> tuple[Array, Array]:
    """Peak and dose-weighted temperature: the swing of each lit column added to the mean."""
    peak, printing = np.zeros_like(mean), np.full_like(mean, -np.inf)
    if scene.motion is None:
        return mean, mean
    plan, grid = meshed.grid.plan, meshed.grid
    frame = grid.active[grid.slabs(scene.stack.index("frame")).start]
    rim = np.zeros(grid.shape[1], bool)
    rim[plan.quads[:, frame]] = True
    for cells, first, away, cycle in column_cycles(scene, meshed, fields, films):
        nodes = np.unique(plan.quads[:, cells])
        if not frame[cells[0]]:  # the frame, far heavier than the membrane, rules its own rim
            nodes = nodes[~rim[nodes]]
        rows = np.arange(first, first + len(cycle.mean))[:, None]
        at = np.minimum(np.abs(plan.points[1, nodes] - scene.motion.middle), away[-1])
        swing, printed = (
            PchipInterpolator(away, part, axis=1)(at)
            for part in (cycle.swing, cycle.dose_weighted - cycle.mean)
        )
        peak[rows, nodes] = np.maximum(peak[rows, nodes], swing)
        printing[rows, nodes] = np.maximum(printing[rows, nodes], printed)
    return mean + peak, mean + np.where(np.isfinite(printing), printing, 0)


def column_cycles(
    scene: Scene, meshed: Meshed, fields: Fields, films: tuple[Film, ...]
) -> Iterator[tuple[NDArray[np.int64], int, Array, StripeCycle]]:
    """Each kind of lit column: plan cells, first level, |y| (m), and its cycle at them."""
    motion, grid, stack, beam = scene.motion, meshed.grid, scene.stack, scene.beam
    assert motion is not None
    x, y = grid.plan.centres
    lit = (np.abs(x) < stack.lit_width / 2) & (np.abs(y - motion.middle) < motion.stroke / 2)
    coverage = stack.pattern.coverage(x, y)
    presence = layer_presence(stack, grid.plan)
    half = half_heights(stack.pattern.clear, x)
    kinds, kind = np.unique(np.vstack([presence, coverage, half]), axis=1, return_inverse=True)
    h = face_h(films, grid)
    period = motion.speed * motion.pass_time
    away = _distances(motion.stroke / 2, TURN * scene.sigma)
    for number in range(kinds.shape[1]):
        cells = np.flatnonzero((kind.ravel() == number) & lit)
        if not len(cells):
            continue
        *present, covered, height = kinds[:, number]
        heat, light = _column_heat(scene, meshed, np.array(present) > 0, covered)
        for first, last in _runs(grid.active[:, cells[0]]):
            own = slice(first, last)
            at = cells[0]
            column = Column(
                grid.heights[own],
                fields.across[own, at],
                fields.in_plane[own, at],
                fields.capacity[own, at],
                (max(h[first, at], 1e-6), max(h[last, at], 1e-6)),
            )
            edge = _frame_edge(scene, meshed, fields, int(at), own, height - away)
            apart = period - 2 * away
            cycle = stripe_pairs(
                column, beam.height, heat[own], light, motion.speed, period, apart, edge
            )
            yield cells, first, away, cycle


def _distances(half: float, turn: float) -> Array:
    """Distances from the middle of the stroke, closer together over the last `turn` (m)."""
    start = max(half - turn, 0.0)
    far = np.linspace(0, start, AWAY[0])[:-1] if start > 0 else np.empty(0)
    return np.concatenate([far, np.linspace(start, half, AWAY[1])])


def half_heights(clear: Outline, x: Array) -> Array:
    """Half the height of the clear opening at x, m; of a round one in steps."""
    if not clear.is_round:
        return np.full(x.shape, clear.height / 2)
    step = clear.diameter / 2 / CHORDS
    half = np.sqrt(np.maximum((clear.diameter / 2) ** 2 - x**2, 0))
    return np.asarray((np.floor(half / step) + 0.5) * step)


def _frame_edge(
    scene: Scene, meshed: Meshed, fields: Fields, cell: int, own: slice, away: Array
) -> ColdEdge | None:
    """The frame, so far away (m), as a cold edge of the membrane in a column of the clear opening.

    None for a column without the mask or under the frame.
    """
    grid, stack, motion = meshed.grid, scene.stack, scene.motion
    sheet, gap, frame = (grid.slabs(stack.index(n)) for n in ("membrane", "gap", "frame"))
    sheet = slice(sheet.start, grid.slabs(stack.index("absorber")).stop)
    if motion is None or grid.active[frame.start, cell] or not own.start <= sheet.start < own.stop:
        return None
    dz = grid.heights[sheet]
    kt = float((fields.in_plane[sheet, cell] * dz).sum())
    capacity = float((fields.capacity[sheet, cell] * dz).sum())
    h = scene.case.chamber.outer_film.value
    if grid.active[gap.start, cell]:
        h += float(1 / (grid.heights[gap] / fields.across[gap, cell]).sum())
    slabs = np.arange(len(grid.heights))
    of_mask = ((slabs >= sheet.start) & (slabs < sheet.stop))[own]
    return cold_edge(of_mask, kt, capacity, h, motion.speed, away)


def _column_heat(
    scene: Scene, meshed: Meshed, present: NDArray[np.bool_], coverage: float
) -> tuple[Array, Array]:
    """Heat by ray in each slab of one column, and the light that prints on its resist."""
    stack, beam = scene.stack, scene.beam
    here = list(present)
    bare, _ = column_profiles(stack, beam, here, False, meshed.cuts)
    heat = bare
    if coverage > 0:
        dark, _ = column_profiles(stack, beam, here, True, meshed.cuts)
        heat = coverage * dark + (1 - coverage) * bare
    first = meshed.grid.slabs(stack.index(stack.resist.name)).start
    light = bare[first] if bare[first].sum() > 0 else beam.power.sum(1)
    return heat, light


def _runs(active: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """First and one past last of each unbroken run of slabs."""
    ends = np.flatnonzero(np.diff(np.concatenate([[0], active.astype(int), [0]])))
    yield from zip(ends[::2].tolist(), ends[1::2].tolist(), strict=True)
