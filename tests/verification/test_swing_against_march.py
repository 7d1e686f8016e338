"""The swing of the answer against marching the real scan in time, on a slice of a shipped case.

The slice keeps y and z (one cell wide in x), the case's own layers, pattern, frame, films and beam,
and moves the stripe up and down with its real turn-arounds.  Crank-Nicolson on the product's own
operators, several periods until the peak repeats; independent of the closed form in everything
but the matrices.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import splu

from thermo.answer.scene import describe, mesh
from thermo.answer.state import _column_heat, scene_films, solve_state
from thermo.beam import mean_over_scan
from thermo.case import read_case
from thermo.heat import Gas, conduction_fields, heat_system
from thermo.mesh import layer_presence, merged, mesh_stack, rectangle_plan
from thermo.solve import Solver, plan_matrices

CASES = Path(__file__).parents[2] / "cases"
WIDTH = 1e-3  # m, of the slice


def place(t, motion):
    """Place of the stripe at time t of a period that starts at the lower turning point."""
    t = t % (2 * motion.pass_time)
    back = t > motion.pass_time
    t = t - motion.pass_time if back else t
    a, ramp = motion.acceleration, motion.speed / motion.acceleration
    if t < ramp:
        y = -motion.stroke / 2 + a * t**2 / 2
    elif t < motion.pass_time - ramp:
        y = -motion.stroke / 2 + a * ramp**2 / 2 + motion.speed * (t - ramp)
    else:
        y = motion.stroke / 2 - a * (motion.pass_time - t) ** 2 / 2
    return -y if back else y


class Slice:
    """A slice of a case at x, with the heat of each of its columns by ray."""

    def __init__(self, scene, meshed, state, x):
        lines = np.unique(meshed.grid.plan.points[1])
        even = np.arange(lines[0], lines[-1], scene.sigma / 2)
        self.lines = merged([*lines, *even], 1e-4)
        plan = rectangle_plan(np.array([x, x + WIDTH]), self.lines)
        self.grid = mesh_stack(scene.stack, plan, meshed.cuts)
        chamber, stack = scene.case.chamber, scene.stack
        walls = (chamber.accommodation_mask.value, chamber.accommodation_sample.value)
        gas = Gas(chamber.pressure.value, walls)
        metal = scene.case.mask.absorber.kind
        fields = conduction_fields(stack, self.grid, state.layer_T, gas, metal)
        films = scene_films(scene, self.grid)
        matrices = plan_matrices(plan.points, plan.quads)
        self.system = heat_system(self.grid, matrices, fields, films)
        content = fields.capacity * self.grid.active * plan.areas * self.grid.heights[:, None]
        self.C = self.system.load(content)[self.system.used]
        coverage = stack.pattern.coverage(*plan.centres)
        presence = layer_presence(stack, plan)
        kinds, kind = np.unique(np.vstack([presence, coverage]), axis=1, return_inverse=True)
        self.kind, self.beam = kind.ravel(), scene.beam
        here = replace(meshed, grid=self.grid)
        self.profiles = [_column_heat(scene, here, k[:-1] > 0, k[-1])[0] for k in kinds.T]

    def load(self, y):
        """Heat of the stripe at y on the unknowns, W."""
        plan = self.grid.plan
        heat = np.zeros(self.grid.active.shape)
        for k, profile in enumerate(self.profiles):
            cells = np.flatnonzero(self.kind == k)
            at = (np.array([y]), np.ones(1))
            rows = mean_over_scan(self.beam.height, profile, at, self.lines)
            heat[:, cells] = rows[:, np.searchsorted(self.lines, plan.centres[1, cells]) - 1]
        return self.system.load(heat * WIDTH)[self.system.used]

    def swing(self, motion, sigma):
        """Peak minus mean at each level and node of the slice, K."""
        period = 2 * motion.pass_time
        steps = int(np.ceil(period / (0.3 * sigma / motion.speed)))
        dt = period / steps
        loads = [self.load(place((i + 0.5) * dt, motion)) for i in range(steps)]
        used = self.system.used.ravel()
        K = self.system.K.matrix()[used][:, used].tocsc()
        # sinks are constant: they shift the mean only, so rises above the mean need the heat alone
        x = mean = splu(K).solve(np.mean(loads, axis=0))
        step = splu((sparse.diags_array(self.C / dt) + K / 2).tocsc())
        peak = np.full_like(x, np.inf)
        for _ in range(8):
            before, peak = peak, np.full_like(x, -np.inf)
            for load in loads:
                x = x + step.solve(load - K @ x)
                peak = np.maximum(peak, x)
            if np.abs(peak - before).max() < 0.1:
                break
        swing = np.zeros(self.system.K.shape)
        swing[self.system.used] = peak - mean
        return self.system.on_levels(swing)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "x"), [("lens-row", 0.0), ("fibre-grooves", 10e-3)])
def test_swing_is_right_in_the_middle_and_never_low_towards_the_turn(name, x):
    """Steps of 0.3 sigma/v and the slice's own mesh leave 1-2 %.

    The closed form claims to be exact in the middle, not low inside the pattern, and up to about
    a third too high where the stripe turns.
    """
    scene = describe(read_case(CASES / f"{name}.toml"))
    meshed = mesh(scene)
    state = solve_state(scene, meshed, Solver())
    cut = Slice(scene, meshed, state, x)
    marched = cut.swing(scene.motion, scene.sigma)
    points = meshed.grid.plan.points
    column = points[0, np.abs(points[0] - x - WIDTH / 2).argmin()]
    nodes = np.flatnonzero(points[0] == column)
    own = cut.grid.plan.points[0] < x + WIDTH / 2
    field = scene.stack.pattern.field.height / 2
    for layer in ("membrane", scene.stack.resist.name):
        level = meshed.grid.slabs(scene.stack.index(layer)).start
        y = cut.grid.plan.points[1, own]
        model = np.interp(y, points[1, nodes], (state.peak - state.mean)[level, nodes])
        march = marched[level, own]
        middle = np.abs(y) < 0.1 * field
        assert model[middle] == pytest.approx(march[middle], rel=0.02)
        inside = np.abs(y) < field - 2e-3  # the pattern; beside the frame both fall to nothing
        assert (model[inside] > 0.96 * march[inside]).all()
        assert model[inside].max() < 1.35 * march[inside].max()
