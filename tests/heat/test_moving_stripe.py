"""Swing under the moving stripe: closed forms as limits, and a direct march through time."""

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import splu
from scipy.special import erfcx

from thermo.heat import Column, StripeCycle, stripe_pairs
from thermo.mesh import from_face

C, H = 160.2, 705.0  # J/(m2 K), W/(m2 K): an invented membrane and its losses


def moving_stripe(column, height, heat, light, speed, period):
    """Cycle in the middle of the stroke, where passes are evenly apart."""
    found = stripe_pairs(column, height, heat, light, speed, period, np.array([period]))
    parts = (found.mean, found.peak, found.lowest, found.dose_weighted)
    return StripeCycle(*(part[:, 0] for part in parts))


def gaussian(sigma, rays=121, reach=7.0):
    """Heights and a Gaussian stripe of power 1."""
    height = np.linspace(-reach * sigma, reach * sigma, rays)
    light = np.exp(-(height**2) / 2 / sigma**2)
    return height, light / light.sum()


def membrane(kt=0.0, capacity=C, h=H):
    """One slab, its two faces tied so well that it has one temperature."""
    t = 1e-4
    return Column(
        np.array([t]), np.array([1e3]), np.array([kt / t]), np.array([capacity / t]), (h / 2, h / 2)
    )


def pulses(on, off_on, tau, speed=0.02):
    """Peak and lowest of a lumped body under rectangular pulses of unit flux over h = 1.

    The stripe is a row of rays; a narrow weight of light only asks for enough wave numbers.
    """
    width, rays = on * speed, 1001
    height = (np.arange(rays) + 0.5) / rays * width - width / 2
    flux = np.full((1, rays), width / rays)
    light = np.exp(-(height**2) / 2 / (width / 100) ** 2)
    return moving_stripe(membrane(0.0, tau, 1.0), height, flux, light, speed, speed * off_on)


@pytest.mark.parametrize(
    ("on", "period", "tau", "highest", "lowest"),
    [
        (0.25, 5.0, C / H, 37.854822 * H / 4e4, 3.16098e-8 * H / 4e4),
        (1.0, 10.0, 4.0, 0.240980065253, 0.0253991120126),
    ],
    ids=["SCAN-C1", "HT-PULSE-LUMPED"],
)
def test_a_lumped_membrane_follows_a_train_of_rectangular_pulses(on, period, tau, highest, lowest):
    """theta_max = (q/h)(1 - exp(-t_on/tau))/(1 - exp(-T/tau)) (derived).

    0.2 %: a corner of slope q/C cut off at wave number w misses q/(pi w C), 0.1 % of the peak.
    """
    cycle = pulses(on, period, tau)
    assert cycle.mean == pytest.approx(on / period, rel=1e-8)  # balance; faces tied 1e7 to 1
    assert cycle.peak == pytest.approx(highest, rel=2e-3)
    assert cycle.lowest == pytest.approx(lowest, abs=2e-3 * highest)


def test_a_lumped_membrane_under_a_gaussian_pulse():
    """SCAN-C2: theta = (F/2C) exp(-t2/2s2) erfcx((s/tau - t/s)/sqrt 2), peak 30.7143 K (derived).

    1e-4 as printed: passes every 5 s leave exp(-22) of each other.
    """
    v, s = 0.02, 0.106
    height, light = gaussian(v * s)
    cycle = moving_stripe(membrane(), height, 1e4 * v * light[None], light, v, 5 * v)
    assert cycle.peak == pytest.approx(30.7143, rel=1e-4)


# SCAN-C4-PEAK: speed mm/s, peak under a line and under a Gaussian stripe, K (derived: fin
# equation in the moving frame).
C4 = [
    (0, 39.2721, 26.9146),
    (5, 38.8809, 26.7055),
    (20, 34.1357, 24.1142),
    (100, 13.0261, 10.8651),
]


@pytest.mark.parametrize(("speed", "_", "peak"), C4)
def test_gaussian_stripe_moving_over_a_membrane(speed, _, peak):
    """2e-5: the parabola through samples sigma/7 apart, and six printed digits."""
    height, light = gaussian(2.1233e-3)
    cycle = moving_stripe(membrane(0.01125), height, 221.2 * light[None], light, 1e-3 * speed, 0.6)
    assert cycle.peak == pytest.approx(peak, rel=2e-5)


@pytest.mark.parametrize(("speed", "peak", "_"), C4)
def test_line_moving_over_a_membrane(speed, peak, _):
    """A stripe of sigma 4 um stands for the line; its cusp of slope 1500/m is rounded by 0.5 %."""
    height, light = gaussian(4e-6, rays=41, reach=6.0)
    cycle = moving_stripe(membrane(0.01125), height, 221.2 * light[None], light, 1e-3 * speed, 0.3)
    assert cycle.peak == pytest.approx(peak, rel=6e-3)
    assert (cycle.peak < peak).all()


