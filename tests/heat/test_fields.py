"""Cell properties: the absorber layer in the plane, the gap by coverage, the joint."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import R

from thermo.case import read_case
from thermo.case.stack import build_stack
from thermo.heat import Gas, conduction_fields, gap_conductance
from thermo.materials import metal_in_plane
from thermo.mesh import mesh_stack, rectangle_plan

CASES = Path(__file__).parents[2] / "cases"
GAS = Gas(15e3, (0.45, 0.6))
T = 303.15


def prepared(name, metal="islands"):
    case = read_case(CASES / name)
    stack = build_stack(case)
    plan = rectangle_plan(np.linspace(-0.06, 0.06, 25), np.linspace(-0.06, 0.06, 25))
    grid = mesh_stack(stack, plan, [np.array([0.0, layer.thickness]) for layer in stack.layers])
    return stack, grid, conduction_fields(stack, grid, [T] * len(stack.layers), GAS, metal)


@pytest.mark.parametrize("metal", ["islands", "connected"])
def test_in_plane_conductivity_of_no_metal_is_gas_and_of_all_metal_is_metal(metal):
    for beneath in (0.0, 0.6, 1e3):
        found = metal_in_plane(317.0, 0.15, beneath, np.array([0.0, 1.0]), metal)
        assert found == pytest.approx([0.15, 317.0], rel=1e-12)


@given(st.floats(0.01, 0.99), st.floats(1.0, 1e3), st.floats(0.01, 0.5), st.floats(0.0, 1e4))
def test_islands_and_connected_metal_are_ordered_bounds(c, k_metal, k_gas, beneath):
    """Series <= islands <= connected <= parallel (O. Wiener, 1912, the outer pair; from memory), of
    membrane and metal as one sheet; 1e-12 of the sheet is round-off."""
    islands, connected = (
        beneath + float(metal_in_plane(k_metal, k_gas, beneath, np.array(c), kind))
        for kind in ("islands", "connected")
    )
    bare, covered = beneath + k_gas, beneath + k_metal
    series, parallel = 1 / (c / covered + (1 - c) / bare), c * covered + (1 - c) * bare
    assert series <= islands * (1 + 1e-12)
    assert islands <= connected * (1 + 1e-12)
    assert connected <= parallel * (1 + 1e-12)


@given(st.floats(0.01, 0.99), st.floats(0.0, 1e4), st.sampled_from(["islands", "connected"]))
def test_a_membrane_beneath_lets_the_metal_conduct_more_up_to_its_share(c, beneath, kind):
    """Elementary: heat chooses its way, so one sheet conducts more than its two layers would each
    for itself, and never more than c k_m + (1 - c) k_g on top of the membrane."""
    alone = float(metal_in_plane(317.0, 0.15, 0.0, np.array(c), kind))
    found = float(metal_in_plane(317.0, 0.15, beneath, np.array(c), kind))
    assert alone * (1 - 1e-12) <= found <= (c * 317.0 + (1 - c) * 0.15) * (1 + 1e-12)


@pytest.mark.parametrize("c", [0.2, 0.45, 0.8])
def test_connected_and_islands_obey_kellers_theorem(c):
    """s(c) s'(1 - c) = s1 s2 of the sheet with phases exchanged, exact in 2D (J. B. Keller,
    J. Math. Phys. 5 (1964) 548, from memory); round-off alone."""
    for beneath in (0.0, 0.6, 1e3):
        one = beneath + metal_in_plane(317.0, 0.15, beneath, np.array(c), "connected")
        other = beneath + metal_in_plane(317.0, 0.15, beneath, np.array(1 - c), "islands")
        assert one * other == pytest.approx((beneath + 317.0) * (beneath + 0.15), rel=1e-12)


def test_connected_metal_with_nothing_beside_follows_c_over_2_less_c():
    found = metal_in_plane(317.0, 1e-9, 0.0, np.array(0.4), "connected")
    assert found == pytest.approx(317 * 0.4 / 1.6, rel=1e-9)


def test_islands_far_better_than_the_membrane_make_three_of_it_at_half_coverage():
    """(1 + c)/(1 - c) of Maxwell in the plane, from memory; 1e-5 is bare over covered."""
    found = metal_in_plane(3e6, 0.0, 0.6, np.array(0.5), "islands")
    assert (0.6 + found) / 0.6 == pytest.approx(3, rel=1e-5)


@pytest.mark.parametrize("metal", ["islands", "connected"])
def test_the_absorber_counts_on_the_membrane_beneath_it(metal):
    """k t of the membrane, at its own temperature, over the thickness of the metal, by hand."""
    stack, grid, _ = prepared("fibre-grooves.toml")
    warm = [T] * len(stack.layers)
    warm[stack.index("membrane")] = 343.15
    fields = conduction_fields(stack, grid, warm, GAS, metal)
    membrane, absorber = stack.layer("membrane"), stack.layer("absorber")
    beneath = membrane.material.conductivity(343.15) * membrane.thickness / absorber.thickness
    k_gas = stack.layer("gap").material.conductivity(T)
    c = stack.pattern.coverage(*grid.plan.centres)
    expected = metal_in_plane(absorber.material.conductivity(T), k_gas, beneath, c, metal)
    row = fields.in_plane[grid.slabs(stack.index("absorber"))][0]
    assert row == pytest.approx(expected, rel=1e-12)
    assert len(set(c)) > 1


def test_a_gap_cell_carries_the_conductance_mixed_by_coverage():
    """h d across: full width under metal, longer by the metal's thickness in the open."""
    stack, grid, fields = prepared("fibre-grooves.toml")
    gas = stack.layer("gap").material
    d, t = stack.layer("gap").thickness, stack.layer("absorber").thickness
    M, g = gas.molar_mass(T), gas.heat_capacity_ratio(T)
    near, far = gap_conductance([d, d + t], gas.conductivity(T), T, 15e3, M, g, (0.45, 0.6))
    c = stack.pattern.coverage(*grid.plan.centres)
    row = fields.across[grid.slabs(stack.index("gap"))][0]
    assert row == pytest.approx(d * (c * near + (1 - c) * far), rel=1e-12)
    assert (row[c == 0] == row.min()).all()


