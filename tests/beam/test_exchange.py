"""Photons sent on from layer to layer: energy book, closed forms, independence of sheets."""

import numpy as np
import pytest
from beams import BERYLLIUM, GOLD, PMMA, SILICON
from scipy import special

from thermo.beam import exchange as room
from thermo.beam.attenuation import coefficients, mixture
from thermo.beam.exchange import exchange

E = np.array([12.5, 25.0])
POWER = np.array([3.0, 2.0])


def layers(*pairs):
    return [(mixture(stuff), thickness) for stuff, thickness in pairs]


def sent_on(stuff, thickness):
    """Power of the beam that a layer alone stops and sends on."""
    mu = coefficients(stuff, E)
    taken = POWER * -np.expm1(-mu.attenuation * thickness)
    return float((taken * (1 - mu.deposition(None) / mu.attenuation)).sum())


def test_what_is_sent_on_stays_somewhere_or_leaves():
    """Round-off, for the beam's own split and every later one use the same numbers."""
    stack = layers((BERYLLIUM, 2e-4), (GOLD, 5e-6), (PMMA, 1e-3), (SILICON, 5e-4))
    found = exchange(E, POWER, stack)
    stays = sum(float(below(t)) for below, (_, t) in zip(found.below, stack, strict=True))
    sent, power = 0.0, POWER
    for stuff, t in ((BERYLLIUM, 2e-4), (GOLD, 5e-6), (PMMA, 1e-3), (SILICON, 5e-4)):
        mu = coefficients(stuff, E)
        taken = power * -np.expm1(-mu.attenuation * t)
        sent += float((taken * (1 - mu.deposition(None) / mu.attenuation)).sum())
        power = power - taken
    assert stays + found.leaving == pytest.approx(sent / POWER.sum(), rel=1e-12)


def test_a_thin_layer_alone_keeps_nothing_of_what_it_sends():
    found = exchange(E, POWER, layers((PMMA, 1e-8)))
    assert found.leaving == pytest.approx(sent_on(PMMA, 1e-8) / POWER.sum(), rel=1e-3)


def test_lines_of_a_layer_alone_leave_as_from_a_slab(monkeypatch):
    """Gold lines born nearly evenly in 0.2 um: (1 - 2 E3)/(2 tau) leave, first generation.

    The hard light barely fades in it; 1 %: the sheet's rule of six cosines at grazing angles.
    """
    monkeypatch.setattr(room, "GENERATIONS", 1)
    room._exchange.cache_clear()
    hard, one, t = np.array([25.0]), np.array([1.0]), 2e-7
    mu = coefficients(GOLD, hard)
    taken = -np.expm1(-mu.attenuation[0] * t)
    expected = taken * mu.compton[0] * (1 - mu.recoil[0]) / mu.attenuation[0]  # all of it leaves
    for _, share, own in mu.lines:
        tau = own * t
        leaves = (1 - 2 * special.expn(3, tau)) / (2 * tau)
        expected += taken * mu.photo[0] / mu.attenuation[0] * share[0] * leaves
    found = exchange(hard, one, layers((GOLD, t)))
    room._exchange.cache_clear()
    assert found.leaving == pytest.approx(expected, rel=1e-2)


def test_a_thick_layer_gets_half_of_a_thin_neighbours_lines():
    """Behind 0.1 um of gold, silicon takes what goes its way: half, less what gold keeps."""
    gold, silicon = (GOLD, 1e-7), (SILICON, 5e-2)
    together = exchange(np.array([13.0]), np.array([1.0]), layers(gold, silicon))
    alone = exchange(np.array([13.0]), np.array([1.0]), layers(gold))
    own = exchange(np.array([13.0]), np.array([1.0]), layers(silicon))
    passes = np.exp(-coefficients(GOLD, np.array([13.0])).attenuation[0] * 1e-7)
    more = float(together.below[1](5e-2)) - passes * float(own.below[0](5e-2))
    assert more == pytest.approx(alone.leaving / 2, rel=0.06)  # 5 % of the Au lines are scattered


def test_the_order_of_magnitude_of_the_beam_does_not_matter():
    stack = layers((GOLD, 5e-6), (PMMA, 1e-3))
    one, many = exchange(E, POWER, stack), exchange(E, 1e6 * POWER, stack)
    assert many.leaving == pytest.approx(one.leaving, rel=1e-12)


def test_finer_sheets_and_more_groups_change_little(monkeypatch):
    """1 % of what a layer gets, itself a few per cent of its heat."""
    stack = layers((BERYLLIUM, 2e-4), (PMMA, 1e-3), (SILICON, 5e-4))
    energy = np.geomspace(2, 60, 80)
    power = energy * np.exp(-energy / 10)
    coarse = exchange(energy, power, stack)
    monkeypatch.setattr(room, "GROUPS", 80)
    monkeypatch.setattr(room, "THIN", 0.0)
    monkeypatch.setattr(room, "FIRST", 0.01)
    monkeypatch.setattr(room, "WIDER", 1.5)
    room._exchange.cache_clear()
    fine = exchange(energy, power, stack)
    room._exchange.cache_clear()
    for a, b, (_, t) in zip(coarse.below, fine.below, stack, strict=True):
        assert float(a(t)) == pytest.approx(float(b(t)), rel=1e-2)


def test_no_layers_and_no_light_are_no_fault():
    assert exchange(E, POWER, []).leaving == 0
    dark = exchange(E, np.zeros(2), layers((PMMA, 1e-3)))
    assert np.isfinite(float(dark.below[0](1e-3)))