@pytest.mark.parametrize(("delay", "expected"), [(1.0, 10.83254), (3.7, 9.11899), (10.0, 7.43704)])
def test_surface_of_a_thick_resist_after_one_pass(delay, expected):
    """SCAN-C5: theta(0, t) = (F0 mu/rho c) erfcx(mu sqrt(alpha t)) (derived).

    The light is put where the stripe was `delay` ago, so the dose-weighted temperature reads the
    cooling curve.  0.2 %: the weight is a thirtieth of the delay wide, passes come every eight time
    constants of the slab that stands for a half space, slabs grow by 1.07 from 1 um.
    """
    k, rho_c, mu, F0, v = 0.19, 1190 * 1470.0, 600.0, 38950.0, 0.02
    thickness, pause = (4e-3, 500.0) if delay < 5 else (6.5e-3, 1500.0)
    z = from_face(thickness, 90, 1.07)
    one = np.ones(90)
    column = Column(np.diff(z), k * one, 0 * one, rho_c * one, (1e-9, 1e6))
    near, light = gaussian(delay / 30 * v, rays=31, reach=5.0)
    height = np.append(near, v * delay)
    heat = np.zeros((90, 32))
    heat[:, -1] = F0 * v * -np.diff(np.exp(-mu * z))
    cycle = moving_stripe(column, height, heat, np.append(light, 0.0), v, pause * v)
    exact = F0 * mu / rho_c * erfcx(mu * np.sqrt(k / rho_c * delay))
    assert exact == pytest.approx(expected, rel=2e-6)  # printed digits
    assert cycle.dose_weighted[0] == pytest.approx(expected, rel=2e-3)


# An invented stack: 125 um graphite, helium gap, resist, base on a film.
STACK = Column(
    np.array([125e-6, 100e-6, 50e-6, 100e-6, 200e-6, 0.5e-3]),
    np.array([90.0, 0.07, 0.19, 0.19, 0.19, 20.0]),
    np.array([90.0, 0.15, 0.19, 0.19, 0.19, 20.0]),
    np.array([1.28e6, 850.0, 1.7e6, 1.7e6, 1.7e6, 1.6e6]),
    (12.0, 3000.0),
)
HEAT = np.array([300.0, 0.0, 40.0, 50.0, 60.0, 90.0])  # W/m in each slab


def plain_matrices(column, y):
    """Conduction and capacity of a column over a row of places dy apart, finite volumes in y."""
    dz, n = column.heights, len(y)
    dy = y[1] - y[0]
    across = np.zeros((len(dz) + 1, len(dz) + 1))
    sheet, store = np.zeros(len(dz) + 1), np.zeros(len(dz) + 1)
    for i, t in enumerate(dz):
        link = column.across[i] / t
        across[i : i + 2, i : i + 2] += link * np.array([[1, -1], [-1, 1]])
        sheet[i : i + 2] += column.in_plane[i] * t / 2
        store[i : i + 2] += column.capacity[i] * t / 2
    across[0, 0] += column.h[0]
    across[-1, -1] += column.h[1]
    return sparse.csr_array(across), sheet, store, dy, n


def march(column, y, ring, where, heat, profile, pass_time, passes, steps):
    """Crank-Nicolson march; ring: y closes on itself; where(t): place of the stripe.

    Returns times and temperatures of the last pass, (steps, levels, places).
    """
    across, sheet, store, dy, n = plain_matrices(column, y)
    second = sparse.diags_array([[1.0] * (n - 1)] * 2, offsets=[-1, 1], shape=(n, n)).tolil()
    if ring:
        second[0, n - 1] = second[n - 1, 0] = 1.0
    second = sparse.csr_array(second)
    second = sparse.diags_array(np.asarray(second.sum(1)).ravel()) - second
    K = sparse.kron(across, sparse.eye_array(n)) + sparse.kron(
        sparse.diags_array(sheet), second / dy**2
    )
    M = sparse.kron(sparse.diags_array(store), sparse.eye_array(n))
    dt = pass_time / steps
    step = splu(sparse.csc_array(M / dt + K / 2))
    back = sparse.csr_array(M / dt - K / 2)
    share = np.zeros(len(column.heights) + 1)
    share[:-1] += heat / 2
    share[1:] += heat / 2
    mean = splu(sparse.csc_array(K))
    samples = [np.kron(share, profile(y, where((j + 0.5) * dt))) for j in range(2 * steps)]
    T = mean.solve(np.mean(samples, axis=0))
    course = []
    for j in range(passes * steps):
        T = step.solve(back @ T + samples[j % (2 * steps)])
        if j >= (passes - 2) * steps:
            course.append(T.reshape(-1, n))
    return np.array(course)


SIGMA, SPEED = 2e-3, 0.02


def stripe_profile(period=None):
    def profile(y, place):
        s = y - place
        if period is not None:
            s = (s + period / 2) % period - period / 2
        return np.exp(-(s**2) / 2 / SIGMA**2) / np.sqrt(2 * np.pi) / SIGMA

    return profile


