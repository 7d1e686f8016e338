"""Numbers that are known without this program, beside what its own functions give for them.

Each is solved in well under a second: enough to tell a broken installation, not a verification.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import constants

from thermo.beam import BendingMagnet
from thermo.beam.attenuation import mass_attenuation
from thermo.elastic import Held, Pins, Solid, cell_stress, expand
from thermo.elastic.solid import Bools, Floats
from thermo.heat import Fields, Film, Steady, heat_system, steady
from thermo.mesh import Grid, extrude, rectangle_plan
from thermo.solve import Solver, plan_matrices

GEV = 1e9 * constants.e
E, NU, ALPHA = 130e9, 0.28, 2.6e-6  # of the plate: silicon, rounded
LAYERS = ((0.5e-3, 0.2), (0.1e-3, 0.3), (0.5e-3, 148.0))  # of the wall: thickness m, k W/(m K)
FLUX, WATER = 1000.0, 2000.0  # W/m2 into the wall's first layer, W/(m2 K) behind its last
K_T, RIM = 0.02, 1000.0  # of the sheet: k times thickness W/K, film along its rim W/(m2 K)
LIT, HELD, SHEET_FLUX = 20e-3, 5e-3, 500.0  # half of the lit width m, rim m, W/m2
SHEET = 0.1e-3  # m


@dataclass(frozen=True)
class ClosedForm:
    """One number: what, unit, its value by hand, relative tolerance, source, and our own value."""

    what: str
    unit: str
    expected: float
    tolerance: float
    source: str
    found: Callable[[], float]

    def holds(self, found: float) -> bool:
        """Whether a value agrees with the known one; nan does not."""
        return abs(found - self.expected) <= self.tolerance * abs(self.expected)


def _magnet() -> BendingMagnet:
    return BendingMagnet(2.5 * GEV, 1.2, 0.1)


def _soft_half() -> float:
    magnet = _magnet()
    energy, power = magnet.rays([magnet.critical_energy])
    return float(power[energy < magnet.critical_energy].sum() / power.sum())


def _attenuation(formula: str, energy: float) -> float:
    """Total attenuation, cm2/g, at a photon energy in keV."""
    return float(10 * mass_attenuation({formula: 1.0}, np.array([energy]))[0])


def _solved(grid: Grid, k: Floats, film: Film, heat: Floats) -> Steady:
    """Steady rise over one film's sink, K, of conductivities and heat (W) by cell."""
    matrices = plan_matrices(grid.plan.points, grid.plan.quads)
    return steady(heat_system(grid, matrices, Fields(k, k, k), (film,)), heat, Solver())


def _wall() -> float:
    lines = np.linspace(0, 10e-3, 21)
    plan = rectangle_plan(lines, lines)
    whole = np.ones(plan.quads.shape[1], bool)
    grid = extrude(plan, [np.linspace(0, d, 5) for d, _ in LAYERS], [whole] * 3, 0.0)
    k = np.array([LAYERS[i][1] for i in grid.layer])[:, None] * np.ones(len(whole))
    first = (grid.layer == 0)[:, None]
    heat = np.where(first, FLUX / LAYERS[0][0], 0.0) * grid.heights[:, None] * plan.areas
    water = Film("water", len(grid.heights), whole, WATER, 0.0)
    return float(_solved(grid, k, water, heat).T[0].mean())


def _sheet_by_hand() -> float:
    """q a/(sqrt(h k t) tanh(m w)) + q a2/(2 k t),  m = sqrt(h/(k t)), K."""
    through = math.sqrt(RIM * K_T) * math.tanh(math.sqrt(RIM / K_T) * HELD)
    return SHEET_FLUX * LIT * (1 / through + LIT / (2 * K_T))


