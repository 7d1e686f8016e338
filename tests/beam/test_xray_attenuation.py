"""Attenuation and energy absorption against NIST tables, jumps, fluorescence and recoil."""

from dataclasses import replace

import numpy as np
import pytest
from beams import BERYLLIUM, GOLD, PMMA, SILICON
from scipy import constants, integrate

from thermo.beam.attenuation import (
    absorption_jumps,
    coefficients,
    elements,
    mass_attenuation,
    recoil_share,
    slab_escape,
)
from thermo.materials import gas_at, material

# NIST SRD 126, J. H. Hubbell and S. M. Seltzer: formula, keV, mu/rho, mu_en/rho in cm2/g.
# NIST-PMMA-*, NIST-Be-*, NIST-Si-*, NIST-Au-*, and both sides of NIST-AuL3.
NIST = [
    ("C5H8O2", 5.0, 26.81, 26.27),
    ("C5H8O2", 8.0, 6.494, 6.114),
    ("C5H8O2", 10.0, 3.357, 3.026),
    ("C5H8O2", 20.0, 0.5714, 0.3328),
    ("C5H8O2", 30.0, 0.3032, 0.09645),
    ("Be", 5.0, 4.369, 4.081),
    ("Be", 8.0, 1.124, 0.8839),
    ("Be", 20.0, 0.2251, 0.0478),
    ("Si", 5.0, 245.0, 240.0),
    ("Si", 10.0, 33.89, 32.89),
    ("Si", 20.0, 4.464, 4.076),
    ("Au", 5.0, 666.1, 651.2),
    ("Au", 20.0, 78.83, 65.22),
    ("Au", 11.917, 75.82, 71.29),  # the two sides of the L3 jump at 11.919 keV
    ("Au", 11.921, 187.0, 152.1),
]


@pytest.mark.parametrize(("formula", "energy", "mu", "_"), NIST)
def test_total_mass_attenuation_with_rayleigh(formula, energy, mu, _):
    """0.1 %: half a unit of the printed last digit plus the 0.07 % between the two libraries."""
    found = mass_attenuation({formula: 1.0}, np.array([energy]))[0] * 10
    assert found == pytest.approx(mu, rel=1e-3)


@pytest.mark.parametrize(("formula", "energy", "_", "mu_en"), NIST)
def test_mass_energy_absorption_with_all_fluorescence_leaving(formula, energy, _, mu_en):
    """0.5 %, but 1 % for Be at 20 keV, where binding slows the recoil that Klein and Nishina give,
    and 2 % for gold, whose M fluorescence and Auger cascade are left out."""
    stuff = replace(PMMA, composition={formula: 1.0})
    mu = coefficients(stuff, np.array([energy]))
    found = mu.deposition(None)[0] / stuff.density(293.15) * 10
    allowed = {"Au": 0.02, "Be": 0.01 if energy > 10 else 0.005}.get(formula, 0.005)
    assert found == pytest.approx(mu_en, rel=allowed)


# NIST SRD 126, from memory: dry air and helium, keV, mu/rho in cm2/g.
NIST_GAS = [
    ("air", 3.0, 162.5),
    ("air", 5.0, 40.27),
    ("air", 8.0, 9.921),
    ("air", 10.0, 5.120),
    ("air", 20.0, 0.7779),
    ("helium", 3.0, 2.007),
    ("helium", 5.0, 0.5766),
    ("helium", 8.0, 0.2933),
    ("helium", 10.0, 0.2476),
]


@pytest.mark.parametrize(("gas", "energy", "mu"), NIST_GAS)
def test_transmission_of_a_metre_of_helium_at_100_mbar_and_of_50_mm_of_air(gas, energy, mu):
    """exp(-(mu/rho) p M L/(R T)) with NIST's mu/rho; 5e-4 of the loss: tables and real gas."""
    length, p, M = {"helium": (1.0, 1e4, 4.0026e-3), "air": (0.05, 101325.0, 28.965e-3)}[gas]
    rho = p * M / (constants.R * 293.15)
    found = coefficients(gas_at(material(gas), p, 293.15), np.array([energy]))
    loss = (found.attenuation + found.rayleigh)[0] * length
    assert loss == pytest.approx(mu / 10 * rho * length, rel=1.5e-3)
    through = np.exp(-found.attenuation[0] * length)
    assert through == pytest.approx(np.exp(-mu / 10 * rho * length), abs=3e-3)  # Rayleigh stays


