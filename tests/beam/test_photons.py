"""Monte Carlo of the photons: balance, limits, angle laws, and two derivations of another kind."""

from dataclasses import replace
from math import cos, log, pi, sin, sqrt

import numpy as np
import pytest
import xraylib
from beams import BERYLLIUM, GOLD, PMMA, SILICON, beam, piece

from thermo.beam import photons
from thermo.beam.attenuation import coefficients, recoil_share, slab_escape
from thermo.beam.photons import follow_photons
from thermo.beam.quadrature import gauss_legendre
from thermo.beam.scattering import (
    COMPTON,
    Collisions,
    collisions,
    compton_cosine,
    compton_ratio,
    rayleigh_cosine,
    sent_on,
    turned,
)
from thermo.errors import PhysicsError, SolveError
from thermo.materials import material

COPPER, ALUMINIUM = material("copper"), material("aluminium")
BEAM = beam(others=(PMMA, GOLD, SILICON, ALUMINIUM))
ENERGY, POWER = BEAM.energy, BEAM.power.sum(0)
STACK = (
    piece("membrane", BERYLLIUM, 220e-6),
    piece("resist", PMMA, 600e-6, 6),
    piece("substrate", SILICON, 525e-6, 3),
    piece("holder", ALUMINIUM, 10e-3),
)


def one_energy(keV, power=1.0):
    return np.array([float(keV)]), np.array([power])


def test_heat_back_and_transmitted_add_up_to_the_incident_power():
    """1e-12: round-off of some thousand sums."""
    found = follow_photons(ENERGY, POWER, STACK, 20_000)
    heat = sum(h.sum() for h in found.heat)
    assert heat + found.back[0] + found.transmitted[0] == pytest.approx(POWER.sum(), rel=1e-12)
    assert [len(h) for h in found.heat] == [1, 6, 3, 1]
    assert found.total("resist")[0] == pytest.approx(found.heat[1].sum(), rel=1e-12)
    assert found.total("holder")[1] == pytest.approx(found.error[3][0], rel=1e-9)
    assert min(found.back[0], found.transmitted[0]) > 0


def test_the_balance_is_checked_where_power_is_not_a_number():
    with pytest.raises(SolveError, match="photon balance"):
        follow_photons(*one_energy(10, np.nan), STACK, 1000)


def test_cuts_of_a_layer_do_not_change_its_heat():
    """Same random numbers, so only the sums differ; 1e-12 is their round-off."""
    whole = follow_photons(ENERGY, POWER, [piece("resist", PMMA, 600e-6)], 10_000)
    cut = follow_photons(ENERGY, POWER, [piece("resist", PMMA, 600e-6, 7)], 10_000)
    assert cut.heat[0].sum() == pytest.approx(whole.heat[0].sum(), rel=1e-12)


def test_same_seed_same_answer_and_another_seed_another_one():
    first, again, other = (follow_photons(ENERGY, POWER, STACK, 5000, seed) for seed in (7, 7, 8))
    assert np.array_equal(np.concatenate(first.heat), np.concatenate(again.heat))
    assert not np.array_equal(first.heat[1], other.heat[1])


def test_soft_light_on_gold_follows_beer_and_lambert():
    """1.5 keV lies below all followed lines of gold: only Rayleigh scattering moves heat.

    Tolerance: its share of the attenuation, 0.9 %.
    """
    energy, power = one_energy(1.5)
    film = piece("absorber", GOLD, 1e-6, 8)
    mu = coefficients(GOLD, energy)
    expected = -np.diff(np.exp(-(mu.attenuation + mu.rayleigh)[0] * film.depths))
    share = (mu.rayleigh / (mu.attenuation + mu.rayleigh))[0]
    assert share < 0.01
    found = follow_photons(energy, power, [film], 5000)
    assert found.heat[0] == pytest.approx(expected, rel=2 * share, abs=share * expected[0])
    assert found.heat[0].sum() == pytest.approx(expected.sum(), abs=share)


