"""Settings that help a limit that is broken, and how far each can usually be turned.

Nearly all mask heat leaves through the gap into the resist, so more gas cools the mask and
slightly heats the resist: pressure and gap are levers of the mask only.  Reaches are common
practice: what is turned without a new design of mask or holder.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from thermo.answer.expansion import Expansion, write_scale
from thermo.answer.exposure import PERMILLE, lit_stripe, stroke_for
from thermo.answer.outcome import Outcome
from thermo.answer.speed import fastest
from thermo.answer.spread import CoarseRuns, try_setting
from thermo.beam import Motion
from thermo.case import Case, Filter, input_at
from thermo.decide.setting import FILTER, WATER, Setting, rounded, setting_of
from thermo.units import three_digits, to_unit

RESIST = ("scan.speed", FILTER, "ring.current", "sample.joint.resistance", "sample.holder.water")
MASK = (
    "scan.speed",
    FILTER,
    "ring.current",
    "gap.width",
    "chamber.pressure",
    "mask.frame.cooling",
)
DOSE = (FILTER,)
LEVERS: Mapping[str, tuple[str, ...]] = {
    "resist": RESIST,
    "mask": MASK,
    "dose_top": DOSE,
    "dose_ratio": DOSE,
    "dose_unevenness": ("scan.stroke",),
    "dose_under_absorber": ("mask.absorber.thickness",),
    "exposure_time": ("scan.stroke",),
    "gap_closing": ("gap.width",),
    "placement": ("mask.scale", "sample.holder.water", "ring.current"),
    "magnification": ("mask.scale", "sample.holder.water", "ring.current"),
    "blur": ("scan.speed", FILTER, "gap.width", "chamber.pressure", "ring.current"),
}
REACH: Mapping[str, float] = {  # the factor by which a setting is changed at most
    "scan.speed": 4.0,
    FILTER: 4.0,
    "ring.current": 0.2,
    "sample.joint.resistance": 0.1,
    "gap.width": 1 / 3,
    "chamber.pressure": 50.0,
    "mask.frame.cooling": 5.0,
    "mask.absorber.thickness": 2.0,
}
COLDER = 10.0  # K, the same of water
MOST_PRESSURE = 1e5  # Pa
STEP = 5.0  # K, by which the water is changed to see what it does


@dataclass(frozen=True)
class Lever:
    """A setting and its value at the end of its reach, SI.

    aimed : the value that helps most is known, and nothing short of it is looked at
    """

    setting: Setting
    far: float
    aimed: bool = False

    @property
    def ours(self) -> bool:
        """Whether the user turns it: the current is the ring's to give."""
        return self.setting.key != "ring.current"

    def value(self, share: float) -> float:
        """Value at a share of the reach, two digits, rounded away from the present one."""
        setting, present = self.setting, self.setting.present
        if self.aimed or share >= 1:
            return self.far
        assert present is not None  # only a foil that is added has none, and is aimed
        first, last = setting.place(present), setting.place(self.far)
        up = self.far > present
        near = rounded(setting, setting.value(first + share * (last - first)), up, digits=2)
        return min(near, self.far) if up else max(near, self.far)

    def text(self, value: float) -> str:
        """'scan.speed 5 -> 20 mm/s', in the unit of the case file."""
        setting, present = self.setting, self.setting.present or 0.0
        old, new = (to_unit(v, setting.unit, setting.kind) for v in (present, value))
        name = setting.key if setting.foil is None else f"{setting.foil} filter"
        name += "" if self.ours else ", where the ring can give less,"
        return f"{name} {three_digits(old)} -> {three_digits(new)} {setting.unit}".strip()


def levers_of(
    outcome: Outcome, runs: CoarseRuns, current: float | None, broken: Sequence[str]
) -> Iterator[Lever]:
    """Every lever of every broken limit that can be turned in this case.

    current : highest ring current that keeps the temperature limits, A, where it is known
    """
    case = outcome.scene.case
    for key in dict.fromkeys(key for name in broken for key in LEVERS.get(name, ())):
        if key == FILTER:
            yield from _foils(case)
            continue
        if key != "mask.scale" and input_at(case, key) is None:
            continue
        setting = setting_of(case, key)
        lever = _aimed(outcome, runs, setting, broken, current) or _reach(outcome, setting, broken)
        if lever is not None:
            yield lever


