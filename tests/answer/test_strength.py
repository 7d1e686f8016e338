"""Stress of membrane, absorber and resist beside their strengths: closed forms, a small plate."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from thermo.answer import blocks
from thermo.answer.course import course_of, settled_course
from thermo.answer.outcome import run_once
from thermo.answer.scene import describe, mesh
from thermo.answer.state import solve_state
from thermo.answer.strength import (
    ABSORBER,
    Strength,
    absorber_strength,
    layers_stress,
    metal_stress,
    strength_words,
    strengths,
    words,
)
from thermo.case.pattern import Outline
from thermo.case.stack import Layer
from thermo.materials import material
from thermo.solve import Solver

T = 303.15  # K
MEASURED = 293.15


def layer(name, thickness, free_strain=0.0):
    outline = Outline(0.02, 0.02)
    return Layer(name, "sample", material(name), thickness, outline, free_strain=free_strain)


def constants(name):
    stuff = material(name)
    return stuff.youngs_modulus(T), stuff.poisson_ratio(T), stuff.expansion(T)


def on_silicon(film, thickness=5e-3):
    return layers_stress([film, layer("silicon", thickness)], [T, T], MEASURED)


def test_a_film_on_a_thick_base_is_pressed_by_what_the_base_denies_it():
    """sigma = -E (alpha - alpha_base) dT/(1 - nu), thin film on a thick base, common practice.

    1 %: E h of the film is 1e-4 of that of 5 mm of silicon.
    """
    (E, nu, alpha), (_, _, base) = constants("PMMA"), constants("silicon")
    found = on_silicon(layer("PMMA", 20e-6))
    assert found.film == pytest.approx(-E * (alpha - base) * 10 / (1 - nu), rel=0.01)


def test_a_resist_that_has_shrunk_is_pulled_and_its_edge_is_sheared_the_other_way():
    """E/(1 - nu) times 0.4 % by hand, 1 % as above; expansion alone is a twentieth of that."""
    E, nu, _ = constants("SU-8-baked")
    warm = on_silicon(layer("SU-8-baked", 20e-6))
    shrunk = on_silicon(layer("SU-8-baked", 20e-6, -4e-3))
    assert shrunk.film - warm.film == pytest.approx(E / (1 - nu) * 4e-3, rel=0.01)
    assert shrunk.shear < 0 < warm.shear


def test_a_base_as_stiff_as_the_film_shares_the_strain():
    """Two equal halves that want to grow by +-e/2 each: sigma = -+M e/2, elementary; exact."""
    E, nu, _ = constants("PMMA")
    pair = [layer("PMMA", 1e-3, 1e-3), layer("PMMA", 1e-3, -1e-3)]
    assert layers_stress(pair, [T, T], T).film == pytest.approx(-E / (1 - nu) * 1e-3, rel=1e-12)


def test_the_edge_is_that_of_the_stiffest_layer_below_with_the_glue_between():
    """tau = (e1' - e2')/sqrt(c s), E. Suhir, J. Appl. Mech. 53 (1986) 657, from memory; by hand
    for 0.3 mm of PMMA on 50 um of epoxy and 5 mm of copper; 1e-9 is round-off."""
    names, h = ("PMMA", "epoxy", "copper"), np.array([0.3e-3, 50e-6, 5e-3])
    found = layers_stress([layer(n, t) for n, t in zip(names, h, strict=True)], [T] * 3, MEASURED)
    E, nu, alpha = np.transpose([constants(n) for n in names])
    G, stiff = E / (2 * (1 + nu)), E / (1 - nu**2)
    D = stiff * h**3 / 12
    e = (1 + nu) * alpha * 10
    c = 1 / (stiff * h)[0] + 1 / (stiff * h)[2] + (h[0] + h[2]) ** 2 / (4 * (D[0] + D[2]))
    s = h[0] / (3 * G[0]) + h[2] / (3 * G[2]) + h[1] / G[1]
    assert found.shear == pytest.approx((e[0] - e[2]) / np.sqrt(c * s), rel=1e-9)
    assert found.peel < 0  # a resist that grows more is pressed on at its edge


def test_each_layer_is_at_its_own_temperature():
    """Elementary: a film as warm as it needs to be to fit its base is not strained; round-off."""
    film, base = layer("PMMA", 20e-6), layer("silicon", 5e-3)
    alpha = material("silicon").expansion(MEASURED + 60) / material("PMMA").expansion(T)
    found = layers_stress([film, base], [MEASURED + 60 * alpha, MEASURED + 60], MEASURED)
    at_rest = layers_stress([film, base], [MEASURED, MEASURED + 60], MEASURED)
    assert abs(found.film) < 1e-9 * at_rest.film


def test_a_resist_without_a_base_has_no_stress_of_this_kind():
    assert layers_stress([layer("PMMA", 1e-3)], [T], MEASURED) is None


def test_metal_strained_alike_in_all_directions_bears_its_own_modulus():
    """E/(1 - nu) e from a layer of E_l/(1 - nu_l) e, elementary; uniaxial strain: nu beside it."""
    E_l, nu_l = np.array([4e9, 30e9]), np.array([0.2, 0.3])
    e = np.array([-1e-4, 2e-4])
    even = (E_l / (1 - nu_l) * e)[:, None, None] * np.ones((2, 3, 2))
    found = metal_stress(even, E_l, nu_l, 75e9, 0.42)
    assert found == pytest.approx((75e9 / 0.58 * e)[:, None, None] * np.ones((2, 3, 2)), rel=1e-12)
    along = (E_l / (1 - nu_l**2))[:, None] * np.stack([e, nu_l * e], axis=1)
    found = metal_stress(along[:, None], E_l, nu_l, 75e9, 0.42)[:, 0]
    expected = 75e9 / (1 - 0.42**2) * np.stack([e, 0.42 * e], axis=1)
    assert found == pytest.approx(expected, rel=1e-12)


@pytest.fixture(scope="module")
def outcome(small):
    """The small plate on its coarse mesh; the sample need not move."""
    scene, solver = describe(small), Solver()
    state = solve_state(scene, mesh(scene, coarse=True), solver, close=0.05)
    course = settled_course(course_of(state, solver), solver)
    return run_once(course.state, course, moved=False)


def test_the_metal_of_the_small_plate_bears_what_its_membrane_denies_it(outcome):
    """E/(1 - nu2) of (e_i + nu e_j), e = du_i/dx_i - alpha dT, from the displacement of the face
    between membrane and metal; 2 % of the largest: bending through 12 um of metal."""
    membrane = outcome.membrane
    solid = membrane.body.held.solid
    on = solid.active[ABSORBER]
    quads = solid.quads[:, on]
    x, u = solid.points[:, quads], membrane.u[ABSORBER][quads]  # (2, 4, cells), (4, cells, 3)
    strain = np.stack([_slope(x[i], u[..., i]) for i in (0, 1)])
    dT = membrane.rise[ABSORBER, on][:, 0].mean(1)
    gold = material("gold")
    T_gold = outcome.state.layer_T[outcome.scene.stack.index("absorber")]
    E, nu = gold.youngs_modulus(T_gold), gold.poisson_ratio(T_gold)
    e = strain - gold.expansion(T_gold) * dT
    sigma = E / (1 - nu**2) * (e + nu * e[::-1])
    found = absorber_strength(outcome)
    assert found.stress == pytest.approx((sigma.min(), sigma.max()), abs=0.02 * abs(sigma).max())
    assert found.least == 50e6


def _slope(x, u):
    """Mean slope of u along x in cells whose sides lie along x and y, (cells,)."""
    right = x > x.mean(0)
    return ((u * right).sum(0) - (u * ~right).sum(0)) / ((x * right).sum(0) - (x * ~right).sum(0))


def test_a_mask_without_metal_has_no_stress_of_metal():
    bare = SimpleNamespace(active=np.array([[True], [True], [False]]))
    membrane = SimpleNamespace(body=SimpleNamespace(held=SimpleNamespace(solid=bare)))
    assert absorber_strength(SimpleNamespace(membrane=membrane, state=None)) is None


def test_the_block_of_the_answer_has_these_numbers_in_megapascals(outcome):
    block = blocks.stress(outcome, strengths(outcome))
    low, high = outcome.membrane.stress
    graphite, pmma = material("graphite").strength, material("PMMA").strength
    assert block.membrane_initial_MPa == 5
    assert (block.membrane_lowest_MPa, block.membrane_highest_MPa) == (low / 1e6, high / 1e6)
    assert block.membrane_strength_MPa == graphite(T) / 1e6
    assert block.membrane_share == pytest.approx(max(abs(low), abs(high)) / graphite.low)
    assert block.absorber_lowest_MPa <= block.absorber_highest_MPa < 0  # gold grows more
    assert block.absorber_share == pytest.approx(-block.absorber_lowest_MPa / 50)
    assert block.resist_film_MPa < 0 < block.resist_edge_shear_MPa
    largest = max(-block.resist_film_MPa, block.resist_edge_shear_MPa, block.resist_edge_peel_MPa)
    assert block.resist_share == pytest.approx(1e6 * largest / pmma.low)


def without(outcome, name):
    """The outcome with the strength of a layer's material unknown."""
    stack = outcome.scene.stack
    layers = tuple(
        replace(la, material=replace(la.material, strength=None)) if la.name == name else la
        for la in stack.layers
    )
    scene = replace(outcome.scene, stack=replace(stack, layers=layers))
    return replace(outcome, state=replace(outcome.state, scene=scene))


