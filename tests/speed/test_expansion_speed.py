"""Limit cycle of a quarter of a million unknowns and both bodies' displacement, one core.

Run alone: pytest -m speed -s tests/speed/test_expansion_speed.py
"""

import subprocess
import sys
from pathlib import Path

import pytest

CASES = Path(__file__).parents[2] / "cases"
CODE = """
import resource, sys, time
from thermo.answer.expansion import expand_bodies
from thermo.answer.bodies import make_body
from thermo.answer.scene import describe, mesh
from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.state import solve_state
from thermo.case import read_case
from thermo.solve import Solver

case = read_case(sys.argv[1])
runs = CoarseRuns(case, False)  # loops compiled, warm-up known
scene, solver = describe(case), Solver()
meshed = mesh(scene)
clock = [time.process_time()]
state = solve_state(scene, meshed, solver)
clock.append(time.process_time())
mask, sample = make_body(state, "mask"), make_body(state, "sample")
clock.append(time.process_time())
found = expand_bodies(state, runs.usual, mask, sample)
clock.append(time.process_time())
cycle, factor, loads = (b - a for a, b in zip(clock, clock[1:]))
bodies = [len(body.held.columns.free) for body in (mask, sample)]
GB = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
print(f"{state.steady.unknowns} unknowns, bodies {bodies}, {len(found.motion.real.e)} harmonics, "
      f"{found.motion.decays.e.shape[0]} decays, {found.points.shape[1]} points, 3 depths")
print(f"mean state and cycle {cycle:.2f} s, factors {factor:.2f} s, displacement {loads:.2f} s, "
      f"all {cycle + factor + loads:.2f} s CPU, peak {GB:.2f} GB")
"""


@pytest.mark.speed
@pytest.mark.parametrize("name", ["fibre-grooves", "lens-row", "tall-mould-cured"])
def test_cycle_and_displacement_of_both_bodies(name):
    done = subprocess.run(
        [sys.executable, "-c", CODE, str(CASES / f"{name}.toml")],
        capture_output=True,
        text=True,
        check=True,
        env={"OMP_NUM_THREADS": "1"},
    )
    print(f"\n{name}: {done.stdout}")
