"""What a photon does when it collides in a material, in packets of energy.

A packet is an amount of energy carried by photons of one photon energy E.  At a collision its
energy splits, on average, into

    stays     [mu_photo (1 - sum_l w_l) + mu_Compton r] / mu                (1)
    Rayleigh  mu_Rayleigh / mu                                              (2)
    Compton   mu_Compton (1 - r) / mu                                       (3)
    line l    mu_photo w_l / mu,     mu = mu_photo + mu_Compton + mu_Rayleigh   (4)

with w_l the share of photoelectric energy sent out as fluorescence line l (K and L lines, at most
one for each absorption) and r the mean recoil share.  A packet that takes one of the four as a
whole, with these probabilities, keeps its energy: the mean of every power is as with single
photons, and the balance is exact.  Angles, c the cosine of the turn:

    Compton   dp/dc ~ P [P^2 (P + 1/P - 1 + c^2)],  P = 1/(1 + k (1 - c)),  k = E/mc2    (5)
    Rayleigh  dp/dc ~ (1 + c^2) F(x)^2,   x = (E/hc) sqrt((1 - c)/2)        (6)
    lines     isotropic

(5) is the law of O. Klein and Y. Nishina, Z. Phys. 52 (1929) 853, times the energy P E that goes
on.  F(x)^2 is the sum over the atoms of the squared atomic form factor, from xraylib (T. Schoonjans
et al., Spectrochim. Acta B 66 (2011) 776).
"""

from dataclasses import dataclass

import numpy as np
import xraylib
from numpy.typing import NDArray
from scipy import constants

from thermo.beam.attenuation import coefficients, elements
from thermo.materials import Material

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
HC = 1e7 * constants.h * constants.c / constants.e  # keV angstrom
REST = 1e-3 * constants.m_e * constants.c**2 / constants.e  # keV
STAYS, RAYLEIGH, COMPTON, FIRST_LINE = range(4)


@dataclass(frozen=True, eq=False)
class Collisions:
    """Collisions in one material, tabulated at given photon energies.

    attenuation : mu with Rayleigh scattering, 1/m, shape (energies,)
    share : share of a packet's energy by outcome, (energies, outcomes): (1), (2), (3), each line
    lines : photon energies of the lines, keV
    momentum2 : x^2, 1/angstrom2, rising from 0;  form2 : integral of F^2 over x^2 up to there
    """

    attenuation: Array
    share: Array
    lines: Array
    momentum2: Array
    form2: Array


def collisions(material: Material, energy: Array) -> Collisions:
    """Attenuation, outcomes and form factor of a material at photon energies in keV."""
    mu = coefficients(material, energy)
    lines = [mu.photo * share for _, share, _ in mu.lines]
    stays = mu.photo - sum(lines) + mu.compton * mu.recoil
    parts = [stays, mu.rayleigh, mu.compton * (1 - mu.recoil), *lines]
    attenuation = mu.attenuation + mu.rayleigh
    momentum2, form2 = _form_factor(material, float(energy.max()))
    return Collisions(
        attenuation=attenuation,
        share=np.stack(parts, axis=-1) / attenuation[:, None],
        lines=np.array([line for line, _, _ in mu.lines]),
        momentum2=momentum2,
        form2=form2,
    )


def _form_factor(material: Material, highest: float) -> tuple[Array, Array]:
    """x^2 up to (E/hc)^2 of the highest photon energy (keV), and the integral of F^2 over it."""
    x2 = np.concatenate([[0.0], np.geomspace(1e-6, (highest / HC) ** 2, 800)])
    F2 = sum(
        part / xraylib.AtomicWeight(Z) * np.array([xraylib.FF_Rayl(Z, x) for x in np.sqrt(x2)]) ** 2
        for Z, part in elements(material.composition).items()
    )
    steps = (F2[1:] + F2[:-1]) / 2 * np.diff(x2)
    return x2, np.concatenate([[0.0], steps.cumsum()])


def compton_ratio(energy: Array, rng: np.random.Generator) -> Array:
    """Share P of its energy that a Compton photon keeps, drawn by energy from law (5); E in keV.

    With dc = dP/(k P^2) the law is dp/dP ~ 1 + P^2 - P (1 - c^2), never above 2.
    """
    k = energy / REST
    P = np.empty_like(energy)
    todo = np.arange(energy.size)
    while todo.size:
        lowest = 1 / (1 + 2 * k[todo])
        drawn = lowest + (1 - lowest) * rng.random(todo.size)
        c = compton_cosine(energy[todo], drawn)
        kept = 2 * rng.random(todo.size) < 1 + drawn**2 - drawn * (1 - c**2)
        P[todo[kept]] = drawn[kept]
        todo = todo[~kept]
    return P


def compton_cosine(energy: Array, P: Array) -> Array:
    """Cosine of the turn of a photon of this energy (keV) that keeps the share P."""
    return np.asarray(np.clip(1 - (1 / P - 1) * REST / energy, -1, 1))


def rayleigh_cosine(table: Collisions, energy: Array, rng: np.random.Generator) -> Array:
    """Cosine of the turn by Rayleigh scattering, drawn from law (6); energy in keV."""
    top = (energy / HC) ** 2
    whole = np.interp(top, table.momentum2, table.form2)
    cosine = np.empty_like(energy)
    todo = np.arange(energy.size)
    while todo.size:
        x2 = np.interp(whole[todo] * rng.random(todo.size), table.form2, table.momentum2)
        c = np.maximum(1 - 2 * x2 / top[todo], -1)
        kept = 2 * rng.random(todo.size) < 1 + c**2
        cosine[todo[kept]] = c[kept]
        todo = todo[~kept]
    return cosine


def turned(cosine: Array, turn: Array, rng: np.random.Generator) -> Array:
    """Cosine to the beam after a turn (as a cosine) at an even azimuth."""
    azimuth = np.cos(2 * np.pi * rng.random(cosine.size))
    across = np.sqrt((1 - cosine**2) * (1 - turn**2))
    return np.asarray(np.clip(cosine * turn + across * azimuth, -1, 1))


def sent_on(
    table: Collisions, outcome: Indices, energy: Array, cosine: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Photon energy (keV) and cosine to the beam of packets that leave a collision.

    outcome : RAYLEIGH, COMPTON, or FIRST_LINE and above
    """
    energy, cosine = energy.copy(), cosine.copy()
    elastic = np.flatnonzero(outcome == RAYLEIGH)
    turn = rayleigh_cosine(table, energy[elastic], rng)
    cosine[elastic] = turned(cosine[elastic], turn, rng)
    recoiled = np.flatnonzero(outcome == COMPTON)
    P = compton_ratio(energy[recoiled], rng)
    turn = compton_cosine(energy[recoiled], P)
    cosine[recoiled] = turned(cosine[recoiled], turn, rng)
    energy[recoiled] *= P
    emitted = np.flatnonzero(outcome >= FIRST_LINE)
    cosine[emitted] = 2 * rng.random(emitted.size) - 1
    energy[emitted] = table.lines[outcome[emitted] - FIRST_LINE]
    return energy, cosine