def test_share_of_fluorescence_that_leaves_a_thin_film():
    """4 um of copper at 20 keV: escape (1 - 2 E3(tau))/(2 tau) of emission even in depth.

    Optical depth 0.12 for the beam, 0.2 for its line; a linear slope of emission cancels between
    the two faces.  2 % of the escape: curvature, Rayleigh and Compton (1 % of the attenuation).
    """
    energy, power = one_energy(20)
    t = 4e-6
    mu = coefficients(COPPER, energy)
    found = follow_photons(energy, power, [piece("film", COPPER, t)], 200_000)
    taken = -np.expm1(-mu.photo[0] * t)
    lost = 1 - found.heat[0][0] / taken
    line = [(share[0], slab_escape(line * t)) for _, share, line in mu.lines]
    assert lost == pytest.approx(sum(share * escape for share, escape in line), rel=0.02)
    assert mu.escape(None)[0] > 1.1 * lost


def test_compton_ratio_keeps_the_mean_recoil():
    """Drawn by energy, the mean of 1/P is 1/(1 - r); 5 standard errors of 1e5 draws."""
    rng = np.random.default_rng(3)
    for keV in (1.0, 30.0, 300.0):
        inverse = 1 / compton_ratio(np.full(100_000, keV), rng)
        expected = 1 / (1 - recoil_share(np.array([keV]))[0])
        assert inverse.mean() == pytest.approx(expected, abs=5 * inverse.std() / sqrt(1e5))


@pytest.mark.parametrize("moment", [1, 2])
def test_compton_angles_follow_klein_and_nishina_times_energy(moment):
    """Moments of the cosine at 150 keV by quadrature of the law; 5 standard errors."""
    c, weight = gauss_legendre(64)
    P = 1 / (1 + 150 / 510.99895 * (1 - c))
    law = weight * P**3 * (P + 1 / P - 1 + c**2)
    energy = np.full(200_000, 150.0)
    drawn = compton_cosine(energy, compton_ratio(energy, np.random.default_rng(5))) ** moment
    expected = (law * c**moment).sum() / law.sum()
    assert drawn.mean() == pytest.approx(expected, abs=5 * drawn.std() / sqrt(2e5))


def test_both_scatterings_become_thomson_scattering_for_soft_photons():
    """1 + c^2 has mean c = 0 and mean c^2 = 2/5; at 0.2 keV recoil and form factor take 0.01."""
    energy = np.full(100_000, 0.2)
    rng = np.random.default_rng(2)
    table = collisions(BERYLLIUM, np.array([0.2, 1.0]))
    for drawn in (
        compton_cosine(energy, compton_ratio(energy, rng)),
        rayleigh_cosine(table, energy, rng),
    ):
        assert drawn.mean() == pytest.approx(0, abs=0.01)
        assert (drawn**2).mean() == pytest.approx(0.4, abs=0.01)


def test_compton_photons_lose_the_energy_that_their_turn_asks_for():
    """A. H. Compton: 1/E' - 1/E = (1 - c)/mc2; 1e-6: rest energy in nine digits."""
    table, start = collisions(PMMA, np.array([1.0, 80.0])), np.full(100, 80.0)
    outcome = np.full(100, COMPTON)
    energy, cosine = sent_on(table, outcome, start, np.ones(100), np.random.default_rng(1))
    assert 1 / energy - 1 / start == pytest.approx((1 - cosine) / 510.99895, rel=1e-6, abs=1e-12)


def rayleigh_law(parts, keV):
    """Cosines and weights of (1 + c^2) sum n F^2 for (atoms, Z), by quadrature in c."""
    c, weight = gauss_legendre(400)
    x = keV / 12.398419843 * np.sqrt((1 - c) / 2)
    F2 = sum(n * np.array([xraylib.FF_Rayl(Z, q) for q in x]) ** 2 for n, Z in parts)
    return c, weight * (1 + c**2) * F2


