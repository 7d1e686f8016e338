"""Attenuation and local energy absorption of X-rays in a material.

    mu_att = mu_photo + mu_Compton                 photons lost to the forward beam     (1)
    mu_dep = mu_photo (1 - w) + mu_Compton r       energy that stays                    (2)

w is the share of photoelectric energy that leaves the layer as fluorescence, r the mean share of
a photon's energy that a Compton electron takes (Klein and Nishina, free electron at rest).
Rayleigh scattering is left out of the attenuation: it is forward and takes no energy.  Where the
photons go that fluorescence or Compton scattering send out of a layer is for `exchange` to say.

Cross sections: xraylib totals (T. Schoonjans et al., Spectrochim. Acta B 66 (2011) 776), which
agree with NIST SRD 126.  Its energy-absorption and Kissel totals are not used: they are wrong for
light elements.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import xraylib
import xraylib_np
from numpy.typing import NDArray
from scipy import constants, special

from thermo.beam.quadrature import gauss_legendre
from thermo.materials import Material

Array = NDArray[np.float64]
Mixture = tuple[tuple[tuple[str, float], ...], float]  # (formula, mass fraction)..., kg/m3
TO_SI = 0.1  # cm2/g in m2/kg
_SHELLS = range(xraylib.K_SHELL, xraylib.M5_SHELL + 1)
_LINES = (
    xraylib.KA_LINE,
    xraylib.KB_LINE,
    xraylib.L3M1_LINE,
    xraylib.LA_LINE,
    xraylib.LB_LINE,
    xraylib.L2N4_LINE,
)
LOWEST_LINE = 0.25  # keV: softer fluorescence never leaves a layer


@dataclass(frozen=True)
class Coefficients:
    """Linear coefficients of one material at given photon energies, 1/m, shape (energies,).

    lines: fluorescence as (line energy in keV, its share of the photoelectric energy (energies,),
    attenuation of the line's own photons in 1/m).
    """

    photo: Array
    compton: Array
    rayleigh: Array
    recoil: Array
    lines: tuple[tuple[float, Array, float], ...]

    @property
    def attenuation(self) -> Array:
        """Attenuation without Rayleigh scattering, 1/m, equation (1)."""
        return self.photo + self.compton

    def escape(self, thickness: float | None) -> Array:
        """Share w of photoelectric energy that leaves a layer as fluorescence, shape (energies,).

        Emission even through the layer of optical thickness tau = mu(line) t:
        escape = (1 - 2 E3(tau))/(2 tau).  None: a point with nothing around, all of it leaves.
        """
        lost = np.zeros_like(self.photo)
        for _, share, mu_line in self.lines:
            lost = lost + share * (1.0 if thickness is None else slab_escape(mu_line * thickness))
        return lost

    def deposition(self, thickness: float | None) -> Array:
        """Local energy absorption mu_dep, 1/m, equation (2), in a layer of this thickness (m)."""
        return self.photo * (1 - self.escape(thickness)) + self.compton * self.recoil


def slab_escape(tau: float) -> float:
    """Share of photons born evenly and isotropically in a slab that leave it uncollided."""
    if tau < 1e-6:
        return 1.0
    return float((1 - 2 * special.expn(3, tau)) / (2 * tau))


def recoil_share(energy: Array) -> Array:
    """Mean share of a photon's energy given to the Compton electron; energy in keV.

    r = integral (1 - P) dsigma / integral dsigma, dsigma ~ P^2 (P + 1/P - sin2) dcos, with
    P = 1/(1 + k (1 - cos)), k = E/mc2.  Source: O. Klein and Y. Nishina, Z. Phys. 52 (1929) 853.
    """
    return _recoil(np.ascontiguousarray(energy, float).tobytes()).reshape(np.shape(energy))


@lru_cache(maxsize=256)
def _recoil(energies: bytes) -> Array:
    energy = np.frombuffer(energies)
    cos, weight = gauss_legendre(32)
    k = energy[:, None] * 1e3 * constants.e / (constants.m_e * constants.c**2)
    P = 1 / (1 + k * (1 - cos))
    dsigma = weight * P**2 * (P + 1 / P - (1 - cos**2))
    return np.asarray(((1 - P) * dsigma).sum(-1) / dsigma.sum(-1))


def elements(composition: Mapping[str, float]) -> dict[int, float]:
    """Mass fraction by atomic number of a mixture of chemical formulas given by mass fraction."""
    share: dict[int, float] = {}
    for formula, part in composition.items():
        parsed = xraylib.CompoundParser(formula)
        for Z, mass in zip(parsed["Elements"], parsed["massFractions"], strict=True):
            share[Z] = share.get(Z, 0.0) + part * mass
    return share


@lru_cache(maxsize=256)
def _element_tables(Z: int, energies: bytes) -> tuple[Array, Array, Array]:
    energy = np.frombuffer(energies)
    one = np.array([Z])
    tables = (xraylib_np.CS_Photo, xraylib_np.CS_Compt, xraylib_np.CS_Rayl)
    photo, compton, rayleigh = (TO_SI * f(one, energy)[0] for f in tables)
    return photo, compton, rayleigh


@lru_cache(maxsize=256)
def _element_lines(Z: int, energies: bytes) -> tuple[tuple[float, Array], ...]:
    """Fluorescence of one element: (line energy keV, line energy emitted per mass, m2/kg)."""
    energy = np.frombuffer(energies)
    found = []
    for line in _LINES:
        try:
            line_energy = xraylib.LineEnergy(Z, line)
        except ValueError:  # this element has no such line
            continue
        if line_energy > LOWEST_LINE:
            emitted = TO_SI * xraylib_np.CS_FluorLine(np.array([Z]), np.array([line]), energy)[0, 0]
            found.append((line_energy, emitted * line_energy / energy))
    return tuple(found)


@lru_cache(maxsize=64)
def _element_jumps(Z: int) -> tuple[float, ...]:
    """Photon energies (keV) where the table of this element jumps, found by bisection.

    The library's edge energies differ from its own table's jumps by up to 2 eV.
    """
    jumps = []
    for shell in _SHELLS:
        try:
            edge = xraylib.EdgeEnergy(Z, shell)
        except ValueError:  # this element has no such shell
            continue
        low, high = edge - 0.004, edge + 0.004
        if low <= 0.11:
            continue
        middle = np.sqrt(xraylib.CS_Photo(Z, low) * xraylib.CS_Photo(Z, high))
        if not xraylib.CS_Photo(Z, high) > 1.01 * xraylib.CS_Photo(Z, low):
            continue
        while high - low > 1e-9:
            half = (low + high) / 2
            low, high = (low, half) if xraylib.CS_Photo(Z, half) > middle else (half, high)
        jumps.append(high)
    return tuple(jumps)


def absorption_jumps(composition: Mapping[str, float]) -> tuple[float, ...]:
    """Photon energies (keV) where a mixture's absorption jumps."""
    return tuple(e for Z in elements(composition) for e in _element_jumps(Z))


def mass_attenuation(composition: Mapping[str, float], energy: Array) -> Array:
    """Total mass attenuation with Rayleigh scattering, m2/kg; energy in keV, shape kept."""
    key = np.ascontiguousarray(energy, float).tobytes()
    return np.asarray(
        sum(part * sum(_element_tables(Z, key)) for Z, part in elements(composition).items())
    )


def mixture(material: Material) -> Mixture:
    """What X-rays see of a material: formulas with their mass fractions, and density in kg/m3."""
    return tuple(material.composition.items()), material.density.typical[0]


def coefficients(material: Material, energy: Array) -> Coefficients:
    """Linear coefficients of a material, 1/m, at photon energies in keV, shape (energies,)."""
    return coefficients_of(mixture(material), energy)


def coefficients_of(mixture: Mixture, energy: Array) -> Coefficients:
    """Linear coefficients, 1/m, at photon energies in keV, shape (energies,)."""
    energy = np.ascontiguousarray(energy, float)
    key = energy.tobytes()
    composition, rho = dict(mixture[0]), mixture[1]
    parts = elements(composition)
    photo, compton, rayleigh = (
        rho * sum(part * _element_tables(Z, key)[i] for Z, part in parts.items()) for i in range(3)
    )
    lines = [
        (line, rho * part * emitted / photo)
        for Z, part in parts.items()
        for line, emitted in _element_lines(Z, key)
    ]
    own = rho * mass_attenuation(composition, np.array([e for e, _ in lines]))
    return Coefficients(
        photo=np.asarray(photo),
        compton=np.asarray(compton),
        rayleigh=np.asarray(rayleigh),
        recoil=recoil_share(energy),
        lines=tuple((e, s, mu) for (e, s), mu in zip(lines, own.tolist(), strict=True)),
    )
