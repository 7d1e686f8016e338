"""Settings that help a limit that is broken, and how far each can usually be turned.

Nearly all mask heat leaves through the gap into the resist, so more gas cools the mask and
slightly heats the resist: pressure and gap are levers of the mask only.  Reaches are common
practice: what is turned without a new design of mask or holder.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.expansion import Expansion, write_scale
from thermo.answer.exposure import PERMILLE, lit_stripe, stroke_for
from thermo.answer.outcome import Outcome
from thermo.answer.speed import fastest
from thermo.answer.spread import try_setting
from thermo.answer.temperature import ZERO_C
from thermo.beam import Motion
from thermo.case import Case, Filter, input_at
from thermo.decide.setting import (
    FILTER,
    MOST_PRESSURE,
    WATER,
    Setting,
    rounded,
    setting_of,
)
from thermo.units import parse_quantity, three_digits, to_unit

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
SCALED = frozenset({"placement", "magnification"})  # limits that the scale of the pattern moves
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
STEP = 5.0  # K, by which the water is changed to see what it does
HAIR = 1e-6  # tenths of a kelvin: what counts as none
FASTER = 1.1  # the least factor by which a scan is worth making faster


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

    @property
    def what(self) -> str:
        """What is turned: of foils their material, as one may be added where another would."""
        return self.setting.foil or self.setting.key

    def value(self, share: float) -> float:
        """Value at a share of the reach: two digits, temperatures 0.1 K, away from the present."""
        setting, present = self.setting, self.setting.present
        if self.aimed or share >= 1:
            return self.far
        assert present is not None  # only a foil that is added has none, and is aimed
        first, last = setting.place(present), setting.place(self.far)
        up = self.far > present
        wanted = setting.value(first + share * (last - first))
        if setting.kind == "temperature":
            tenths = 10 * (wanted - ZERO_C)
            near = ZERO_C + float((np.ceil(tenths - HAIR) if up else np.floor(tenths + HAIR)) / 10)
        else:
            near = rounded(setting, wanted, up, digits=2)
        return min(near, self.far) if up else max(near, self.far)

    def text(self, value: float) -> str:
        """'scan.speed 5 -> 20 mm/s', in the unit of the case file."""
        setting, present = self.setting, self.setting.present or 0.0
        old, new = (self._told(v) for v in (present, value))
        name = setting.key if setting.foil is None else f"{setting.foil} filter"
        name += "" if self.ours else ", where the ring can give less,"
        return f"{name} {old} -> {new} {setting.unit}".strip()

    def _told(self, value: float) -> str:
        found = to_unit(value, self.setting.unit, self.setting.kind)
        return f"{found:.4g}" if self.setting.kind == "temperature" else three_digits(found)


def _lever(setting: Setting, far: float | None, aimed: bool = False) -> Lever | None:
    """A lever whose end is what is printed of it: three digits, temperatures 0.1 K."""
    if far is None:
        return None
    if setting.kind == "temperature":
        return Lever(setting, ZERO_C + round(10 * (far - ZERO_C)) / 10, aimed)
    told = three_digits(to_unit(far, setting.unit, setting.kind))
    return Lever(
        setting, parse_quantity(f"{told} {setting.unit}".strip(), setting.kind).value, aimed
    )


def levers_of(
    outcome: Outcome, runs: CoarseRuns, current: float | None, broken: Sequence[str]
) -> Iterator[Lever]:
    """Every lever of every broken limit that can be turned in this case.

    current : highest ring current that keeps the temperature limits, A, where it is known
    """
    case, limits = outcome.scene.case, {*broken}
    for key in dict.fromkeys(key for name in broken for key in LEVERS.get(name, ())):
        if key == FILTER:
            yield from _foils(case)
            continue
        if key != "mask.scale" and input_at(case, key) is None:
            continue
        setting = setting_of(case, key)
        lever = (
            _lever(setting, _aim(outcome, runs, setting, limits, current), aimed=True)
            if _is_aimed(key, limits)
            else _lever(setting, _end(outcome, setting, limits))
        )
        if lever is not None:
            yield lever


def _foils(case: Case) -> Iterator[Lever]:
    """The last foil in the beam made thicker, and every spare one added as it is."""
    foils = [f for f in case.beam.filters if isinstance(f, Filter)]
    wanted = [(f.material, REACH[FILTER] * f.thickness.value, False) for f in foils[-1:]]
    wanted += [(f.material, f.thickness.value, True) for f in case.beam.spare_filters]
    for material, thickness, spare in wanted:
        setting = setting_of(case, FILTER + material)
        more = (setting.present or 0.0) if spare else 0.0
        lever = _lever(setting, more + thickness, aimed=spare)
        if lever is not None:
            yield lever


def _is_aimed(key: str, broken: set[str]) -> bool:
    """Whether the value that helps most is worked out."""
    if key == "sample.holder.water":
        return not broken.isdisjoint(SCALED)
    if key == "ring.current":
        return broken <= {"resist", "mask"}
    return key in ("mask.scale", "scan.stroke")


def _aim(
    outcome: Outcome,
    runs: CoarseRuns,
    setting: Setting,
    broken: set[str],
    current: float | None,
) -> float | None:
    """The value that helps most, None where it is not known or there is nothing to gain."""
    if setting.key == "mask.scale":
        assert outcome.expansion is not None  # placement is known
        return write_scale(outcome.expansion, outcome.scene.case)
    if setting.key == "sample.holder.water":
        return nulling_water(outcome, runs)
    if setting.key == "scan.stroke":
        return _stroke(outcome, longer="dose_unevenness" in broken)
    here = outcome.scene.case.ring.current.value
    return None if current is None or current >= here else 0.98 * current


def _end(outcome: Outcome, setting: Setting, broken: set[str]) -> float | None:
    """The end of a setting's usual reach, None where there is nothing to gain."""
    key, here = setting.key, setting.present
    assert here is not None  # an input of the case
    if key == "sample.holder.water":
        far = max(here - COLDER, WATER[0])
        return far if far < here else None
    factor = REACH[key]
    if key == "gap.width" and "gap_closing" in broken:
        factor = 1 / factor  # then a narrower gap is no cure
    far = factor * here
    if key == "scan.speed":
        far = min(far, fastest(outcome))  # 0 where nothing scans at a speed
        return far if far > FASTER * here else None
    if key == "chamber.pressure":
        far = min(far, MOST_PRESSURE)
        return far if far > here else None
    return far


def _stroke(outcome: Outcome, longer: bool) -> float | None:
    """Somewhat more than the stroke that is needed, where that is longer, or shorter, than now.

    Needed for an even dose to 0.1 %, or to the limit of the case: the finer one when lengthened.
    """
    scene = outcome.scene
    given, limit = input_at(scene.case, "scan.stroke"), scene.case.limits.dose_unevenness
    if given is None or not isinstance(scene.motion, Motion):
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