@pytest.mark.parametrize(
    ("stuff", "parts"),
    [
        (GOLD, [(1, 79)]),
        (PMMA, [(5, 6), (8, 1), (2, 8)]),
        (
            replace(GOLD, composition={"C": 0.95, "Au": 0.05}),
            [(0.95 / 12.011, 6), (0.05 / 197, 79)],
        ),
    ],
    ids=["gold", "PMMA", "gold in carbon"],
)
def test_rayleigh_angles_follow_the_form_factor_of_a_mixture(stuff, parts):
    """20 keV, mean cosine; 5 standard errors, and 1e-3 for the steps of the table."""
    c, law = rayleigh_law(parts, 20.0)
    table = collisions(stuff, np.array([1.0, 20.0]))
    drawn = rayleigh_cosine(table, np.full(100_000, 20.0), np.random.default_rng(4))
    expected = (law * c).sum() / law.sum()
    assert drawn.mean() == pytest.approx(expected, abs=1e-3 + 5 * drawn.std() / sqrt(1e5))


def test_the_form_factor_carries_the_tabulated_rayleigh_cross_section():
    """pi r_e^2 integral (1 + c^2) F^2 dc = sigma; both xraylib, 1 %: the two tables' own steps."""
    _, law = rayleigh_law([(1, 29)], 20.0)
    sigma = pi * 2.8179403e-13**2 * law.sum() * 6.02214076e23 / 63.546  # cm2/g
    assert sigma == pytest.approx(xraylib.CS_Rayl(29, 20.0), rel=0.01)


def test_turns_keep_the_mean_direction():
    """Mean cosine after an even azimuth is the product of cosines; 5 standard errors."""
    drawn = turned(np.full(100_000, 0.6), np.full(100_000, -0.3), np.random.default_rng(1))
    assert drawn.mean() == pytest.approx(-0.18, abs=5 * drawn.std() / sqrt(1e5))
    assert drawn.std() == pytest.approx(0.8 * sqrt(1 - 0.09) / sqrt(2), rel=0.01)


def test_standard_error_falls_with_the_root_of_the_photons():
    """16 times as many: a quarter.  25 %: 20 batches know each error to 16 %, eleven are pooled."""
    few, many = (follow_photons(ENERGY, POWER, STACK, n) for n in (10_000, 160_000))
    ratio = [np.concatenate(few.error) / np.concatenate(many.error)]
    assert np.exp(np.mean(np.log(ratio))) == pytest.approx(4, rel=0.25)


def test_stated_error_is_the_scatter_between_seeds():
    """12 seeds know their scatter to 20 %, four layers to 10 %; 40 % is four of these."""
    runs = [follow_photons(ENERGY, POWER, STACK, 4000, seed) for seed in range(12)]
    ratio = []
    for name in runs[0].names:
        values, errors = np.array([run.total(name) for run in runs]).T
        ratio.append(values.std(ddof=1) / sqrt((errors**2).mean()))
    assert np.exp(np.mean(np.log(ratio))) == pytest.approx(1, rel=0.4)


def chandrasekhar(albedo, count=64):
    """H function of isotropic scattering at the nodes and at 1, by iteration of its integral."""
    x, w = gauss_legendre(count)
    mu, w = np.append((x + 1) / 2, 1.0), np.append(w / 2, 0.0)
    H = np.ones(count + 1)
    for _ in range(2000):
        kernel = (w * H / (mu[:, None] + mu)).sum(1)
        H = 1 / (sqrt(1 - albedo) + albedo / 2 * ((w * mu * H) / (mu[:, None] + mu)).sum(1))
    assert np.allclose(1 / H, 1 - albedo / 2 * mu * kernel, rtol=1e-9)
    return H[-1]


