"""The exposure plan: doses, passes and time, with and without decay, scanning and held."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from thermo.answer.exposure import dose_plan
from thermo.answer.scene import describe
from thermo.beam import column_heat
from thermo.case import read_case

CASES = Path(__file__).parents[2] / "cases"


def plan_of(name, settings=None, still=False):
    return dose_plan(describe(read_case(CASES / f"{name}.toml", settings or {}), still))


@pytest.fixture(scope="module")
def grooves():
    return plan_of("fibre-grooves")


def test_whole_passes_give_the_wanted_bottom_dose_or_up_to_one_pass_more(grooves):
    one_pass = grooves.bottom / grooves.passes_constant_current
    assert 3.8e9 <= grooves.bottom * (1 + 1e-9) < 3.8e9 + one_pass + 1  # J/m3


def test_time_is_passes_times_the_time_of_one(grooves):
    one_way = 0.080 / 0.015 + 0.015 / 0.5  # stroke/v + v/a of the case
    assert grooves.time == pytest.approx(grooves.passes * one_way)
    assert grooves.time_constant_current == pytest.approx(grooves.passes_constant_current * one_way)


def test_decay_takes_as_much_longer_as_the_decaying_current_gives_less(grooves):
    tau, one_way = 14 * 3600, 0.080 / 0.015 + 0.015 / 0.5
    given = tau * (1 - np.exp(-grooves.time / tau))  # integral of exp(-t/tau)
    assert grooves.time > grooves.time_constant_current
    assert given == pytest.approx(grooves.time_constant_current, abs=2 * one_way)


def test_without_a_lifetime_both_times_are_one():
    plan = plan_of("lens-row")
    assert (plan.time, plan.passes) == (plan.time_constant_current, plan.passes_constant_current)


def test_ratio_is_top_over_bottom_and_the_dose_falls_all_the_way(grooves):
    assert grooves.ratio == grooves.top / grooves.bottom > 1
    assert (np.diff(grooves.dose) < 0).all()
    assert grooves.under_absorber < grooves.bottom / 20


def test_the_stroke_of_the_grooves_suffices_and_the_field_is_even(grooves):
    assert grooves.stroke_needed < 0.080
    assert grooves.unevenness < 2e-3  # 0.1 % at 3 sigma of overscan, the stripe's tails on top


def test_a_stroke_as_long_as_the_field_leaves_its_edges_with_half_the_dose():
    short = plan_of("fibre-grooves", {"scan.stroke": "70 mm"})
    assert short.stroke_needed > 0.070
    assert short.unevenness > 0.3


def test_twice_the_current_takes_half_the_passes_and_no_less_charge(grooves):
    more = plan_of("fibre-grooves", {"ring.current": "360 mA"})
    assert more.passes_constant_current == pytest.approx(grooves.passes_constant_current / 2, abs=1)
    assert more.charge_per_length == pytest.approx(grooves.charge_per_length)
    assert more.ratio == pytest.approx(grooves.ratio)


def test_a_held_beam_reaches_the_wanted_dose_in_the_middle_of_its_stripe():
    plan, scan = plan_of("lens-row", still=True), plan_of("lens-row")
    assert plan.bottom == pytest.approx(3.2e9)
    assert 1 < plan.ratio < scan.ratio  # the middle of the stripe is harder than all of it
    assert plan.passes is plan.stroke_needed is plan.unevenness is None
    assert plan.charge_per_length == pytest.approx(scan.charge_per_length)


def test_a_held_stripe_is_done_sooner_than_a_scan_by_stroke_over_stripe_height():
    plan, scan = plan_of("lens-row", still=True), plan_of("lens-row")
    scene = describe(read_case(CASES / "lens-row.toml"))
    resist = scene.stack.resist
    cut = np.array([0, 0.98, 1]) * resist.thickness
    column = [replace(p, depths=cut) if p.name == resist.name else p for p in scene.column(False)]
    heat = column_heat(scene.beam, column)
    profile = heat.heat[heat.names.index(resist.name)][-1]
    step = np.diff(scene.beam.height)[0]
    height = profile.sum() / profile.max() * step  # of a flat stripe, as the bottom sees it
    effective = 0.066 + 0.020**2 / 0.8
    sooner = effective / height
    # whole passes of the scan, and 2 % for what is brought: it has the height of what is sent on
    assert scan.time / plan.time == pytest.approx(sooner, rel=0.02 + 1.5 / scan.passes)
