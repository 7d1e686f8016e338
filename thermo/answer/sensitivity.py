"""How the highest temperatures follow the inputs: derivatives, without a run of the changed case.

    dJ/dp = J_p + J_T (I - m_T)^-1 m_p                                                   (1)

J highest temperature of a body, p an input, m means of the layers, at which their properties T are
taken (m = T).  J_p and m_p are what the changed case brings at the same T, J_T and m_T what the
properties of each layer bring, all by the influences of `heat.adjoint` on the coarse mesh.  The
gap keeps the bow of the case.  A difference over a small step of p stands for the derivative of
what is put into the equations, good to the step's share.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.exposure import dose_plan
from thermo.answer.resist import resist_margin
from thermo.answer.scene import Meshed, Scene, describe, mesh
from thermo.answer.spread import try_setting
from thermo.answer.state import State, layer_weights, scene_films, scene_gas, scene_power
from thermo.answer.sweep import sweep_of
from thermo.answer.temperature import hottest, layer_nodes
from thermo.beam.power import AbsorbedPower
from thermo.case import Case
from thermo.errors import CaseError, Fault, SolveError, shown
from thermo.heat import (
    HeatSystem,
    Influence,
    Target,
    conduction_fields,
    heat_system,
    influences,
    source,
)
from thermo.materials import Property
from thermo.units import Quantity

Array = NDArray[np.float64]
Node = tuple[int, int]
STEP = 1e-5  # of an input; a peak's phase moves with it, which counts with its square
WARMER = 0.1  # K, the same of a layer's temperature
PEAKS = ("resist", "mask")


@dataclass(frozen=True)
class PeakInfluences:
    """What the highest temperatures of resist and mask feel, and the means of the layers.

    base : the state's system with its properties at layer_T exactly
    felt : of resist, mask and each layer that has cells, in this order
    driven : parts of the peaks that the ripple of the heat drives, K, (2,)
    back : J_T (I - m_T)^-1, what changed means of the layers bring the peaks, (2, layers)
    """

    state: State
    still: bool
    base: HeatSystem
    felt: tuple[Influence, ...]
    driven: Array
    back: Array

    def change(self, case: Case) -> dict[str, float] | None:
        """First-order change of both peaks by a changed case, K; None where its mesh differs."""
        state = self.state
        scene = replace(describe(case, self.still), gap_change=state.scene.gap_change)
        meshed = mesh(scene, coarse=True)
        if not meshed.is_like(state.meshed):
            return None
        power = scene_power(scene, meshed)
        system = _system(scene, meshed, state.layer_T)
        drive = source(system, power.heat) - source(self.base, state.power.heat)
        moved = _felt(self.felt, self.base, system, drive)
        moved[:2] += self._driven(scene, meshed, power)
        total = moved[:2] + self.back @ moved[2:]
        return dict(zip(PEAKS, map(float, total), strict=True))

    def _driven(self, scene: Scene, meshed: Meshed, power: AbsorbedPower) -> Array:
        """Change by ripple of heat and by the period, K; heat that stays has the same ripple."""
        old, motion, scan = self.state.scene, scene.motion, self.state.scan
        if scan is None or old.motion is None or motion is None:
            return np.zeros(2)
        if motion == old.motion and np.array_equal(power.heat, self.state.power.heat):
            return np.zeros(2)
        faster = 2 * np.pi * (1 / motion.period - 1 / old.motion.period)
        load = sweep_of(scene, meshed, scan.close).load
        peaks = self.felt[:2]
        return np.array([p.of_harmonics(load) + p.omega * faster for p in peaks]) - self.driven


def peak_influences(runs: CoarseRuns) -> PeakInfluences:
    """Influences on the hottest places of resist and mask of the case itself, on the coarse mesh.

    Raises SolveError where the exposure is over before temperatures settle.
    """
    if runs.short:
        raise SolveError(
            "sensitivities of an exposure of few passes, worked out from cold, are not available: "
            "they are those of a limit cycle or of a settled held beam; run changed cases instead"
        )
    state = runs.usual.state
    grid, scan = state.meshed.grid, state.scan
    layers = tuple(i for i in range(len(state.layer_T)) if grid.active[grid.slabs(i)].any())
    targets = [_at(state, node) for node in hottest_places(state).values()]
    targets += [Target(layer_weights(grid, i).T, None) for i in layers]
    cycle = None if scan is None else scan.cycle
    felt = influences(state.system, state.steady.T, cycle, targets, runs.solver)
    base = _system(state.scene, state.meshed, state.layer_T)
    by_layer = _by_layers(state, base, felt, layers)
    back = np.asarray(by_layer[:2] @ np.linalg.inv(np.eye(len(layers)) - by_layer[2:]))
    driven = np.zeros(2)
    if scan is not None:
        driven = np.array([p.of_harmonics(scan.sweep.load) for p in felt[:2]])
    return PeakInfluences(state, runs.still, base, felt, driven, back)


def peak_sensitivities(runs: CoarseRuns, keys: Iterable[str]) -> dict[str, dict[str, float]]:
    """Derivatives (1) of the highest temperatures of 'resist' and 'mask' by inputs, K per SI unit.

    keys : as of `with_value`, of inputs that are numbers.  Left out of the answer: an input that
    is zero, which has no scale, and one whose small change either way is refused or makes another
    mesh.

    Raises SolveError where the exposure is over before temperatures settle, CaseError for a key
    that is no number of the case.
    """
    known = peak_influences(runs)
    found = {}
    for key in keys:
        slope = _slope(known, key)
        if slope is not None:
            found[key] = slope
    return found


def _slope(known: PeakInfluences, key: str) -> dict[str, float] | None:
    case = known.state.scene.case
    value = number_at(case, key)
    for step in (STEP * value, -STEP * value) if value else ():
        changed = try_setting(case, key, value + step)
        moved = None if changed is None else known.change(changed)
        if moved is not None:
            return {name: change / step for name, change in moved.items()}
    return None


def number_at(case: Case, key: str) -> float:
    """The number at a key of `with_value`, SI; of a material's property its typical value.

    Raises CaseError where the case has none there.
    """
    found: object = case
    for part in key.split("."):
        if isinstance(found, tuple) and part.isdigit() and 1 <= int(part) <= len(found):
            found = found[int(part) - 1]
        elif isinstance(found, dict):
            found = found.get(part)
        else:
            found = getattr(found, part, None)
    if isinstance(found, Quantity):
        return found.value
    if isinstance(found, Property):
        return found.typical[0]
    if isinstance(found, float):
        return found
    reason = "is no number of this case; allowed: a key that has a number in it; check the key"
    raise CaseError((Fault("sensitivity", 0, shown(key), reason),))


def hottest_places(state: State) -> dict[str, Node]:
    """Level and node of the highest temperatures of 'resist' and 'mask'."""
    return dict(zip(PEAKS, (_hottest_resist(state), _hottest_mask(state)), strict=True))


def _hottest_resist(state: State) -> Node:
    """Level and node of the judged value: where the resist is hottest, or nearest to softening."""
    resist = state.scene.stack.resist.name
    margin = resist_margin(state, dose_plan(state.scene))
    if state.scene.case.limits.resist != "from dose" or margin is None:
        return hottest(state, resist)
    here = layer_nodes(state.meshed.grid, state.scene.stack.index(resist))
    level, node = np.argwhere(here & (state.peak == margin.peak))[0]
    return int(level), int(node)


def _hottest_mask(state: State) -> Node:
    places = (hottest(state, name) for name in ("membrane", "absorber"))
    return max(places, key=lambda at: state.peak[at])


def _at(state: State, at: Node) -> Target:
    """The highest temperature of a node (level, node), at its own phase."""
    level, node = at
    weights = np.zeros(state.system.K.shape)
    weights[node, level] = 1.0
    if state.scan is None:
        return Target(weights, None)
    when, period = state.scan.extremes.when[node, level], state.scan.cycle.period
    return Target(weights, 2 * np.pi * float(when) / period)


def _by_layers(
    state: State, base: HeatSystem, felt: tuple[Influence, ...], layers: tuple[int, ...]
) -> Array:
    """What each layer's temperature changes through its properties, K/K, (targets, layers)."""
    none = np.zeros(base.K.shape)
    found = []
    for i in layers:
        T = list(state.layer_T)
        T[i] += WARMER
        system = _system(state.scene, state.meshed, tuple(T))
        found.append(_felt(felt, base, system, none) / WARMER)
    return np.stack(found, axis=1)


def _felt(
    felt: tuple[Influence, ...], before: HeatSystem, after: HeatSystem, drive: Array
) -> Array:
    """Change of each target by a changed system and mean heat, K, (targets,)."""
    return np.array([one.of_system(before, after) + one.of_source(drive) for one in felt])


def _system(scene: Scene, meshed: Meshed, layer_T: tuple[float, ...]) -> HeatSystem:
    """The scene's system with each layer's properties at its temperature."""
    grid, kind = meshed.grid, scene.case.mask.absorber.kind
    fields = conduction_fields(scene.stack, grid, layer_T, scene_gas(scene, grid), kind)
    return heat_system(grid, meshed.plan, fields, scene_films(scene, grid))