@pytest.mark.parametrize("albedo", [0.5, 0.9])
def test_albedo_of_a_half_space_with_isotropic_scattering(albedo, monkeypatch):
    """1 - H(1) sqrt(1 - w), S. Chandrasekhar, Radiative Transfer (1950), chapter V (from memory).

    A made-up material whose only outcome besides absorption is one isotropic line at the photon's
    own energy, 60 mean free paths thick; 5 standard errors.
    """

    def grey(_, nodes):
        share = np.tile([1 - albedo, 0, 0, albedo], (len(nodes), 1))
        return Collisions(np.full(len(nodes), 60e3), share, np.array([10.0]), nodes, nodes)

    monkeypatch.setattr(photons, "collisions", grey)
    found = follow_photons(*one_energy(10), [piece("half-space", PMMA, 1e-3)], 100_000)
    expected = 1 - chandrasekhar(albedo) * sqrt(1 - albedo)
    assert found.back[0] == pytest.approx(expected, abs=5 * found.back[1])
    assert found.back[1] < 0.01 * expected


class SinglePhoton:
    """A photon at a time: null collisions instead of optical depth, every cross section looked up
    where it is needed, angles drawn without weights from laws tabulated by cosine."""

    def __init__(self, layers, seed):
        """layers: (formula, density kg/m3, thickness m)."""
        self.parts = []
        for formula, rho, _ in layers:
            found = xraylib.CompoundParser(formula)
            zipped = zip(found["Elements"], found["massFractions"], strict=True)
            self.parts.append([(Z, 0.1 * rho * part) for Z, part in zipped])
        self.ends = np.cumsum([t for _, _, t in layers])
        self.random = np.random.default_rng(seed).random
        self.cos = np.linspace(-1, 1, 201)
        self.most = {}
        self.momentum = np.linspace(0, 3.5, 701)
        self.form = {
            Z: np.array([xraylib.FF_Rayl(Z, q) for q in self.momentum])
            for part in self.parts
            for Z, _ in part
        }

    def coefficient(self, layer, E):
        """Each (process, Z, linear coefficient) in a layer, process 'photo', 'compton', ..."""
        tables = (xraylib.CS_Photo, xraylib.CS_Compt, xraylib.CS_Rayl)
        return [
            (process, Z, rho * table(Z, E))
            for Z, rho in self.parts[layer]
            for process, table in zip(("photo", "compton", "rayleigh"), tables, strict=True)
        ]

    def cosine(self, law):
        """A cosine from a law given on the grid."""
        below = np.concatenate([[0], (law[1:] + law[:-1]).cumsum()])
        return float(np.interp(self.random() * below[-1], below, self.cos))

    def direction(self, old, c):
        """Unit vector after a turn by cosine c at an even azimuth, by a frame of three vectors."""
        u, v, w = old
        azimuth = 2 * pi * self.random()
        a, b = (sqrt(max(0.0, 1 - c * c)) * f(azimuth) for f in (cos, sin))
        h = sqrt(u * u + v * v)
        if h < 1e-9:
            return a, b, c * w
        return (
            c * u + (a * u * w - b * v) / h,
            c * v + (a * v * w + b * u) / h,
            c * w - a * h,
        )

    def follow(self, E):
        """Energies (keV) left in each layer, sent back and transmitted by one photon."""
        book = np.zeros(len(self.ends) + 2)
        z, direction = 0.0, (0.0, 0.0, 1.0)
        while E > 0:
            if E not in self.most:
                lists = [self.coefficient(i, E) for i in range(len(self.ends))]
                self.most[E] = lists, max(sum(m for *_, m in found) for found in lists)
            lists, most = self.most[E]
            z += direction[2] * -log(1 - self.random()) / most
            if z < 0 or z >= self.ends[-1]:
                book[-2 if z < 0 else -1] += E
                break
            layer = int(np.searchsorted(self.ends, z, "right"))
            drawn = self.random() * most
            for process, Z, mu in lists[layer]:
                drawn -= mu
                if drawn < 0:
                    E, direction, left = getattr(self, process)(Z, E, direction)
                    book[layer] += left
                    break
        return book

    def photo(self, Z, E, direction):
        """At most one line of gold or copper K and L, isotropic."""
        drawn = self.random() * xraylib.CS_Photo(Z, E)
        lines = (xraylib.KA_LINE, xraylib.KB_LINE)
        lines += (xraylib.LA_LINE, xraylib.LB_LINE, xraylib.L3M1_LINE, xraylib.L2N4_LINE)
        for line in lines if Z > 12 else ():
            try:
                out = xraylib.LineEnergy(Z, line)
                drawn -= xraylib.CS_FluorLine(Z, line, E)
            except ValueError:
                continue
            if out > 0.25 and drawn < 0:
                return out, self.direction(direction, 2 * self.random() - 1), E - out
        return 0.0, direction, E

    def compton(self, _, E, direction):
        """Klein and Nishina by number of photons."""
        P = 1 / (1 + E / 510.99895 * (1 - self.cos))
        c = self.cosine(P**2 * (P + 1 / P - 1 + self.cos**2))
        out = E / (1 + E / 510.99895 * (1 - c))
        return out, self.direction(direction, c), E - out

    def rayleigh(self, Z, E, direction):
        """Form factor of the one atom that scatters."""
        x = np.sqrt((1 - self.cos) / 2) * E / 12.398419843
        F = np.interp(x, self.momentum, self.form[Z])
        return E, self.direction(direction, self.cosine((1 + self.cos**2) * F**2)), 0.0