def _sheet() -> float:
    x = np.concatenate([np.linspace(0, LIT, 41), LIT + np.linspace(0, HELD, 33)[1:]])
    plan = rectangle_plan(x, np.linspace(0, LIT, 41))
    whole = np.ones(plan.quads.shape[1], bool)
    grid = extrude(plan, [np.linspace(0, SHEET, 3)], [whole], 0.0)
    lit = plan.corners[0].mean(axis=0) < LIT
    share = grid.heights[:, None] / SHEET
    heat = SHEET_FLUX * share * plan.areas * lit
    rim = Film("rim", len(grid.heights), ~lit, RIM, 0.0)
    found = _solved(grid, np.full(grid.active.shape, K_T / SHEET), rim, heat)
    return float(found.T[0, np.argmin(plan.points[0])])


def _plate() -> Solid:
    lines = np.linspace(-25e-3, 25e-3, 6)
    plan = rectangle_plan(lines, lines)
    levels = np.array([0.0, 0.2e-3, 0.525e-3])
    shape = (len(levels) - 1, plan.quads.shape[1])
    active = np.ones(shape, bool)
    E_, nu, alpha = (np.full(shape, value) for value in (E, NU, ALPHA))
    return Solid(plan.points, plan.quads, levels, active, E_, nu, alpha, np.zeros(shape))


def _growth() -> float:
    plate = _plate()
    moved = expand(plate, np.ones((*plate.active.shape, 2, 4)), (Pins(0),))
    return float(1e9 * np.ptp(moved.u[0, :, 0]))


def _clamped() -> float:
    plate = _plate()
    rise = np.full((*plate.active.shape, 2, 4), 10.0)
    rim: Bools = np.any(np.abs(plate.points) > 24e-3, axis=0)
    table = Held(np.ones_like(rim), "z", (0,))
    moved = expand(plate, rise, (Held(rim, "xy"), table))
    return float(1e-6 * cell_stress(plate, moved.u, rise)[..., :2].mean())


CLOSED_FORMS = (  # from the beam to the stress
    ClosedForm(
        "critical energy, 2.5 GeV, 1.2 T",
        "keV",
        0.665 * 2.5**2 * 1.2,
        7.6e-4,  # half a unit of the last printed digit
        "0.665 E2 B, X-ray Data Booklet (LBNL) section 2.1",
        lambda: _magnet().critical_energy,
    ),
    ClosedForm(
        "power below the critical energy, share",
        "",
        0.5,
        1e-3,  # as the source prints it
        "J. Schwinger, Phys. Rev. 75 (1949) 1912",
        _soft_half,
    ),
    ClosedForm(
        "attenuation of PMMA at 10 keV",
        "cm2/g",
        3.357,
        1e-3,  # last printed digit, and the two libraries
        "NIST SRD 126",
        lambda: _attenuation("C5H8O2", 10.0),
    ),
    ClosedForm(
        "attenuation of gold at 20 keV",
        "cm2/g",
        78.83,
        1e-3,
        "NIST SRD 126",
        lambda: _attenuation("Au", 20.0),
    ),
    ClosedForm(
        "lit face of a wall of three layers, rise",
        "K",
        FLUX * (1 / WATER + sum(d / k for d, k in LAYERS) - LAYERS[0][0] / LAYERS[0][1] / 2),
        1e-8,  # nodes are exact for an even source: round-off
        "series of resistances, derived",
        _wall,
    ),
    ClosedForm(
        "middle of a lit sheet with a cooled rim, rise",
        "K",
        _sheet_by_hand(),
        1e-4,  # thin sheet, h t/k = 5e-4 at its rim, and the rim's mesh
        "fin equation, derived",
        _sheet,
    ),
    ClosedForm(
        "growth of a free plate of 50 mm, 1 K",
        "nm",
        1e9 * ALPHA * 50e-3,
        1e-9,  # round-off
        "alpha dT, elementary",
        _growth,
    ),
    ClosedForm(
        "stress of a clamped plate, 10 K",
        "MPa",
        -1e-6 * E * ALPHA * 10 / (1 - NU),
        1e-8,  # round-off
        "-E alpha dT/(1 - nu), elementary",
        _clamped,
    ),
)