def test_a_strength_that_is_not_known_leaves_its_numbers_out_and_no_word(outcome):
    """The stresses themselves stay."""
    before, resist = blocks.stress(outcome, strengths(outcome)), outcome.scene.stack.resist.name
    for name, part in (("membrane", "membrane"), ("absorber", "absorber"), (resist, "resist")):
        changed = without(outcome, name)
        block = blocks.stress(changed, strengths(changed))
        gone = {f"{part}_share", f"{part}_strength_MPa"} & set(type(block).model_fields)
        kept = before.model_dump(exclude=gone)
        assert block.model_dump(exclude=gone) == kept
        assert all(getattr(block, key) is None for key in gone)
        assert not any(f"in the {name}" in line for line in strength_words(strengths(changed)))


def test_a_peel_that_presses_the_edge_on_does_not_count(outcome):
    found, block = strengths(outcome).resist, blocks.stress(outcome, strengths(outcome))
    assert block.resist_edge_peel_MPa < 0
    assert found.stress[2] == 0


@pytest.mark.parametrize(
    ("stress", "said"),
    [
        ((-20e6, 5e6), "up to 20 MPa in the membrane are 0.67 of the least strength of graphite"),
        ((5e6, 40e6), "up to 40 MPa in the membrane may exceed the strength of graphite, 50 MPa"),
        ((-60e6, 5e6), "up to 60 MPa in the membrane exceed the strength of graphite, 50 MPa"),
    ],
)
def test_a_stress_is_told_by_how_far_it_goes_into_the_range_of_the_strength(stress, said):
    found = Strength("membrane", "graphite", stress, 50e6, 30e6)
    assert words(found).startswith(said)
    assert "30 MPa" in words(found)


def test_only_what_goes_beyond_half_of_its_strength_is_told(outcome):
    assert strength_words(strengths(outcome)) == ()
    tense = replace(outcome.membrane, stress=(-1e6, 16e6))
    (line,) = strength_words(strengths(replace(outcome, membrane=tense)))
    assert line == "up to 16 MPa in the membrane are 0.53 of the least strength of graphite, 30 MPa"
