"""Wiggler, tabulated spectrum and given stripe against the bending magnet and closed forms."""

import numpy as np
import pytest
from beams import BERYLLIUM, POLYIMIDE, ring
from scipy import integrate
from scipy.special import ndtr

from thermo.beam import (
    FWHM_PER_SIGMA,
    Profile,
    TabulatedSpectrum,
    Wiggler,
    density_from_flux,
    density_from_width,
    profile_fwhm,
    white_beam,
)
from thermo.errors import PhysicsError

WINDOWS = [("window", BERYLLIUM, 300e-6), ("film", POLYIMIDE, 40e-6)]


def rows(count=200, low=0.3, high=120.0):
    energy = np.geomspace(low, high, count)
    return energy, ring().power(energy)


def test_a_wiggler_of_n_poles_is_n_bending_magnets():
    one = white_beam(ring(), 12.5, WINDOWS)
    many = white_beam(Wiggler(ring(), 14, 0.15), 12.5, WINDOWS)
    assert many.power == pytest.approx(14 * one.power, rel=1e-13)
    assert many.emitted == pytest.approx(14 * one.emitted, rel=1e-13)
    assert many.fwhm == pytest.approx(one.fwhm, rel=1e-12)
    assert many.half_power == pytest.approx(one.half_power, rel=1e-12)


def test_fan_of_a_wiggler_by_its_deflection_parameter():
    """K = 0.0934 B[T] lambda[mm] (X-ray Data Booklet section 2.1, from memory), fan K/gamma."""
    wiggler = Wiggler(ring(field=1.25), 14, 0.15)
    assert wiggler.half_fan * ring().gamma == pytest.approx(0.0934 * 1.25 * 150, rel=1e-3)


def test_edge_of_a_wigglers_fan():
    """The field at angle theta is that of the sine at cos(phase) = gamma theta/K, so at 0.6 of
    the fan it is 0.8 of the peak; outside there is nothing."""
    wiggler = Wiggler(ring(), 14, 0.15)
    aside = wiggler.seen_from(0.6 * wiggler.half_fan)
    assert aside.pole.field == pytest.approx(0.8 * wiggler.pole.field, rel=1e-12)
    assert wiggler.seen_from(0.0) == wiggler
    for angle in (1.001 * wiggler.half_fan, np.nan):
        with pytest.raises(PhysicsError, match="outside the wiggler's fan"):
            wiggler.seen_from(angle)


@pytest.mark.parametrize("count", [60, 200, 1000])
def test_a_table_made_from_the_built_in_spectrum_gives_the_same_beam(count):
    """1e-3 asked for; the soft tail below the table (0.03 % of the emitted power) is cut."""
    built_in = white_beam(ring(), 12.5, WINDOWS)
    energy, density = rows(count)
    table = white_beam(TabulatedSpectrum(energy, density, 0.15, ring()), 12.5, WINDOWS)
    assert table.on_mask == pytest.approx(built_in.on_mask, rel=1e-3)
    for a, b in zip(table.filters[1:], built_in.filters[1:], strict=True):
        assert a.absorbed == pytest.approx(b.absorbed, rel=1e-3)
    assert table.fwhm == pytest.approx(built_in.fwhm, rel=1e-3)


def test_both_units_of_a_table_are_the_same_spectrum():
    """Flux F in 0.1 % bandwidth and mrad: dP/dE = 1e6 F e (keV, rad) by definition."""
    energy, density = rows()
    photons = density / (energy * 1.602176634e-16)  # per s, keV and rad
    flux = photons * 1e-3 * energy * 1e-3
    assert density_from_flux(flux) == pytest.approx(density, rel=1e-12)
    per_mm = density / 12.5 * 1e-3 * 1e-3  # per eV and mm
    assert density_from_width(per_mm, 12.5) == pytest.approx(density, rel=1e-12)


def test_a_narrow_line_keeps_its_power_at_its_energy():
    """A triangle 0.2 % wide, far narrower than a bin: its area, 0.05, for it is straight."""
    energy = np.array([1.0, 9.99, 10.0, 10.01, 50.0])
    density = np.array([0.0, 0.0, 5.0, 0.0, 0.0])
    found, power = TabulatedSpectrum(energy, density, 0.1).rays([], 40)
    line = power > 1e-6 * power.sum()
    assert found[line].min() > 9.98
    assert found[line].max() < 10.02
    assert power.sum() == pytest.approx(0.05, rel=1e-9)


def test_power_of_a_table_is_the_integral_over_its_rows():
    """A power law is a straight line in ln P over ln E, so the interpolation is exact."""
    energy = np.geomspace(1, 60, 7)
    found, power = TabulatedSpectrum(energy, energy**-2.0, 0.1).rays([8.0, 13.0], 40)
    assert power.sum() == pytest.approx(1 - 1 / 60, rel=1e-9)
    assert (np.diff(found) > 0).all()
    mean, _ = integrate.quad(lambda e: np.log(e) * e**-2.0, 1, 60)
    assert (power * np.log(found)).sum() == pytest.approx(mean, rel=1e-9)


