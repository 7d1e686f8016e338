"""The stack as described, no mesh: layers in the order in which the beam meets them.

Two bodies, mask (frame, membrane, absorber) and sample (resist, base layers), face each other
across the gap; the absorber layer is thought to run over the whole membrane, with coverage 0 where
there is no metal; the joint ties the sample to the water-cooled holder.  z = 0 at the resist's lit
face, z along the beam, x = y = 0 at the middle of the pattern field.
"""

from dataclasses import dataclass, replace
from typing import Literal

from thermo.case.mask import Membrane
from thermo.case.pattern import Outline, Pattern, disc
from thermo.case.sample import Holder, Sample
from thermo.case.schema import Case
from thermo.materials import Material, gas_at

Body = Literal["mask", "gap", "sample", "joint", "holder"]
CONTACT = 10e-6  # m, drawn thickness of a joint that is a bare contact: its resistance counts


@dataclass(frozen=True)
class Layer:
    """One layer: name, body, material, thickness (m), outline, and the hole in a frame.

    resistance : contact resistance in series with the layer, m2 K/W
    free_strain : change of length it would have by itself, negative where it has shrunk
    """

    name: str
    body: Body
    material: Material
    thickness: float
    outline: Outline
    opening: Outline | None = None
    resistance: float = 0.0
    free_strain: float = 0.0

    @property
    def is_contact(self) -> bool:
        """Whether this is a bare contact, drawn thick but with nothing in it."""
        return self.body == "joint" and self.material.kind == "gas"


@dataclass(frozen=True)
class Stack:
    """All layers from the beam side, the pattern, and the lit width (m)."""

    layers: tuple[Layer, ...]
    pattern: Pattern
    lit_width: float

    def index(self, name: str) -> int:
        """Place of a layer in the stack."""
        return [layer.name for layer in self.layers].index(name)

    def layer(self, name: str) -> Layer:
        """A layer by its name."""
        return self.layers[self.index(name)]

    @property
    def resist(self) -> Layer:
        """The first layer of the sample."""
        return next(layer for layer in self.layers if layer.body == "sample")

    @property
    def outlines(self) -> dict[str, Outline]:
        """Outlines of the parts and of the clear opening; those of the gap follow from them."""
        found = {layer.name: layer.outline for layer in self.layers if layer.body != "gap"}
        return {"opening": self.pattern.clear, **found}


def outline_of(part: Membrane | Sample | Holder) -> Outline:
    """Outline of a part that is given by its diameter, or by width and height."""
    if part.diameter is not None:
        return disc(part.diameter.value)
    assert part.width is not None  # the case room asks for one way
    assert part.height is not None
    return Outline(part.width.value, part.height.value)


def build_stack(case: Case) -> Stack:
    """Layers of a checked case, in beam order."""
    mask, sample = case.mask, case.sample
    clear = outline_of(mask.membrane)
    whole = clear.grown(mask.frame.border.value)
    field = Outline(mask.absorber.width.value, mask.absorber.height.value)
    face = outline_of(sample)
    holder = outline_of(sample.holder)
    stuff = case.materials

    def layer(name: str, body: Body, part: object, outline: Outline) -> Layer:
        return Layer(name, body, stuff[part.material], part.thickness.value, outline)  # type: ignore[attr-defined]

    frame = replace(
        layer("frame", "mask", mask.frame, whole),
        opening=clear,
        resistance=mask.frame.contact.value,
    )
    membrane = layer("membrane", "mask", mask.membrane, whole)
    absorber = layer("absorber", "mask", mask.absorber, whole)
    facing = whole.common(face)
    chamber = case.chamber
    gas = gas_at(stuff[chamber.gas], chamber.pressure.value, chamber.temperature.value)
    gap = Layer("gap", "gap", gas, case.gap.width.value, facing)
    base = tuple(
        replace(
            layer(part.name, "sample", part, face),
            free_strain=0.0 if part.free_strain is None else part.free_strain.value,
        )
        for part in sample.layers
    )
    joint = _joint(case, face)
    back = layer("holder", "holder", sample.holder, holder)
    beyond = 1.0 if mask.absorber.surround == "covered" else 0.0
    pattern = Pattern(field, mask.absorber.rows, clear, beyond)
    layers = (frame, membrane, absorber, gap, *base, joint, back)
    return Stack(layers, pattern, case.beam.width.value)


def _joint(case: Case, outline: Outline) -> Layer:
    joint = case.sample.joint
    contact = joint.resistance.value
    if joint.material is None or joint.thickness is None:
        gas = case.materials[case.chamber.gas]
        return Layer("joint", "joint", gas, CONTACT, outline, resistance=contact)
    stuff = case.materials[joint.material]
    return Layer("joint", "joint", stuff, joint.thickness.value, outline, resistance=contact)
