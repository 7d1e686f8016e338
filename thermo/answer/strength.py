"""Stress of membrane, absorber metal and resist beside the strength of their materials.

A planning estimate: counted from the temperatures of measurement, without what plating or a bake
has left, and without the corners of a pattern, where stress is higher than told here.  A membrane
that is past its flat state sheds part of its push; its stress is told as if it did not.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.answer.mounts import elastic_constants
from thermo.answer.outcome import Outcome
from thermo.case.stack import Layer
from thermo.elastic import cell_stress, edge_stress
from thermo.materials import Material

Array = NDArray[np.float64]
ABSORBER = 2  # its place among the mask's slabs
TELLING = 0.5  # share of the strength from which on it is told


@dataclass(frozen=True)
class Strength:
    """Stress of one part beside what its material bears.

    stress : those that count, Pa, > 0 where they pull
    typical, least : strength of the material, Pa; None where it is not known
    """

    part: str
    material: str
    stress: tuple[float, ...]
    typical: float | None
    least: float | None

    @property
    def share(self) -> float | None:
        """Largest stress, pull or push, over the least strength; None where that is not known."""
        return None if self.least is None else max(map(abs, self.stress)) / self.least


@dataclass(frozen=True)
class ResistStress:
    """Stress of the resist on its base, Pa.

    film : in its plane, far from its edges, > 0 pulls
    shear, peel : between resist and base at the edge; a peel > 0 lifts the edge off
    """

    film: float
    shear: float
    peel: float


def membrane_strength(outcome: Outcome) -> Strength:
    """Normal stress of the clear membrane at its hottest, initial tension and all: ends of it."""
    return _beside(outcome, "membrane", outcome.membrane.stress)


def absorber_strength(outcome: Outcome) -> Strength | None:
    """Stress in the plane of the absorber's metal when the membrane is hottest: ends of it.

        e = (sigma_i - nu_l sigma_j)/E_l,   sigma_m = E/(1 - nu2) (e_i + nu e_j)

    sigma, E_l, nu_l : of the even layer that stands for the metal. It strains with the membrane and
    expands like the metal, so e is what the membrane denies the metal, and sigma_m = E/(1 - nu)
    (e_membrane - alpha dT) where both directions are alike: the stress of metal that is held flat
    on the mean membrane. Islands strain the membrane beneath them towards their own size, so that
    theirs is less; at the edges of openings in connected metal it may be twice as much.

    None where there is no metal.
    """
    membrane, state = outcome.membrane, outcome.state
    solid = membrane.body.held.solid
    on = solid.active[ABSORBER]
    if not on.any():
        return None
    found = cell_stress(solid, np.nan_to_num(membrane.u), membrane.rise)[ABSORBER, on]
    i = state.scene.stack.index("absorber")
    E, nu, _ = elastic_constants(state.scene.stack.layers[i], state.layer_T[i])
    layer = solid.E[ABSORBER, on], solid.nu[ABSORBER, on]
    sigma = metal_stress(found[:, :, :2], *layer, E, nu)
    return _beside(outcome, "absorber", (float(sigma.min()), float(sigma.max())))


def metal_stress(sigma: Array, E_layer: Array, nu_layer: Array, E: float, nu: float) -> Array:
    """Stress of metal that is strained like an even layer of another stiffness, Pa, as sigma.

    sigma_m of `absorber_strength`.
    sigma : xx and yy of the even layer, Pa, (cells, heights, 2);  E_layer, nu_layer : (cells,)
    """
    E_l, nu_l = E_layer[:, None, None], nu_layer[:, None, None]
    e = (sigma - nu_l * sigma[..., ::-1]) / E_l
    return np.asarray(E / (1 - nu**2) * (e + nu * e[..., ::-1]))


def resist_strength(outcome: Outcome, stress: ResistStress) -> Strength:
    """Stress of the resist, its film's and its edge's, beside its strength.

    A peel that presses the edge on does not count.
    """
    counted = (stress.film, stress.shear, max(stress.peel, 0.0))
    return _beside(outcome, outcome.scene.stack.resist.name, counted)


def resist_on_base(outcome: Outcome) -> ResistStress | None:
    """Stress of the resist on its base at the mean state, each layer at its own mean."""
    state, stack = outcome.state, outcome.scene.stack
    own = [i for i, layer in enumerate(stack.layers) if layer.body == "sample"]
    T, measured = [state.layer_T[i] for i in own], outcome.scene.case.sample.measured_at.value
    return layers_stress([stack.layers[i] for i in own], T, measured)


def layers_stress(layers: list[Layer], T: list[float], measured: float) -> ResistStress | None:
    """Stress of the first of some layers that are joined and kept flat; None for one alone.

        e = alpha (T - measured) + free strain,   M = E/(1 - nu)
        film = M_1 (sum M h e/sum M h - e_1)

    Edge: shear lag between the resist and the stiffest layer (E h) of its base, those between them
    as a joint of sum h/G; left to bow. Within a factor of two.

    T : temperature of each layer, K;  measured : that at which nothing is strained, K
    """
    if len(layers) < 2:
        return None
    constants = zip(layers, T, strict=True)
    E, nu, alpha = np.transpose([elastic_constants(layer, own) for layer, own in constants])
    h = np.array([layer.thickness for layer in layers])
    e = alpha * (np.array(T) - measured) + np.array([layer.free_strain for layer in layers])
    M = E / (1 - nu)
    film = M[0] * ((M * h * e).sum() / (M * h).sum() - e[0])
    base = 1 + int(np.argmax((E * h)[1:]))
    pair, between = [0, base], slice(1, base)
    glue = float((2 * (1 + nu) * h / E)[between].sum())
    edge = edge_stress(E[pair], nu[pair], e[pair], h[pair], glue)
    return ResistStress(float(film), edge.shear, edge.peel)


@dataclass(frozen=True)
class Strengths:
    """The parts beside their strengths; None where there is no metal, or no base under the resist.

    film : of the resist, with its edge
    """

    membrane: Strength
    absorber: Strength | None
    resist: Strength | None
    film: ResistStress | None


def strengths(outcome: Outcome) -> Strengths:
    """Stress of all parts of an outcome."""
    film = resist_on_base(outcome)
    resist = None if film is None else resist_strength(outcome, film)
    return Strengths(membrane_strength(outcome), absorber_strength(outcome), resist, film)


def strength_words(found: Strengths) -> tuple[str, ...]:
    """A sentence for every part whose stress is above half the least strength of its material."""
    parts = found.membrane, found.absorber, found.resist
    return tuple(
        words(part) for part in parts if part and part.share is not None and part.share > TELLING
    )


def is_exceeded(found: Strengths) -> bool:
    """Whether membrane or resist is above the strength of its material; a metal just yields."""
    parts = found.membrane, found.resist
    return any(
        part is not None and part.typical is not None and max(map(abs, part.stress)) > part.typical
        for part in parts
    )


def words(found: Strength) -> str:
    """One sentence on a stress beside a strength that is known."""
    assert found.typical is not None
    assert found.least is not None
    most = max(map(abs, found.stress))
    where = f"up to {most / 1e6:.3g} MPa in the {found.part}"
    typical, least = (f"{value / 1e6:.3g} MPa" for value in (found.typical, found.least))
    if most > found.typical:
        return f"{where} exceed the strength of {found.material}, {typical} (least {least})"
    if most > found.least:
        return f"{where} may exceed the strength of {found.material}, {typical} (least {least})"
    return (
        f"{where} are {most / found.least:.2f} of the least strength of {found.material}, {least}"
    )


def _beside(outcome: Outcome, name: str, stress: tuple[float, ...]) -> Strength:
    i = outcome.scene.stack.index(name)
    stuff = outcome.scene.stack.layers[i].material
    typical, least = _strength(stuff, outcome.state.layer_T[i])
    return Strength(name, stuff.name, stress, typical, least)


def _strength(stuff: Material, T: float) -> tuple[float | None, float | None]:
    """Typical and least strength at T (K), Pa: the range widens in proportion."""
    found = stuff.strength
    if found is None:
        return None, None
    typical = found(T)
    return typical, found.low * typical / found.typical[0]
