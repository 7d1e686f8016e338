"""Temperatures of a scene: properties at temperature, and the limit cycle."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.answer.scene import Meshed, Scene
from thermo.answer.sweep import Sweep, passing, sweep_of
from thermo.beam import Motion, Scan
from thermo.beam.power import AbsorbedPower, absorbed_power
from thermo.errors import SolveError
from thermo.heat import (
    Cycle,
    Extremes,
    Fields,
    Film,
    Gas,
    Halves,
    HeatSystem,
    Steady,
    conduction_fields,
    dose_weighted,
    extremes,
    halves,
    heat_system,
    limit_cycle,
    open_faces,
    steady,
)
from thermo.mesh import Grid, layer_presence
from thermo.solve import Multigrid, Solver

Array = NDArray[np.float64]
SETTLED = 0.05  # K: no layer's mean moves more between two sweeps
SWEEPS = 12
SAME = 1e-6  # of the highest: how far a load may be off its mirror image
REACH = 4.0  # sigma: how far from its turn the stripe still lights
CLOSE = 0.02  # K: error of the limit cycle, solves and series together


@dataclass(frozen=True)
class State:
    """Temperatures of a scene on its mesh, K, each (levels, nodes), nan where there is nothing.

    mean : in time;  peak, lowest : over the limit cycle;  printing : weighted by the dose rate
    scan : the limit cycle itself, None for a held beam
    layer_T : mean temperature of each layer, at which its properties were taken
    """

    scene: Scene
    meshed: Meshed
    power: AbsorbedPower
    fields: Fields
    system: HeatSystem
    films: tuple[Film, ...]
    steady: Steady
    mean: Array
    peak: Array
    lowest: Array
    printing: Array
    scan: "ScanCycle | None"
    layer_T: tuple[float, ...]


@dataclass(frozen=True)
class ScanCycle:
    """Limit cycle of the scan: its harmonics, its extremes, and the heat that drives it.

    close : the error it was solved to, K
    """

    sweep: Sweep
    cycle: Cycle
    extremes: Extremes
    close: float


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


def scene_power(scene: Scene, meshed: Meshed) -> AbsorbedPower:
    """Heat that the beam leaves in every cell, averaged over the scan."""
    plan = meshed.grid.plan
    presence = layer_presence(scene.stack, plan)
    return absorbed_power(
        scene.stack, scene.beam, scene.places, meshed.cuts, presence, plan.corners
    )


def scene_gas(scene: Scene, grid: Grid) -> Gas:
    """Gas between mask and sample, with the gap that their bow leaves."""
    chamber, emissivity = scene.case.chamber, scene.case.gap.emissivity
    return Gas(
        chamber.pressure.value,
        (chamber.accommodation_mask.value, chamber.accommodation_sample.value),
        0.0 if emissivity is None else emissivity.value,
        0.0 if scene.gap_change is None else scene.gap_change.at(grid.plan.centres),
    )


def solve_state(
    scene: Scene,
    meshed: Meshed,
    solver: Solver,
    before: State | None = None,
    layers: tuple[float, ...] | None = None,
    close: float = CLOSE,
) -> State:
    """The mean state, and the limit cycle where the beam scans.

    What the swing of the properties leaves out is below 0.3 % of the peak.
    before : a state of nearly the same scene on an equal mesh, to start from
    layers : temperatures at which to take the layers' properties, K, instead of sweeping
    close : error of the limit cycle, K
    """
    mean = mean_state(scene, meshed, solver, before, layers)
    return mean if scene.motion is None else _scanned(mean, scene.motion, before, close)


def mean_state(
    scene: Scene,
    meshed: Meshed,
    solver: Solver,
    before: State | None = None,
    layers: tuple[float, ...] | None = None,
) -> State:
    """Fixed-point sweeps in the scan-mean heat until no layer's mean moves by 0.05 K."""
    case, stack, grid = scene.case, scene.stack, meshed.grid
    power, films, gas = scene_power(scene, meshed), scene_films(scene, grid), scene_gas(scene, grid)
    start = layers or (before.layer_T if before else None)
    layer_T = start or (case.chamber.temperature.value,) * len(stack.layers)
    guess = before.mean if before else None
    for _ in range(SWEEPS):
        fields = conduction_fields(stack, grid, layer_T, gas, case.mask.absorber.kind)
        system = heat_system(grid, meshed.plan, fields, films)
        found = steady(system, power.heat, solver, guess)
        guess, old = found.T, layer_T
        layer_T = layer_means(grid, found.T, len(stack.layers), layer_T)
        moved = max(abs(a - b) for a, b in zip(layer_T, old, strict=True))
        if layers is not None:
            layer_T = layers
            break
        if moved < SETTLED:
            break
    else:
        raise SolveError(
            f"properties and temperature did not settle in {SWEEPS} sweeps (moved {moved:.2g} K); "
            "the stack may be far hotter than its materials' tables"
        )
    return State(scene, meshed, power, fields, system, films, found, *(found.T,) * 4, None, layer_T)


def _scanned(state: State, motion: Scan, before: State | None, close: float) -> State:
    """The state with its limit cycle."""
    scene, system, found = state.scene, state.system, state.steady
    sweep, y = sweep_of(scene, state.meshed, close), state.meshed.grid.plan.points[1]
    cycle = limit_cycle(
        system,
        np.where(system.used, found.T.T - system.coldest, 0.0),
        sweep.load,
        sweep.count,
        motion.period,
        close,
        _symmetric(state, sweep) or Multigrid(system.K),
        passing(motion, y, scene.sigma),
        before.scan.cycle if before and before.scan else None,
        scene.beam.on_mask / before.scene.beam.on_mask if before else 1.0,
        np.abs(y - motion.middle) > motion.stroke / 2 - REACH * scene.sigma,
    )
    ends, light = extremes(cycle), sweep.light[:, : len(cycle.X) + 1]
    peak, lowest, printing = (
        system.coldest + system.on_levels(rise)
        for rise in (ends.peak, ends.lowest, dose_weighted(cycle, light[sweep.height_of]))
    )
    scan = ScanCycle(sweep, cycle, ends, close)
    return replace(state, peak=peak, lowest=lowest, printing=printing, scan=scan)


def _symmetric(state: State, sweep: Sweep) -> Halves | None:
    """Halves of a stack that mirrors itself about mid-stroke, light and motion too; else None."""
    points = state.meshed.grid.plan.points
    if not isinstance(sweep.motion, Motion):
        return None
    found = halves(state.system, points)
    if found is None:
        return None
    for part, n in zip(found, (2, 1), strict=True):
        load = sweep.load(n)
        if not np.abs(load[part.image] - part.sign * load[part.own]).max() <= SAME * load.max():
            return None
    return found


def layer_weights(grid: Grid, layer: int) -> Array:
    """Weights whose sum with nodal temperatures is the volume mean of a layer, (levels, nodes)."""
    own = grid.slabs(layer)
    volume = (grid.active * grid.plan.areas * grid.heights[:, None])[own]
    share = volume / (8 * volume.sum())
    weights = np.zeros(grid.shape)
    for corner in grid.plan.quads:
        for level in (0, 1):
            rows = slice(own.start + level, own.stop + level)
            np.add.at(weights[rows].T, corner, share.T)
    return weights


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
