"""Gap conductance: published limits, a table over width and pressure, and the errors."""

import numpy as np
import pytest
from scipy.constants import R

from thermo.errors import PhysicsError
from thermo.heat import gap_conductance
from thermo.materials import material

HELIUM = material("helium")
M, G = HELIUM.molar_mass(300.0), HELIUM.heat_capacity_ratio(300.0)
K300 = 0.1559  # W/(m K), helium at 300 K: NIST SRD 134 gives 0.15589


def helium(d, p, alpha=(0.45, 0.45), T=300.0):
    return gap_conductance(d, K300, T, p, M, G, alpha)


# GAP-TABLE: interpolation of F. S. Sherman, Rarefied Gas Dynamics II (1963) 228 (memory), equal
# to the temperature-jump law for helium: W/(m2 K) by width (um) at 1, 10, 100, 1000 mbar.
TABLE = {
    20: (60.5, 565, 3421, 6911),
    100: (58.7, 438.2, 1241.5, 1520),
    200: (56.5, 342.1, 691.1, 769.7),
    1000: (43.8, 124.2, 152.0, 155.5),
}


@pytest.mark.parametrize(("width", "expected"), TABLE.items())
def test_helium_gap_by_width_and_pressure(width, expected):
    """0.2 %: three printed digits."""
    found = [float(helium(1e-6 * width, p)) for p in (1e2, 1e3, 1e4, 1e5)]
    assert found == pytest.approx(expected, rel=2e-3)


def test_free_molecular_limit_of_helium():
    """HE-FM, kinetic theory (M. Knudsen, 1911), both walls 0.9: 1.7178101 W/(m2 K) per Pa, 1e-6."""
    per_pascal = gap_conductance(1e-12, K300, 300.0, 1.0, 4.002602e-3, 5 / 3, (0.9, 0.9))
    assert per_pascal == pytest.approx(1.7178101, rel=1e-6)


def test_continuum_limit_is_k_over_d_whatever_the_walls():
    for alpha in ((0.3, 0.9), (1.0, 1.0)):
        assert helium(1e-3, 1e9, alpha) == pytest.approx(K300 / 1e-3, rel=1e-6)


@pytest.mark.parametrize("p", [1e2, 1e4])
def test_equals_the_temperature_jump_law_for_a_monatomic_gas(p):
    """h = k/(d + 2 g) with jump length g = (2 - a)/a 2 gamma/(gamma + 1)/Pr * mean free path.

    M. von Smoluchowski (1898), E. H. Kennard (1938), from memory; Pr and viscosity of a monatomic
    gas, k = 15/4 R/M mu and Pr = 2/3, are exact for it: 1e-4 is what M and gamma leave.
    """
    a, d = 0.45, 100e-6
    mu = K300 / (15 / 4 * R / M)
    free_path = mu / p * np.sqrt(np.pi * R * 300.0 / (2 * M))
    jump = (2 - a) / a * 2 * (5 / 3) / (5 / 3 + 1) / (2 / 3) * free_path
    assert helium(d, p) == pytest.approx(K300 / (d + 2 * jump), rel=1e-4)


def test_walls_may_be_swapped_and_a_rougher_wall_conducts_better():
    assert helium(1e-4, 1e3, (0.3, 0.8)) == pytest.approx(float(helium(1e-4, 1e3, (0.8, 0.3))))
    assert helium(1e-4, 1e3, (0.5, 0.8)) > helium(1e-4, 1e3, (0.3, 0.8))


def test_shape_is_that_of_the_widths():
    assert helium(np.full((2, 3), 1e-4), 1e3).shape == (2, 3)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"d": 0.0}, "got 0 m; model contact as a joint"),
        ({"d": [1e-4, np.nan]}, "got nan m"),
        ({"p": 0.0}, "got 0 Pa"),
        ({"p": np.nan}, "got nan Pa"),
        ({"T": -1.0}, "and -1 K"),
        ({"alpha": (0.0, 1.0)}, r"lie in \(0, 1\]"),
        ({"alpha": (0.5, 1.1)}, r"lie in \(0, 1\]"),
        ({"alpha": (0.5, np.nan)}, r"lie in \(0, 1\]"),
    ],
)
def test_errors_name_the_number_and_the_allowed_range(change, words):
    values = {"d": 1e-4, "k": K300, "T": 300.0, "p": 1e3, "M": M, "g": G, "alpha": (0.45, 0.45)}
    with pytest.raises(PhysicsError, match=words):
        gap_conductance(**values | change)