def _foils(case: Case) -> Iterator[Lever]:
    """The last foil in the beam made thicker, and every spare one added as it is."""
    foils = [f for f in case.beam.filters if isinstance(f, Filter)]
    for foil in foils[-1:]:
        setting = setting_of(case, FILTER + foil.material)
        yield Lever(setting, REACH[FILTER] * foil.thickness.value)
    for spare in case.beam.spare_filters:
        setting = setting_of(case, FILTER + spare.material)
        yield Lever(setting, (setting.present or 0.0) + spare.thickness.value, aimed=True)


def _aimed(
    outcome: Outcome,
    runs: CoarseRuns,
    setting: Setting,
    broken: Sequence[str],
    current: float | None,
) -> Lever | None:
    """The lever whose value is worked out, None where it is not or there is nothing to gain."""
    scaled, here = {"placement", "magnification"} & {*broken}, setting.present
    value: float | None = None
    if setting.key == "mask.scale":
        assert outcome.expansion is not None  # placement is known
        value = write_scale(outcome.expansion, outcome.scene.case)
    elif setting.key == "sample.holder.water" and scaled:
        value = nulling_water(outcome, runs)
    elif setting.key == "scan.stroke":
        value = _stroke(outcome, longer="dose_unevenness" in broken)
    elif setting.key == "ring.current" and {*broken} <= {"resist", "mask"}:
        value = None if current is None or here is None or current >= here else 0.98 * current
    return None if value is None else Lever(setting, value, aimed=True)


def _reach(outcome: Outcome, setting: Setting, broken: Sequence[str]) -> Lever | None:
    """The lever with its usual reach, None where that is nothing."""
    key, here = setting.key, setting.present
    aimed = key in ("mask.scale", "scan.stroke")
    if here is None or aimed or (key == "ring.current" and {*broken} <= {"resist", "mask"}):
        return None
    if key == "sample.holder.water":
        far = max(here - COLDER, WATER[0])
        return Lever(setting, far) if far < here else None
    factor = REACH[key]
    if key == "gap.width" and "gap_closing" in broken:
        factor = 1 / factor  # then a narrower gap is no cure
    far = factor * here
    if key == "scan.speed":
        far = min(far, fastest(outcome)) if isinstance(outcome.scene.motion, Motion) else 0.0
        return Lever(setting, far) if far > 1.1 * here else None
    if key == "chamber.pressure":
        far = min(far, MOST_PRESSURE)
        return Lever(setting, far) if far > here else None
    return Lever(setting, far)


def _stroke(outcome: Outcome, longer: bool) -> float | None:
    """Somewhat more than the stroke that is needed, where that is longer, or shorter, than now.

    Needed for an even dose to 0.1 %, or to the limit of the case: the finer one when lengthened.
    """
    scene = outcome.scene
    given, limit = input_at(scene.case, "scan.stroke"), scene.case.limits.dose_unevenness
    if given is None:
        return None
    lack = PERMILLE if limit is None else limit.value
    lack = min(lack, PERMILLE) if longer else lack
    stroke = 1.01 * stroke_for(scene, lit_stripe(scene), lack)
    return stroke if (stroke > given.value) == longer else None


def nulling_water(outcome: Outcome, runs: CoarseRuns) -> float | None:
    """Temperature of the sample's water at which the pattern is printed true to scale, K.

    Growth is linear in it: from two runs.  None where no cooling circuit brings it.
    """
    key, case = "sample.holder.water", outcome.scene.case
    given = case.sample.holder.water.value
    colder = try_setting(case, key, given - STEP)
    if colder is None or outcome.expansion is None:
        return None
    after = runs.changed(colder, key).expansion
    here, usual, other = map(_scale, (outcome.expansion, runs.rough.expansion, after))
    water = given + STEP * here / (other - usual) if other != usual else np.inf
    return float(water) if WATER[0] <= water <= WATER[1] else None


def _scale(expansion: Expansion | None) -> float:
    assert expansion is not None  # changed cases are expanded where placement is judged
    return expansion.fits[1].magnification
