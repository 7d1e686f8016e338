"""The exposure plan as text."""

import numpy as np

from thermo.answer.exposure import DosePlan
from thermo.answer.scene import Scene
from thermo.answer.schema import DoseBlock


def dose_text(scene: Scene, plan: DosePlan, block: DoseBlock) -> str:
    """Time, passes, charge, overscan, and dose against depth."""
    rows = [scene.case.title, *_time(scene, block), *_overscan(scene, block)]
    rows.append(
        f"  doses    top {block.resist_top_J_per_cm3:.4g}, bottom "
        f"{block.resist_bottom_J_per_cm3:.4g} J/cm3, ratio {block.ratio:.3g}, under absorber "
        f"{block.under_absorber_J_per_cm3:.3g} J/cm3 (uncertain by about 25 %)"
    )
    rows += ["", "  depth um   dose J/cm3"]
    for depth in np.linspace(0, plan.depth[-1], 9):
        value = np.interp(depth, plan.depth, plan.dose)
        bar = "#" * max(1, round(40 * value / plan.top))
        rows.append(f"  {1e6 * depth:8.0f}   {value / 1e6:10.4g}  {bar}")
    return "\n".join(rows) + "\n"


def _time(scene: Scene, block: DoseBlock) -> list[str]:
    passes = "" if block.passes is None else f" in {block.passes} passes"
    rows = [f"  time     {block.time_s / 60:.4g} min{passes}"]
    if scene.case.ring.lifetime is not None:
        steady = "" if block.passes is None else f" in {block.passes_constant_current} passes"
        minutes = block.time_constant_current_s / 60
        rows[0] += f" with the ring's lifetime; {minutes:.4g} min{steady} at constant current"
    rows.append(f"  charge   {block.charge_mA_min_per_cm:.4g} mA min per cm of scan")
    return rows


def _overscan(scene: Scene, block: DoseBlock) -> list[str]:
    motion = scene.motion
    if motion is None or block.stroke_needed_mm is None or block.unevenness_percent is None:
        return ["  held beam: the doses are those at the stripe's middle"]
    stroke, needed = 1e3 * motion.stroke, block.stroke_needed_mm
    short = ": TOO SHORT" if stroke < needed else ""
    return [
        f"  stroke   {stroke:.4g} mm, needed {needed:.4g} mm for an even dose (0.1 %){short}",
        f"  evenness {block.unevenness_percent:.2g} % peak to valley over the field's height",
    ]
