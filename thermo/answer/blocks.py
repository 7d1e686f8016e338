"""Blocks of the answer made from an outcome: units of the answer, no new physics."""

from math import isfinite

import numpy as np
from numpy.typing import NDArray

from thermo.answer.expansion import write_scale
from thermo.answer.exposure import DosePlan
from thermo.answer.mounts import elastic_constants, mount_growth
from thermo.answer.outcome import PAST_FLAT, Outcome
from thermo.answer.path import MODEL, source_words
from thermo.answer.placement import placement_block
from thermo.answer.placement_schema import PlacementBlock, Stress, UniformOffset
from thermo.answer.scene import Scene
from thermo.answer.schema import (
    AssumedLine,
    BeamBlock,
    Checks,
    DoseBlock,
    MeshBlock,
    PathLine,
    SolveBlock,
)
from thermo.answer.state import State
from thermo.answer.strength import Strengths
from thermo.beam import column_heat
from thermo.case import Case
from thermo.case.stack import Stack

Array = NDArray[np.float64]
DEPTHS = ("top", "middle", "base")


def beam_block(scene: Scene) -> BeamBlock:
    """The white beam in trade units; mean flux over the lit area, over the scan where it moves."""
    beam, motion = scene.beam, scene.motion
    height = scene.beam.fwhm if motion is None else motion.effective_stroke
    return BeamBlock(
        source=source_words(scene),
        critical_energy_keV=beam.source.critical_energy,
        half_power_energy_keV=beam.half_power,
        emitted_W_per_mrad=beam.emitted * scene.case.beam.distance.value / 1e3,
        incident_W_per_cm=beam.emitted / 100,
        on_mask_W_per_cm=beam.on_mask / 100,
        mean_flux_W_per_m2=beam.on_mask / height,
        stripe_fwhm_mm=1e3 * beam.fwhm,
        absorption=MODEL,
    )


def open_column(scene: Scene, path: tuple[PathLine, ...]) -> dict[str, float]:
    """Absorbed power along the open column, W/cm, with what passes and what is sent elsewhere."""
    found = {line.name: line.absorbed_W_per_cm for line in path}
    through = column_heat(scene.beam, scene.column(False)).transmitted.sum()
    found["transmitted"] = float(through) / 100
    found["escaped"] = scene.beam.emitted / 100 - sum(found.values())
    return found


def heat_by_part(state: State) -> dict[str, float]:
    """Scan-mean heat of every layer, W, and what passes, escapes or misses the stack."""
    grid, power = state.meshed.grid, state.power
    found = {
        layer.name: float(power.heat[grid.slabs(i)].sum())
        for i, layer in enumerate(state.scene.stack.layers)
        if not layer.is_contact
    }
    found |= {"transmitted": power.transmitted, "escaped": power.escaped, "beside": power.beside}
    return found


def dose_block(dose: DosePlan) -> DoseBlock:
    """The exposure plan in trade units."""
    return DoseBlock(
        resist_top_J_per_cm3=dose.top / 1e6,
        resist_bottom_J_per_cm3=dose.bottom / 1e6,
        ratio=dose.ratio,
        under_absorber_J_per_cm3=dose.under_absorber / 1e6,
        under_absorber_back_J_per_cm3=dose.under_absorber_back / 1e6,
        scattered_under_J_per_cm3=dose.scattered / 1e6,
        per_pass_J_per_cm3=None if dose.dose_per_pass is None else dose.dose_per_pass / 1e6,
        time_s=dose.time,
        passes=dose.passes,
        time_constant_current_s=dose.time_constant_current,
        passes_constant_current=dose.passes_constant_current,
        charge_mA_min_per_cm=dose.charge_per_length * 1e3 / 60 / 100,
        stroke_needed_mm=None if dose.stroke_needed is None else 1e3 * dose.stroke_needed,
        unevenness_percent=None if dose.unevenness is None else 100 * dose.unevenness,
    )


