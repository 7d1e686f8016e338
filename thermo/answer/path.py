"""What the beam meets and what each thing takes: the model, its bracket, the photons' check."""

import numpy as np
from numpy.typing import NDArray

from thermo.answer.exposure import FACE, DosePlan
from thermo.answer.light import foils_of
from thermo.answer.scene import Scene
from thermo.answer.schema import PathLine, PhotonBlock, PhotonLine
from thermo.beam import (
    Bracket,
    PhotonHeat,
    Piece,
    behind,
    column_heat,
    follow_photons,
    power_bracket,
)

Array = NDArray[np.float64]
CUTS = (0, FACE, 0.25, 0.5, 0.75, 1 - FACE, 1)  # of the resist in the photons' count
MODEL = (
    "energy absorbed on the spot, and what fluorescence and Compton photons bring to other layers; "
    "Rayleigh scattering takes nothing; each band runs from bare energy absorption to attenuation; "
    "within about 1 % of the Monte Carlo of --photons in open layers, under absorber within about "
    "10 %: there the Monte Carlo is the reference; both know layers without an edge, so what open "
    "parts beside scatter under a fine absorber is estimated apart"
)


def source_words(scene: Scene) -> str:
    """The source in one line, with the distance at which a table's width is counted."""
    text = scene.beam.source.describe()
    table = scene.case.tables.get("ring.spectrum")
    if table is not None and "per_mm" in "".join(table.columns):
        text += f", per mm of width at {scene.case.beam.distance.value:.4g} m"
    return text


def path_lines(scene: Scene) -> tuple[PathLine, ...]:
    """Windows, filters, gas and the open column of the stack, in the order the beam meets them."""
    width, beam = 100 * scene.stack.lit_width, scene.beam  # cm
    foils = zip(foils_of(scene.case), beam.filters, strict=True)
    found = [
        PathLine(
            name=f"{number} {stopped.name}",
            material=stuff.name,
            thickness_mm=1e3 * thickness,
            absorbed_W_per_cm=stopped.absorbed / 100,
            low_W_per_cm=stopped.low / 100,
            high_W_per_cm=stopped.high / 100,
            heat_W=stopped.absorbed / 100 * width,
            transmission=stopped.transmission,
        )
        for number, ((_, stuff, thickness), stopped) in enumerate(foils, 1)
    ]
    pieces = scene.column(False)
    for piece, b in zip(pieces, _brackets(scene, pieces), strict=True):
        left = behind(beam, [piece])
        found.append(
            PathLine(
                name=piece.name,
                material=piece.material.name,
                thickness_mm=1e3 * piece.thickness,
                absorbed_W_per_cm=b.value / 100,
                low_W_per_cm=b.low / 100,
                high_W_per_cm=b.high / 100,
                heat_W=b.value / 100 * width,
                transmission=left.on_mask / beam.on_mask if beam.on_mask > 0 else 0.0,
            )
        )
        beam = left
    return tuple(found)


def _brackets(scene: Scene, pieces: list[Piece]) -> tuple[Bracket, ...]:
    return power_bracket(scene.beam.energy, scene.beam.power.sum(0), pieces)


def photon_block(scene: Scene, plan: DosePlan, photons: int, seed: int = 1) -> PhotonBlock:
    """Monte Carlo of the open and the covered column, and the doses it gives for this plan.

    Doses are the plan's own times (photons)/(default model) of a thin slab at the same place.
    """
    light, dark = (_followed(scene, covered, photons, seed) for covered in (False, True))
    ratio, _ = _against_model(scene, False, light)
    top, bottom = plan.top * float(ratio[0]), plan.bottom * float(ratio[-1])
    shade, error = _against_model(scene, True, dark)
    under = plan.under_absorber * float(shade[0])
    return PhotonBlock(
        photons=photons,
        seed=seed,
        open=_photon_lines(scene, False, light),
        covered=_photon_lines(scene, True, dark),
        resist_top_J_per_cm3=top / 1e6,
        resist_bottom_J_per_cm3=bottom / 1e6,
        ratio=top / bottom,
        under_absorber_J_per_cm3=under / 1e6,
        under_absorber_error_J_per_cm3=plan.under_absorber * float(error[0]) / 1e6,
    )


def _against_model(scene: Scene, covered: bool, found: PhotonHeat) -> tuple[Array, Array]:
    """Heat by photons over that of the default model in each slab of the resist, and its error."""
    model = column_heat(scene.beam, scene.column(covered, CUTS))
    at = scene.resist_number(covered)
    own = model.heat[at].sum(1)
    return found.heat[at] / own, found.error[at] / own


def _followed(scene: Scene, covered: bool, photons: int, seed: int) -> PhotonHeat:
    power = scene.beam.power.sum(0)
    return follow_photons(scene.beam.energy, power, scene.column(covered, CUTS), photons, seed)


def _photon_lines(scene: Scene, covered: bool, found: PhotonHeat) -> tuple[PhotonLine, ...]:
    lines = []
    for b in _brackets(scene, scene.column(covered)):
        value, error = found.total(b.name)
        lines.append(
            PhotonLine(
                name=b.name,
                model_W_per_cm=b.value / 100,
                low_W_per_cm=b.low / 100,
                high_W_per_cm=b.high / 100,
                photons_W_per_cm=value / 100,
                error_W_per_cm=error / 100,
            )
        )
    return tuple(lines)