def test_radiation_stands_beside_the_gas_in_the_gap():
    """Black faces at 303 K add 4 sigma T^3 = 6.31 W/(m2 K) (Stefan and Boltzmann)."""
    stack, grid, without = prepared("fibre-grooves.toml")
    gas = Gas(GAS.pressure, GAS.accommodation, 1.0)
    found = conduction_fields(stack, grid, [T] * len(stack.layers), gas, "islands")
    gap = grid.slabs(stack.index("gap"))
    more = (found.across - without.across)[gap] / stack.layer("gap").thickness
    assert more == pytest.approx(4 * 5.670374e-8 * T**3, rel=1e-6)


def test_the_joint_is_its_layer_and_its_contact_in_series():
    for name in ("fibre-grooves.toml", "lens-row.toml"):
        stack, grid, fields = prepared(name)
        joint = stack.layer("joint")
        row = fields.across[grid.slabs(stack.index("joint"))][0]
        own = joint.resistance
        if joint.material.kind != "gas":
            own += joint.thickness / joint.material.conductivity(T)
        assert joint.thickness / row == pytest.approx(own, rel=1e-12)


def test_heat_capacity_of_gas_and_of_thinned_metal():
    """Helium p M/(R T) cp (ideal gas); gold by its coverage."""
    stack, grid, fields = prepared("fibre-grooves.toml")
    gas, gold = stack.layer("gap").material, stack.layer("absorber").material
    row = fields.capacity[grid.slabs(stack.index("gap"))][0]
    expected = 15e3 * gas.molar_mass(T) / (R * T) * gas.heat_capacity(T)
    assert row == pytest.approx(expected, rel=1e-12)
    c = stack.pattern.coverage(*grid.plan.centres)
    row = fields.capacity[grid.slabs(stack.index("absorber"))][0]
    assert row == pytest.approx(c * gold.density(T) * gold.heat_capacity(T), rel=1e-12)


def test_each_layer_takes_its_own_temperature():
    stack, grid, _ = prepared("fibre-grooves.toml")
    warm = [293.15] * len(stack.layers)
    warm[stack.index("resist")] = 343.15
    fields = conduction_fields(stack, grid, warm, GAS, "islands")
    resist = stack.layer("resist").material
    row = fields.across[grid.slabs(stack.index("resist"))][0]
    assert row == pytest.approx(resist.conductivity(343.15), rel=1e-12)