def test_single_photons_by_another_algorithm_give_the_same_powers():
    """40 keV on 2 mm PMMA, 40 um copper, 10 um gold, 1 mm PMMA; 4.5 standard errors."""
    layers = [("C5H8O2", 1190, 2e-3), ("Cu", 8960, 40e-6), ("Au", 19320, 10e-6)]
    layers.append(("C5H8O2", 1190, 1e-3))
    single = SinglePhoton(layers, seed=11)
    books = np.array([single.follow(40.0) for _ in range(5000)]) / 40
    mean, error = books.mean(0), books.std(0, ddof=1) / sqrt(len(books))
    assert books.sum(1) == pytest.approx(1, rel=1e-12)
    stack = [
        piece("top", PMMA, 2e-3),
        piece("base", replace(COPPER, composition={"Cu": 1.0}), 40e-6),
        piece("absorber", GOLD, 10e-6),
        piece("bottom", PMMA, 1e-3),
    ]
    found = follow_photons(*one_energy(40), stack, 100_000)
    values = [*(found.total(p.name) for p in stack), found.back, found.transmitted]
    for (value, own), other, spread in zip(values, mean, error, strict=True):
        assert value == pytest.approx(other, abs=4.5 * sqrt(spread**2 + own**2))


def test_a_dark_beam_and_a_beam_that_meets_almost_nothing():
    dark = follow_photons(*one_energy(10, 0.0), STACK, 1000)
    assert max(h.max() for h in dark.heat) == dark.back[0] == dark.transmitted[0] == 0
    thin = follow_photons(*one_energy(10), [piece("film", PMMA, 1e-15)], 1000)
    assert thin.transmitted[0] == pytest.approx(1, rel=1e-9)  # mu t is 4e-13


@pytest.mark.parametrize("count", [999, 1.1e8, np.nan, -5])
def test_photons_outside_their_range_are_refused(count):
    with pytest.raises(PhysicsError, match=r"allowed: 1000 to 1e\+08"):
        follow_photons(ENERGY, POWER, STACK, count)


@pytest.mark.parametrize("keV", [0.05, 900.0, np.nan])
def test_photon_energies_beyond_the_tables_are_refused(keV):
    with pytest.raises(PhysicsError, match="cut the spectrum"):
        follow_photons(*one_energy(keV), STACK, 1000)


def test_a_negative_seed_is_refused():
    with pytest.raises(PhysicsError, match="seed -1"):
        follow_photons(ENERGY, POWER, STACK, 1000, -1)
