"""The contact between membrane and frame: heat of the rim passes it in series with the frame."""

from pathlib import Path

import numpy as np
import pytest

from thermo.case import read_case, with_value
from thermo.case.stack import build_stack
from thermo.heat import Film, Gas, conduction_fields, heat_system, steady
from thermo.mesh import mesh_stack, rectangle_plan
from thermo.solve import Solver, plan_matrices

CASE = Path(__file__).parents[2] / "cases" / "lens-row.toml"
WATER, H, FLUX = 293.15, 1000.0, 500.0  # K, W/(m2 K), W/m2 into the rim of the membrane
CUTS = 4  # slabs of the frame: the contact is shared among them


@pytest.fixture(scope="module")
def case():
    return read_case(CASE)


def rim_rise(case):
    """Rise over the water of the membrane's lit face on the border, beyond sample and holder."""
    stack = build_stack(case)
    # the frame reaches to 44 mm, sample and holder to 40 mm: nothing lies behind this piece
    plan = rectangle_plan(np.linspace(0.041, 0.043, 3), np.linspace(-1e-3, 1e-3, 3))
    cuts = [np.array([0.0, layer.thickness]) for layer in stack.layers]
    cuts[0] = np.linspace(0, stack.layers[0].thickness, CUTS + 1)
    grid = mesh_stack(stack, plan, cuts)
    T = [WATER] * len(stack.layers)
    fields = conduction_fields(stack, grid, T, Gas(8e3, (0.45, 0.6)), "islands")
    everywhere = np.ones(plan.quads.shape[1], bool)
    matrices = plan_matrices(plan.points, plan.quads)
    system = heat_system(grid, matrices, fields, (Film("water", 0, everywhere, H, WATER),))
    heat = np.zeros(grid.active.shape)
    heat[grid.slabs(stack.index("membrane"))] = FLUX * plan.areas
    return steady(system, heat, Solver()).T[CUTS] - WATER


@pytest.mark.parametrize("contact", [2e-5, 1e-4, 5e-4])
def test_the_rim_is_warmer_by_the_film_the_frame_and_the_contact_in_series(case, contact):
    """q'' (1/h + t/k + R), derived; 1e-8: what the solver leaves."""
    stack = build_stack(case)
    frame = stack.layer("frame")
    found = rim_rise(with_value(case, "mask.frame.contact", contact))
    by_hand = 1 / H + frame.thickness / frame.material.conductivity(WATER) + contact
    assert found == pytest.approx(FLUX * by_hand, rel=1e-8)


def test_the_contact_alone_raises_the_rim_by_flux_times_resistance(case):
    """q'' R, derived; 1e-6: the difference of two solves of 1e-8."""
    one, other = (
        rim_rise(with_value(case, "mask.frame.contact", contact)) for contact in (1e-9, 5e-4)
    )
    assert other - one == pytest.approx(FLUX * (5e-4 - 1e-9), rel=1e-6)