def test_cycle_equals_a_march_through_time():
    """Mean, peak, lowest and dose-weighted temperature of every level against Crank-Nicolson.

    The march steps sigma/8 in place and time: its own error is (1/8)2/12 = 0.13 % of the swing;
    0.2 % allows for that. Half the steps leave a quarter of the difference (seen: 9e-4, 2e-4).
    """
    period = 0.04
    n = 160
    y = np.arange(n) * period / n
    pass_time = period / SPEED
    course = march(
        STACK, y, True, lambda t: SPEED * t, HEAT, stripe_profile(period), pass_time, 8, n
    )
    T = course[-1]  # one moment: every place is at another moment of the same cycle
    height, light = gaussian(SIGMA)
    cycle = moving_stripe(STACK, height, HEAT[:, None] * light, light, SPEED, period)
    weight = stripe_profile(period)(y, SPEED * 2 * pass_time)
    weighted = (T * weight).sum(1) / weight.sum()
    swing = cycle.swing.max()
    assert swing > 10
    assert cycle.mean == pytest.approx(T.mean(1), abs=2e-3 * swing)
    assert cycle.peak == pytest.approx(T.max(1), abs=2e-3 * swing)
    assert cycle.lowest == pytest.approx(T.min(1), abs=2e-3 * swing)
    assert cycle.dose_weighted == pytest.approx(weighted, abs=2e-3 * swing)


def test_swing_at_the_middle_of_a_real_up_and_down_scan():
    """Turn-arounds, both directions, ends without loss: the stripe's train is what remains mid-way.

    1 % of the largest swing: the base spreads heat along y, so its own swing feels the ends.
    """
    stroke, a = 0.06, 0.5
    pass_time = stroke / SPEED + SPEED / a

    def where(t):
        t = t % (2 * pass_time)
        t = t if t <= pass_time else 2 * pass_time - t
        ramp = SPEED / a
        if t < ramp:
            return -stroke / 2 + a * t**2 / 2
        if t > pass_time - ramp:
            return stroke / 2 - a * (pass_time - t) ** 2 / 2
        return -stroke / 2 + SPEED**2 / 2 / a + SPEED * (t - ramp)

    n = 321
    y = np.linspace(-0.04, 0.04, n)
    course = march(STACK, y, False, where, HEAT, stripe_profile(), pass_time, 10, 256)
    middle = course[:, :, n // 2]
    height, light = gaussian(SIGMA)
    cycle = moving_stripe(STACK, height, HEAT[:, None] * light, light, SPEED, SPEED * pass_time)
    swing = middle.max(0) - middle.mean(0)
    assert cycle.swing == pytest.approx(swing, abs=0.01 * swing.max())


def test_mean_of_the_cycle_is_the_steady_column():
    """(K) T_0 = q_0 for the whole train: solved here as dense matrices, 1e-10."""
    height, light = gaussian(SIGMA)
    cycle = moving_stripe(STACK, height, HEAT[:, None] * light, light, SPEED, 0.07)
    across = plain_matrices(STACK, np.arange(2.0))[0].toarray()
    load = np.zeros(7)
    load[:-1] += HEAT / 2 / 0.07
    load[1:] += HEAT / 2 / 0.07
    assert cycle.mean == pytest.approx(np.linalg.solve(across, load), rel=1e-10)
    out = STACK.h[0] * cycle.mean[0] + STACK.h[1] * cycle.mean[-1]
    assert out == pytest.approx(HEAT.sum() / 0.07, rel=1e-10)


def test_order_of_lowest_mean_weighted_and_peak():
    height, light = gaussian(SIGMA)
    cycle = moving_stripe(STACK, height, HEAT[:, None] * light, light, SPEED, 0.07)
    assert (cycle.lowest < cycle.mean).all()
    assert (cycle.mean < cycle.peak).all()
    assert (cycle.dose_weighted <= cycle.peak).all()
    assert cycle.dose_weighted[0] > cycle.mean[0]  # the mask prints while it is hot


def test_direction_of_the_motion_does_not_matter_for_an_even_stripe():
    height, light = gaussian(SIGMA)
    there, back = (
        moving_stripe(STACK, height, HEAT[:, None] * light, light, v, 0.07) for v in (SPEED, -SPEED)
    )
    assert there.peak == pytest.approx(back.peak, rel=1e-9)
    assert there.dose_weighted == pytest.approx(back.dose_weighted, rel=1e-9)


def test_the_origin_of_the_heights_does_not_matter():
    """Shifted rays shift light and heat alike: nothing but round-off may change."""
    height, light = gaussian(SIGMA)
    there, here = (
        moving_stripe(STACK, height + shift, HEAT[:, None] * light, light, SPEED, 0.07)
        for shift in (0.0, 0.3 * SIGMA)
    )
    assert here.dose_weighted == pytest.approx(there.dose_weighted, rel=1e-9)
    assert here.peak == pytest.approx(there.peak, rel=1e-5)  # samples fall elsewhere


def test_a_faster_scan_swings_less_at_the_same_mean():
    height, light = gaussian(SIGMA)
    slow, fast = (
        moving_stripe(STACK, height, HEAT[:, None] * light, light, v, 0.07) for v in (0.01, 0.05)
    )
    assert slow.mean == pytest.approx(fast.mean, rel=1e-12)
    assert (fast.swing[:3] < slow.swing[:3]).all()