def placement(outcome: Outcome) -> PlacementBlock:
    """Where the pattern is printed, by depth of the resist."""
    scene, found = outcome.scene, outcome.expansion
    assert found is not None
    points, printed = found.points, found.printed
    blur, split = printed.blur.max(1), printed.split.max(1)
    by_depth = {
        depth: placement_block(points, printed.mean[i], float(blur[i]), float(split[i]))
        for i, depth in enumerate(DEPTHS)
    }
    sample = {
        depth: placement_block(points, u[:, :2], None, None)
        for depth, u in zip(DEPTHS, found.sample_at, strict=True)
    }
    distance, resist = scene.case.beam.distance.value, scene.stack.resist.thickness
    gap = scene.stack.layer("gap").thickness
    return PlacementBlock(
        **by_depth,
        reason=None if outcome.membrane.is_flat else PAST_FLAT,
        sample=sample,
        uniform_offset=_offset(scene.case, scene.stack),
        geometric_ppm=1e6 * gap / distance,
        geometric_base_ppm=1e6 * (gap + resist) / distance,
        write_mask_ppm=1e6 * write_scale(found, scene.case),
        sidewall_tilt_max_mrad=_tilt(printed.mean, resist),
        geometric_tilt_max_mrad=1e3 * float(np.abs(points[0]).max()) / distance,
        gap_change_um=1e6 * float(found.gap_change[1][np.abs(found.gap_change[1]).argmax()]),
        series_rest_nm=1e9 * found.motion.rest,
    )


def _tilt(printed: Array, thickness: float) -> float:
    """Largest lean of a sidewall: base error minus top error over the thickness, mrad."""
    return 1e3 * float(np.hypot(*(printed[2] - printed[0]).T).max()) / thickness


def _offset(case: Case, stack: Stack) -> UniformOffset:
    """alpha dT of the mask's mount, and of the sample's stiffest layer, at their waters."""
    water = case.sample.holder.water.value
    base = [elastic_constants(la, water) for la in stack.layers if la.body == "sample"]
    thick = [la.thickness for la in stack.layers if la.body == "sample"]
    _, (_, _, alpha) = max((t * E, (E, nu, a)) for t, (E, nu, a) in zip(thick, base, strict=True))
    return UniformOffset(
        mask_ppm=1e6 * mount_growth(case, stack),
        sample_ppm=1e6 * alpha * (water - case.sample.measured_at.value),
    )


def stress(outcome: Outcome, found: Strengths) -> Stress:
    """Stress of membrane, absorber and resist beside their strengths."""
    membrane, metal, resist, edge = found.membrane, found.absorber, found.resist, found.film
    metal_low, metal_high = (None, None) if metal is None else metal.stress
    return Stress(
        membrane_initial_MPa=outcome.scene.case.mask.membrane.tension.value / 1e6,
        membrane_lowest_MPa=membrane.stress[0] / 1e6,
        membrane_highest_MPa=membrane.stress[1] / 1e6,
        membrane_strength_MPa=_mega(membrane.typical),
        membrane_share=membrane.share,
        absorber_lowest_MPa=_mega(metal_low),
        absorber_highest_MPa=_mega(metal_high),
        absorber_share=None if metal is None else metal.share,
        resist_film_MPa=None if edge is None else edge.film / 1e6,
        resist_edge_shear_MPa=None if edge is None else edge.shear / 1e6,
        resist_edge_peel_MPa=None if edge is None else edge.peel / 1e6,
        resist_share=None if resist is None else resist.share,
    )


def _mega(pascal: float | None) -> float | None:
    """MPa of Pa, where there is a value."""
    return None if pascal is None else pascal / 1e6


def checks(outcome: Outcome, tension: float | None) -> Checks:
    """What the solves proved about themselves; tension: needed to stay flat, Pa."""
    state, found = outcome.state, outcome.expansion
    assert found is not None
    gap = outcome.scene.stack.layer("gap").thickness
    return Checks(
        heat_balance=state.steady.balance,
        power_balance=state.power.balance,
        residual=state.steady.solution.residual,
        expansion_residual=found.motion.residual,
        membrane_flatness=outcome.membrane.factor if isfinite(outcome.membrane.factor) else None,
        membrane_tension_needed_MPa=None if tension is None else tension / 1e6,
        gap_left_um=1e6 * (gap + float(found.gap_change[0].min())),
    )


def mesh_block(state: State, difference: dict[str, float]) -> MeshBlock:
    """Size of the computation, what its last heat solve took, and what a coarser mesh changes."""
    took = state.steady.solution
    return MeshBlock(
        unknowns=state.steady.unknowns,
        cells=int(state.meshed.grid.active.sum()),
        solve=SolveBlock(
            residual=took.residual,
            iterations=took.iterations,
            seconds=took.seconds,
            bytes=took.nbytes,
        ),
        difference_on_refinement=difference,
    )


def assumed(case: Case) -> tuple[AssumedLine, ...]:
    """What the case did not give."""
    return tuple(
        AssumedLine(key=a.key, value=a.value, low=a.low, high=a.high, unit=a.unit, source=a.source)
        for a in case.assumed
    )
