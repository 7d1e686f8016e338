"""Memory and time that `check` predicts, against whole runs in processes of their own.

pytest -m speed -s tests/speed/test_predicted_size.py, some minutes and 5 GB.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from thermo.answer.size import run_size
from thermo.case import read_case

CASES = Path(__file__).parents[2] / "cases"
RUNS = (
    *((path.stem, 0) for path in sorted(CASES.glob("*.toml"))),
    ("lens-row", 1),
    ("tall-mould", 1),
    ("lens-row", 2),
)
RUN = """
import json, resource, sys, time
from thermo import estimate, read_case
answer = estimate(read_case(sys.argv[1]), int(sys.argv[2]))
memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
print(json.dumps([answer.mesh.unknowns, memory, time.process_time(), answer.seconds]))
"""


@pytest.mark.speed
def test_predicted_memory_is_right_within_a_factor_of_1_5():
    print("\n| run | unknowns | predicted | MB predicted | measured | s predicted | measured |")
    print("|---|---|---|---|---|---|---|")
    for name, refine in RUNS:
        path = CASES / f"{name}.toml"
        done = subprocess.run(
            [sys.executable, "-c", RUN, str(path), str(refine)],
            env=os.environ | {"OMP_NUM_THREADS": "1"},
            capture_output=True,
            text=True,
            check=True,
        )
        unknowns, memory, seconds, stages = json.loads(done.stdout)
        size = run_size(read_case(path), refine)
        print(
            f"| {name} {refine} | {unknowns} | {size.unknowns} | {size.memory_MB:.0f} | "
            f"{memory:.0f} | {size.seconds:.0f} | {seconds:.1f} |",
            {stage: round(s, 1) for stage, s in stages.items()},
            flush=True,
        )
        assert 1 / 1.5 < size.memory_MB / memory < 1.5
        assert 1 <= size.unknowns / unknowns < 1.3  # nodes on shared edges count once