def test_a_table_goes_with_the_ring_current():
    table = TabulatedSpectrum(*rows(), 0.15, ring())
    half = white_beam(table.at_current(0.075), 12.5, WINDOWS)
    full = white_beam(table, 12.5, WINDOWS)
    assert half.power == pytest.approx(full.power / 2, rel=1e-13)
    assert full.at_current(0.075).power == pytest.approx(half.power, rel=1e-13)
    assert full.at_current(0.075).filters[0].low == pytest.approx(half.filters[0].low, rel=1e-13)


@pytest.mark.parametrize(
    ("energy", "density", "words"),
    [
        ([1.0, 3.0, 2.0], [1.0, 1.0, 1.0], "must rise"),
        ([0.01, 3.0], [1.0, 1.0], "allowed: 0.1 to 800 keV"),
        ([1.0, 900.0], [1.0, 1.0], "allowed: 0.1 to 800 keV"),
        ([1.0, 3.0], [1.0, -1.0], "0 or more"),
        ([1.0, 3.0], [0.0, 0.0], "above 0 somewhere"),
        ([1.0, np.nan], [1.0, 1.0], "must rise"),
        ([1.0, 3.0], [1.0, 1e300], "check its unit"),
        ([1.0, 3.0], [1.0, np.inf], "check its unit"),
        ([1.0, 3.0], [1.0, np.nan], "0 or more"),
        ([1.0, 3.0], [1e11, 1e11], "check the unit of its columns"),
        ([1.0, 3.0], [1e-9, 1e-9], "check the unit of its columns"),
    ],
)
def test_a_table_that_is_no_spectrum_is_refused(energy, density, words):
    with pytest.raises(PhysicsError, match=words):
        TabulatedSpectrum(np.array(energy), np.array(density), 0.1)


def test_without_a_magnet_the_stripe_must_be_given():
    table = TabulatedSpectrum(*rows(), 0.15)
    with pytest.raises(PhysicsError, match="vertical profile is not known"):
        white_beam(table, 12.5, WINDOWS)
    beam = white_beam(table, 12.5, WINDOWS, profile=Profile(fwhm=4e-3))
    assert beam.fwhm == pytest.approx(4e-3, rel=1e-4)  # spline through 121 rays


def test_a_given_stripe_keeps_every_watt_and_is_a_gaussian():
    beam = white_beam(ring(), 12.5, WINDOWS, profile=Profile(fwhm=4e-3))
    law = white_beam(ring(), 12.5, WINDOWS)
    assert beam.on_mask == pytest.approx(law.on_mask, rel=1e-13)
    profile = beam.power.sum(1)
    sigma = np.sqrt((profile * beam.height**2).sum() / profile.sum())
    assert sigma == pytest.approx(4e-3 / FWHM_PER_SIGMA, rel=1e-6)


def test_the_electron_beam_blurs_the_stripe_by_its_variance():
    """Variances of a convolution add; 1e-3: what the ends of the rays cut off."""
    blur = Profile(source_height=0.3e-3, source_angle=40e-6)
    assert blur.blur(12.5) == pytest.approx(np.hypot(0.3e-3, 0.5e-3), rel=1e-12)
    sharp, soft = (white_beam(ring(), 12.5, WINDOWS, profile=p) for p in (Profile(), blur))
    variance = [(b.power.sum(1) @ b.height**2) / b.on_mask for b in (sharp, soft)]
    assert variance[1] - variance[0] == pytest.approx(blur.blur(12.5) ** 2, rel=1e-3)
    assert soft.on_mask == pytest.approx(sharp.on_mask, rel=1e-12)
    assert soft.power.sum(0) == pytest.approx(sharp.power.sum(0), rel=1e-9)


def test_a_blur_far_wider_than_the_stripe_is_its_own_shape():
    """Then the stripe is the Gaussian of the electron beam, seen by its half width."""
    wide = white_beam(ring(), 12.5, WINDOWS, profile=Profile(source_height=40e-3))
    assert wide.fwhm == pytest.approx(40e-3 * FWHM_PER_SIGMA, rel=5e-3)
    inside = wide.power.sum(1)[np.abs(wide.height) <= 40e-3].sum() / wide.on_mask
    assert inside == pytest.approx(ndtr(1) - ndtr(-1), abs=0.02)


def test_half_of_a_magnets_power_lies_below_its_critical_energy():
    """Schwinger: definition of the critical energy; 1 %: linear between the grid's energies."""
    beam = white_beam(ring(), 12.5, WINDOWS)
    assert beam.half_power == pytest.approx(ring().critical_energy, rel=1e-2)


def test_profile_of_a_gaussian():
    height = np.linspace(-6, 6, 121)
    assert profile_fwhm(height, np.exp(-(height**2) / 2)) == pytest.approx(FWHM_PER_SIGMA, rel=1e-4)
