"""The source: universal functions, constants of a bending magnet, power by angle and energy."""

import numpy as np
import pytest
from beams import GEV, ring
from scipy import constants, integrate, special

from thermo.beam.spectrum import BendingMagnet, energy_grid, g1
from thermo.errors import PhysicsError

# SR-G1H2: y, G1, H2.  Definitions of K. Green, BNL 50522 (1976), and the X-ray Data Booklet
# section 2.1, from memory; values computed with 30-digit arithmetic.  1e-6: printed digits.
G1_H2 = [
    (0.0001, 0.09959088, 0.006270918),
    (0.001, 0.2131391, 0.02910444),
    (0.01, 0.4449725, 0.1348365),
    (0.1, 0.8181855, 0.6024759),
    (1, 0.6514228, 1.454268),
    (5, 0.02124813, 0.113082),
    (10, 0.0001922383, 0.00147796),
]


@pytest.mark.parametrize(("y", "expected", "_"), G1_H2)
def test_universal_function_g1(y, expected, _):
    assert g1(y) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(("y", "_", "expected"), G1_H2)
def test_on_axis_power_follows_h2(y, _, expected):
    """On axis d2P/dE dpsi = 3 alpha_f/(4 pi2) gamma2 (I/e) H2(y), H2 = y2 K_2/3(y/2)2."""
    source = ring()
    on_axis = source.power_by_angle(0.0, y * source.critical_energy)
    front = 3 * constants.alpha / (4 * np.pi**2) * source.gamma**2 * source.current
    assert on_axis / (front * 1e3) == pytest.approx(expected, rel=1e-6)  # per keV, I/e times e


@pytest.mark.parametrize("y", [0.01, 0.3, 2.0, 12.0])
def test_g1_equals_direct_quadrature_of_its_definition(y):
    tail, _ = integrate.quad(lambda t: special.kv(5 / 3, t), y, np.inf, epsabs=0, epsrel=1e-11)
    assert g1(y) == pytest.approx(y * tail, rel=1e-10)  # quadrature asked for 1e-11


def test_g1_integrates_to_schwingers_sum_and_half_lies_below_the_critical_energy():
    """SR-SUM: integral of G1 = 8 pi/(9 sqrt 3), half of it below y = 1 (J. Schwinger, 1949).

    1e-4 as printed; the part below y = 1e-9 is 1e-12.
    """

    def part(low, high):
        u = np.linspace(np.log(low), np.log(high), 20001)
        return integrate.simpson(g1(np.exp(u)) * np.exp(u), x=u)

    below, above = part(1e-6, 1.0), part(1.0, 60.0)
    assert below + above == pytest.approx(1.6122661015, rel=1e-6)
    assert below / (below + above) == pytest.approx(0.5, abs=1e-4)


def test_constants_of_a_bending_magnet():
    """SR-CONST: X-ray Data Booklet section 2.1 (printed values from memory), from CODATA here.

    1e-5: the constants are printed to seven or eight digits of older CODATA sets.
    """
    source = BendingMagnet(GEV, 1.0, 1.0)
    assert source.critical_energy == pytest.approx(0.66502567, rel=1e-5)
    assert source.total_power / 1e3 == pytest.approx(4.2208626, rel=1e-5)
    loss = 2 * np.pi * source.total_power / 1e3 * source.radius  # keV a turn times radius
    assert loss == pytest.approx(88.462738, rel=1e-5)
    on_axis = _over_energy(lambda e: source.power_by_angle(0.0, e), source)
    assert on_axis / 1e6 == pytest.approx(5.4206394, rel=1e-5)
    photons = 1e-3 / constants.e  # 0.1 % bandwidth, keV to J cancels
    flux = source.power_by_angle(0.0, source.critical_energy) / 1e3 * photons * 1e-6
    assert flux == pytest.approx(1.32549e13 * 1.454268, rel=1e-5)
    flux = source.power(source.critical_energy) / 1e3 * photons * 1e-3
    assert flux == pytest.approx(2.45706e13 * 0.6514228, rel=1e-5)


def test_a_worked_source():
    """SR-EXAMPLE: 2.5 GeV, 1.2 T, 0.2 A (derived from the constants above)."""
    source = ring(2.5, 1.2, 0.2)
    assert source.critical_energy == pytest.approx(4.98769, rel=1e-5)
    assert source.total_power / 1e3 == pytest.approx(15.8282, rel=1e-5)
    on_axis = _over_energy(lambda e: source.power_by_angle(0.0, e), source)
    assert on_axis / 1e6 == pytest.approx(50.8185, rel=1e-5)


def test_a_worked_ring_integrated_over_angle_and_energy():
    """BEAM-RING: 2.3 GeV, 1.25 T, 200 mA, formulas of the X-ray Data Booklet (from memory)."""
    source = ring(2.3, 1.25, 0.2)
    assert source.critical_energy == pytest.approx(4.3975, rel=1e-4)
    assert source.total_power / 1e3 == pytest.approx(12.8388, rel=1e-4)
    assert _over_energy(source.power, source) / 1e3 == pytest.approx(12.8388, rel=1e-4)


def _over_energy(power, source):
    """Integral over photon energy by Simpson in ln y; 1e-8 is lost at both ends."""
    u = np.linspace(np.log(1e-7), np.log(60.0), 20001)
    energy = np.exp(u) * source.critical_energy
    return integrate.simpson(power(energy) * energy, x=u)


@pytest.mark.parametrize("energy", [0.5, 3.0, 15.0, 60.0])
def test_power_by_angle_integrates_to_power_by_energy(energy):
    """Equations (3) and (4) are one law; trapezoids in the angle converge beyond all orders."""
    source = ring()
    y = energy / source.critical_energy
    reach = np.sqrt((60 / y) ** (2 / 3) + 1) / source.gamma
    angle = np.linspace(-reach, reach, 4001)
    total = source.power_by_angle(angle, energy).sum() * (angle[1] - angle[0])
    assert total == pytest.approx(float(source.power(energy)), rel=1e-10)


def test_power_is_even_in_the_angle_and_narrower_for_harder_light():
    source = ring()
    angle = np.linspace(-3e-4, 3e-4, 61)
    soft, hard = (source.power_by_angle(angle, e) for e in (1.0, 20.0))
    assert soft == pytest.approx(soft[::-1], rel=1e-13)
    assert hard[40] / hard[30] < soft[40] / soft[30]


@pytest.mark.parametrize("y", [0.0, -1.0, np.nan, [1.0, np.nan]])
def test_g1_refuses_what_is_no_energy(y):
    with pytest.raises(PhysicsError, match="E/Ec > 0, got"):
        g1(y)


def test_energy_grid_integrates_smooth_pieces_between_jumps():
    """Gauss-Legendre in ln E: steps times 1/E are exact to round-off, no piece holds a jump."""
    energy, weight = energy_grid(0.3, 100.0, [2.0, 11.9, 11.9, 200.0, 0.1])
    step = np.where(energy > 11.9, 5.0, np.where(energy > 2.0, 1.0, 3.0))
    exact = 3 * np.log(2 / 0.3) + np.log(11.9 / 2) + 5 * np.log(100 / 11.9)
    assert (step / energy * weight).sum() == pytest.approx(exact, rel=1e-13)
    assert (np.diff(energy) > 0).all()
