"""Patterned absorber as an even layer: limits, closed forms, order of the bounds."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermo.errors import PhysicsError
from thermo.materials import Sheet, patterned_metal, patterned_metal_bounds

GOLD = Sheet(75e9, 0.42, 10e-6)
NITRIDE = Sheet(250e9, 0.24, 2e-6)
KINDS = ["islands", "connected"]
sheets = st.builds(Sheet, st.floats(1e9, 500e9), st.floats(0.0, 0.45), st.floats(1e-6, 1e-3))


def bulk(E, nu):
    return E / (2 * (1 - nu))


def shear(E, nu):
    return E / (2 * (1 + nu))


@pytest.mark.parametrize("kind", KINDS)
def test_a_layer_without_metal_carries_nothing_and_a_whole_one_is_the_metal(kind):
    """Elementary; round-off alone."""
    E, nu = patterned_metal(np.array([0.0, 1.0]), kind, GOLD, NITRIDE)
    assert E[0] == 0
    assert E[1] == pytest.approx(GOLD.E, rel=1e-12)
    assert nu[1] == pytest.approx(GOLD.nu, rel=1e-12)
    assert -1 < nu[0] < 0.5  # no nan where there is nothing to carry


@given(st.floats(0.0, 1.0), st.sampled_from(KINDS), sheets, sheets)
def test_the_layer_lies_between_its_bounds(c, kind, metal, membrane):
    """Constraint of curvature can only stiffen, help of the membrane too: any sheets, any share."""
    c = np.array(c)
    least, most = patterned_metal_bounds(c, kind, metal, membrane)
    E, nu = patterned_metal(c, kind, metal, membrane)
    for modulus, whole in ((bulk, metal.bulk), (shear, metal.shear)):
        assert modulus(*least) <= modulus(E, nu) * (1 + 1e-9)
        assert modulus(E, nu) <= modulus(*most) * (1 + 1e-9)
        assert modulus(*most) <= c * whole * (1 + 1e-9)  # all of it side by side
    assert E >= 0
    assert -1 < nu < 0.4999  # what a body of the elastic room may have


@given(st.floats(1e-12, 1e-3), st.sampled_from(KINDS))
def test_little_metal_carries_in_proportion(c, kind):
    """No difference of large numbers at small shares: E/c stays to 5 c."""
    few, fewer = (patterned_metal(np.array(s), kind, GOLD, NITRIDE) for s in (c, 1e-15))
    assert few[0] / c == pytest.approx(fewer[0] / 1e-15, rel=5 * c + 1e-9)
    assert few[1] == pytest.approx(fewer[1], abs=5 * c + 1e-9)


@pytest.mark.parametrize("nu", [0.0, 0.2, 1 / 3, 0.45])
def test_a_sheet_with_holes_has_the_modulus_of_its_share_whatever_its_poisson_ratio(nu):
    """E/E_m = c/(3 - 2c) for any nu: the modulus of a sheet with holes does not feel it (A. V.
    Cherkaev, K. A. Lurie, G. W. Milton, Proc. R. Soc. A 438 (1992) 519, from memory); and
    k/k_m = c mu/(mu + (1 - c) k), Hashin (1965); round-off alone."""
    c = np.array([0.2, 0.5, 0.9])
    metal = Sheet(75e9, nu, 10e-6)
    (E, found), _ = patterned_metal_bounds(c, "connected", metal, NITRIDE)
    assert pytest.approx(75e9 * c / (3 - 2 * c), rel=1e-12) == E
    k, mu = metal.bulk, metal.shear
    assert bulk(E, found) == pytest.approx(k * c * mu / (mu + (1 - c) * k), rel=1e-12)


def test_openings_of_a_soft_membrane_are_free_holes():
    """Elementary: without membrane the covered sheet round openings is metal with holes; 1e-6."""
    c = np.array([0.2, 0.5, 0.9])
    nothing = Sheet(1.0, 0.3, 1e-9)
    least, _ = patterned_metal_bounds(c, "connected", GOLD, nothing)
    found = patterned_metal(c, "connected", GOLD, nothing)
    assert found[0] == pytest.approx(least[0], rel=1e-6)
    assert found[1] == pytest.approx(least[1], rel=1e-6)


def test_a_few_islands_on_a_membrane_far_stiffer_in_bending_are_sheared_by_its_face_alone():
    """Elementary: a thin film of share c -> 0 strains with the membrane: k_layer/c = k_m.

    Film of 1 nm on 1 mm: the force it draws is 1e-6 of the membrane's.
    """
    film, slab = Sheet(75e9, 0.42, 1e-9), Sheet(250e9, 0.24, 1e-3)
    E, nu = patterned_metal(np.array(1e-6), "islands", film, slab)
    assert bulk(E, nu) / 1e-6 == pytest.approx(film.bulk, rel=1e-5)
    assert nu == pytest.approx(film.nu, rel=1e-5)


def test_metal_on_one_side_of_a_soft_membrane_is_pulled_off_its_middle():
    """Closed form: islands on a membrane soft in bending curl freely, M = 0 on the spot:
    K = A - B2/D with A, B, D about the membrane's middle (laminate theory, common practice).

    Islands all but touching (c -> 1) have the bare membrane's bending for their edge: taken away
    by a membrane of 1 nm; 1e-3 is its stiffness against that of the metal's own bending.
    """
    t, film = 10e-6, Sheet(250e9, 0.24, 1e-9)
    A, B, D = t, t * t / 2, t**3 / 3
    E, nu = patterned_metal(np.array(1e-9), "islands", GOLD, film)
    k_1 = GOLD.bulk * (A - B**2 / D)  # what the spot beneath an island adds, N/m
    k_0, mu_0 = film.bulk * film.t, film.shear * film.t
    assert bulk(E, nu) / 1e-9 * t == pytest.approx(1 / (1 / k_1 + 1 / (k_0 + mu_0)), rel=1e-3)


@pytest.mark.parametrize("c", [-0.01, 1.01, np.nan])
def test_a_coverage_outside_its_range_is_refused(c):
    for law in (patterned_metal, patterned_metal_bounds):
        with pytest.raises(PhysicsError, match="allowed: 0 to 1"):
            law(np.array([0.5, c]), "islands", GOLD, NITRIDE)


@pytest.mark.parametrize("wrong", [(0.0, 0.3, 1e-6), (1e9, 0.5, 1e-6), (1e9, 0.3, np.nan)])
def test_a_sheet_that_cannot_be_is_refused(wrong):
    with pytest.raises(PhysicsError, match="mend the material or the layer"):
        Sheet(*wrong)
