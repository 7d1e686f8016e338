"""What a changed input leaves alone, so that it need not be worked out again."""

from thermo.answer.bodies import Name
from thermo.case import Case

ELASTIC = (  # inputs that heat does not feel
    "youngs_modulus",
    "poisson_ratio",
    "expansion",
    "tension",
    "measured_at",
    "mask.scale",
    "free_strain",
    "stiffness",
    "frame.joint.thickness",
)
LIGHT_AND_GAS = ("ring.", "beam.", "scan.", "chamber.")  # rooms of no solid part
SAME_STIFFNESS = (  # inputs that leave shape and supports; stiffness but for E at temperature
    "conductivity",
    "expansion",
    "measured_at",
    "mask.scale",
    "free_strain",
    "resistance",
    "contact",
    "emissivity",
    "cooling",
    "film",
    "water",
)


def is_as_stiff(key: str) -> bool:
    """Whether an input leaves shape and supports of both bodies, and stiffness but with heat."""
    return key.startswith(LIGHT_AND_GAS) or key.endswith(SAME_STIFFNESS)


def leaves_membrane(key: str) -> bool:
    """Whether an input changes a membrane's nearness to buckling by its heat alone."""
    if key == "mask.scale" or not key.startswith(("mask.", "materials.")):
        return True
    return is_as_stiff(key) and not key.endswith(ELASTIC)


def untouched(case: Case, key: str) -> Name | None:
    """The body that an elastic input leaves alone, if it does so with one."""
    if not key.endswith(ELASTIC):
        return None
    mask, sample = case.mask, case.sample
    joint = mask.frame.joint.material if mask.frame.joint else None
    parts = (mask.membrane.material, mask.absorber.material, mask.frame.material)
    of_mask = {*parts, mask.frame.mount, joint}
    of_sample = {*(la.material for la in sample.layers), sample.joint.material}
    room, _, name = key.partition(".")
    stuff = name.rpartition(".")[0]
    if room == "sample" or (stuff in {*of_sample, sample.holder.material} and stuff not in of_mask):
        return "mask"
    if room == "mask" or (stuff in of_mask and stuff not in {*of_sample, sample.holder.material}):
        return "sample"
    return None
