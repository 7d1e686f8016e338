"""The exposure planned from the case: what `warmstack dose` says, without solving for heat."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from thermo.answer.blocks import beam_block, dose_block
from thermo.answer.cautions import CAUTIONS
from thermo.answer.dose_schema import (
    DepthLine,
    DoseReport,
    FilterLine,
    MotionBlock,
    Remark,
)
from thermo.answer.exposure import DosePlan, dose_plan
from thermo.answer.filters import FilterChoice, filter_choices
from thermo.answer.light import beam_of
from thermo.answer.outcome import EVEN
from thermo.answer.path import path_lines, photon_block
from thermo.answer.resist import softens_with_dose
from thermo.answer.scene import Scene
from thermo.answer.schema import CaseBlock
from thermo.beam import Wiggler
from thermo.materials import practice, practice_note, softening_by_dose

CASE = "limit of the case"
COARSE = 3.0  # %: the dose of one pass that practice allows
ROWS = 9  # of the table of dose against depth
PLACES = 8  # intervals of the stroke in the table of time spent


@dataclass(frozen=True)
class _Limit:
    """Lowest and highest value that is asked for, SI, and who asks."""

    low: float
    high: float
    source: str


def dose_report(scene: Scene, done: float = 0.0, photons: int = 0) -> DoseReport:
    """Plan of a scene as data.

    done : passes' worth given before a stop, at the ring current of the case
    photons : how many to follow in the Monte Carlo check; 0: none
    """
    plan = dose_plan(scene, done=done)
    limits = _limits(scene)
    ratio = limits.get("dose_ratio")
    choices = filter_choices(scene, ratio.high) if ratio and not done else ()
    total = None if plan.passes is None else plan.passes + plan.done
    return DoseReport(
        case=CaseBlock(
            title=scene.case.title,
            sha256=scene.case.sha256,
            settings=dict(scene.case.settings),
        ),
        beam=beam_block(scene),
        path=path_lines(scene),
        dose=dose_block(plan),
        wanted_J_per_cm3=plan.wanted / 1e6,
        done_passes=plan.done,
        step_percent=100 / total if total else None,
        depth=_depths(plan),
        motion=_motion(scene, plan),
        remarks=tuple(_remarks(scene, plan, limits)),
        note=practice_note(scene.stack.resist.material),
        ratio_limit=None if ratio is None else ratio.high,
        filters=tuple(_filter_line(c, ratio.high, plan) for c in choices) if ratio else (),
        photons=photon_block(scene, plan, photons) if photons else None,
        cautions=CAUTIONS[:2],
    )


def _depths(plan: DosePlan) -> tuple[DepthLine, ...]:
    at = np.linspace(0, plan.depth[-1], ROWS)
    dose = np.exp(np.interp(at, plan.depth, np.log(plan.dose)))
    return tuple(
        DepthLine(depth_um=1e6 * z, dose_J_per_cm3=D / 1e6)
        for z, D in zip(at.tolist(), dose.tolist(), strict=True)
    )


def _motion(scene: Scene, plan: DosePlan) -> MotionBlock | None:
    motion = scene.motion
    if motion is None:
        return None
    assert plan.stroke_needed is not None
    assert plan.stroke_for_1_percent is not None
    assert plan.unevenness is not None
    field, limit = scene.stack.pattern.field.height, scene.case.limits.dose_unevenness
    edges = np.linspace(-motion.stroke / 2, motion.stroke / 2, PLACES + 1)
    middles = 1e3 * (edges[:-1] + edges[1:]) / 2
    spent = 1e-3 * motion.time_density(edges)
    return MotionBlock(
        stroke_mm=1e3 * motion.stroke,
        speed_mm_per_s=1e3 * motion.speed,
        pass_time_s=motion.pass_time,
        turn_mm=1e3 * motion.turn,
        duty=motion.duty(field),
        stroke_needed_mm=1e3 * plan.stroke_needed,
        stroke_for_1_percent_mm=1e3 * plan.stroke_for_1_percent,
        unevenness_percent=100 * plan.unevenness,
        unevenness_limit_percent=None if limit is None else 100 * limit.value,
        time_s_per_mm=tuple(zip(middles.tolist(), spent.tolist(), strict=True)),
    )


def _limits(scene: Scene) -> dict[str, _Limit]:
    """What the case asks for, else what is usual for this resist."""
    usual = {p.name: p for p in practice(scene.stack.resist.material)}
    least = usual.pop("dose_bottom_low", None)
    found = {
        name.removesuffix("_high"): _Limit(
            least.value if least and name == "dose_bottom_high" else 0.0, p.value, p.source
        )
        for name, p in usual.items()
    }
    for name in ("dose_top", "dose_ratio", "dose_under_absorber"):
        given = getattr(scene.case.limits, name)
        if given is not None:
            found[name] = _Limit(0.0, given.value, CASE)
    return found


def _remarks(scene: Scene, plan: DosePlan, limits: dict[str, _Limit]) -> Iterator[Remark]:
    values = {
        "dose_bottom": plan.bottom,
        "dose_top": plan.top,
        "dose_ratio": plan.ratio,
        "dose_under_absorber": plan.under_absorber,
    }
    for name, limit in limits.items():
        value, unit = values[name], "" if name == "dose_ratio" else "J/cm3"
        scale = 1.0 if name == "dose_ratio" else 1e-6
        yield Remark(
            name=name,
            value=value * scale,
            low=limit.low * scale if limit.low > 0 else None,
            high=limit.high * scale,
            unit=unit,
            met=bool(limit.low * (1 - 1e-3) <= value <= limit.high * (1 + 1e-3)),
            source=limit.source,
        )
    if "dose_under_absorber" in limits:
        fine = plan.under_absorber + plan.scattered
        most = limits["dose_under_absorber"].high
        yield Remark(
            name="under_fine_absorber",
            value=fine / 1e6,
            low=None,
            high=most / 1e6,
            unit="J/cm3",
            met=fine <= most,
            source="upper estimate, with light that open parts beside scatter in",
        )
    if plan.unevenness is not None:
        even, source = EVEN, "common practice, from memory: lengthen the stroke"
        if (given := scene.case.limits.dose_unevenness) is not None:
            even, source = given.value, CASE
        yield _share("dose_along_the_scan", 100 * plan.unevenness, 100 * even, source)
    if (time := scene.case.limits.time) is not None and not plan.done:
        yield Remark(
            name="exposure_time",
            value=plan.time / 60,
            low=None,
            high=time.value / 60,
            unit="min",
            met=plan.time <= time.value,
            source=CASE,
        )
    if isinstance(scene.beam.source, Wiggler):
        yield _share("dose_at_the_side", _side_loss(scene, plan), COARSE, "field of the wiggler")
    yield from _beyond_the_data(scene, plan)
    if plan.passes and 100 / (plan.passes + plan.done) > COARSE:
        source = "common practice, from memory: scan faster for more passes"
        yield _share("dose_step", 100 / (plan.passes + plan.done), COARSE, source)


def _share(name: str, value: float, limit: float, source: str) -> Remark:
    return Remark(
        name=name, value=value, low=None, high=limit, unit="%", met=value <= limit, source=source
    )


def _side_loss(scene: Scene, plan: DosePlan) -> float:
    """How much less than in the middle the bottom gets at the side of the field, per cent."""
    behind = [layer.material for layer in scene.stack.layers if not layer.is_contact]
    beam = beam_of(scene.case, behind, scene.stack.pattern.field.width / 2)
    side, middle = (
        s.resist_dose_rate(False, plan.depth) for s in (replace(scene, beam=beam), scene)
    )
    return 100 * float(1 - side.min() / middle.min())


def _beyond_the_data(scene: Scene, plan: DosePlan) -> Iterator[Remark]:
    """Where the dose leaves what is published of the resist's softening."""
    if not softens_with_dose(scene.stack.resist.material):
        return
    _, beyond, source = softening_by_dose(plan.top)
    if beyond:
        most = scene.stack.resist.material.softening[-1].dose or 0.0
        yield Remark(
            name="softening_data",
            value=plan.top / 1e6,
            low=None,
            high=most / 1e6,
            unit="J/cm3",
            met=False,
            source=source,
        )


def _filter_line(choice: FilterChoice, limit: float, now: DosePlan) -> FilterLine:
    plan = choice.plan
    times = None if plan is None else plan.charge_per_length / now.charge_per_length
    return FilterLine(
        material=choice.material,
        added=choice.added,
        before_um=1e6 * choice.before,
        thickness_um=1e6 * choice.thickness,
        ratio=None if plan is None else plan.ratio,
        resist_top_J_per_cm3=None if plan is None else plan.top / 1e6,
        time_s=None if plan is None else plan.time,
        beam_time_factor=times,
        meets=plan is not None and plan.ratio <= limit,
    )