def test_transmissions_by_beer_lambert():
    """XR-BEER: 200 um Be at 5 keV, 10 um Au and 0.5 mm PMMA at 10 keV, from NIST SRD 126 numbers.

    With Rayleigh, as NIST has it; 0.1 % of mu t, from the tables.
    """
    for stuff, energy, thickness, share in (
        (BERYLLIUM, 5.0, 200e-6, 0.850885),
        (GOLD, 10.0, 10e-6, 0.102111),
        (PMMA, 10.0, 0.5e-3, 1 - 0.181058),
    ):
        mu = coefficients(stuff, np.array([energy]))
        depth = float((mu.attenuation + mu.rayleigh)[0] * thickness)
        assert depth == pytest.approx(-np.log(share), rel=1e-3)
    mu = coefficients(PMMA, np.array([10.0]))
    stays = -np.expm1(-float(mu.deposition(None)[0]) * 0.5e-3)
    assert stays == pytest.approx(0.164769, rel=1e-3)


def test_energy_that_stays_lies_below_attenuation():
    energy = np.geomspace(0.4, 150, 200)
    for stuff in (BERYLLIUM, PMMA, SILICON, GOLD):
        mu = coefficients(stuff, energy)
        for thickness in (None, 1e-6, 1e-3):
            stays = mu.deposition(thickness)
            assert (stays > 0).all()
            assert (stays < mu.attenuation).all()
        assert (mu.escape(1e-3) <= mu.escape(1e-6)).all()
        assert (mu.escape(1e-6) <= mu.escape(None) * (1 + 1e-12)).all()


def test_gold_takes_back_nearly_all_its_own_fluorescence_and_a_thin_film_none():
    mu = coefficients(GOLD, np.array([20.0]))
    assert mu.escape(1e-10)[0] == pytest.approx(mu.escape(None)[0], rel=1e-3)
    assert mu.escape(200e-6)[0] < 0.1 * mu.escape(None)[0]


@pytest.mark.parametrize("tau", [1e-8, 1e-3, 0.3, 4.0, 60.0])
def test_slab_escape_equals_the_double_integral_over_depth_and_direction(tau):
    """Isotropic, even in depth: mean over x of integral exp(-x/cos)/2 dcos to either face."""
    share, _ = integrate.dblquad(
        lambda c, x: np.exp(-x * tau / c), 0, 1, 1e-9, 1, epsabs=1e-10, epsrel=1e-10
    )
    assert slab_escape(tau) == pytest.approx(share, rel=1e-6)  # the quadrature's own error


def test_recoil_share_limits():
    """Soft: r -> E/mc2 (Thomson); 100 keV: mean Compton electron energy 13.8 keV (Klein, Nishina).

    13.8 keV from memory (tables of mean recoil energy), 0.5 %: its last digit.
    """
    assert recoil_share(np.array([0.1]))[0] == pytest.approx(0.1 / 510.999, rel=1e-3)
    assert recoil_share(np.array([100.0]))[0] == pytest.approx(0.138, rel=5e-3)


def test_a_mixture_is_the_sum_of_its_parts_by_mass():
    energy = np.array([3.0, 9.0])
    mixed = mass_attenuation({"SiO2": 0.4, "Au": 0.6}, energy)
    parts = [mass_attenuation({f: 1.0}, energy) for f in ("SiO2", "Au")]
    assert mixed == pytest.approx(0.4 * parts[0] + 0.6 * parts[1], rel=1e-13)
    assert sum(elements({"SiO2": 0.4, "Au": 0.6}).values()) == pytest.approx(1, rel=1e-13)
    shared = elements({"SiO2": 0.5, "Si": 0.5})  # an element that two formulas have in common
    assert shared[14] == pytest.approx(0.5 + 0.5 * elements({"SiO2": 1.0})[14], rel=1e-13)


def test_jumps_sit_where_the_table_jumps():
    """1e-6 keV on either side of each found jump the table steps by more than 2 %.

    Gold L3 (11.919 keV, NIST SRD 126) must be among them.
    """
    jumps = absorption_jumps({"Au": 1.0})
    for jump in jumps:
        low, high = mass_attenuation({"Au": 1.0}, np.array([jump - 1e-6, jump + 1e-6]))
        assert high / low > 1.02
    assert min(abs(j - 11.919) for j in jumps) < 2e-3
    assert len(jumps) == 9  # K, three L, five M
