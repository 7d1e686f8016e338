"""How fast the steady solve is, beside other ways to the same temperatures, in one run.

pytest -m speed -s tests/speed.  CPU seconds on one core, each way in a process of its own, best of
three (other ways: once); kernels are compiled and libraries loaded before the clock starts.  The
other finite-element library is optional: pip install ngsolve.
"""

import json
import os
import subprocess
import sys
from pathlib import Path
from time import process_time

import numpy as np
import pytest

CONTESTANTS = Path(__file__).with_name("contestants.py")
# cells a side for about 50k, 200k, 1M, 3M and 5M unknowns (21 levels)
CELLS = {
    "rectangle": (48, 97, 217, 377, 487),
    "disc": (43, 87, 195, 337, 436),
    "unstructured": (47, 96, 216, 375, 484),
}
PATIENCE = 300  # s that one process may take
MOST = {"rectangle": 12, "disc": 15, "unstructured": 15}


def run(way, plan, cells, repeats=3):
    """Figures of one way, None where it is not there or gives up."""
    one = {f"{name}_NUM_THREADS": "1" for name in ("OMP", "OPENBLAS", "MKL", "NUMBA")}
    command = [sys.executable, str(CONTESTANTS), way, plan, str(cells), str(repeats)]
    try:
        done = subprocess.run(
            command,
            env=os.environ | one,
            cwd=Path(__file__).parents[2],
            capture_output=True,
            text=True,
            timeout=PATIENCE,
            check=False,
        )
    except subprocess.TimeoutExpired:
        print(f"{way}, {plan}, {cells} cells a side: given up after {PATIENCE} s")
        return None
    if done.returncode:
        print(f"{way}, {plan}: not run, {done.stderr.strip().splitlines()[-1]}")
        return None
    return json.loads(done.stdout)


def bandwidth():
    """Bytes a second of a = b + s c with arrays beyond all caches, best of five."""
    b, c, a = np.ones(20_000_000), np.ones(20_000_000), np.ones(20_000_000)
    seconds = []
    for _ in range(5):
        start = process_time()
        np.multiply(c, 3.0, out=a)
        np.add(a, b, out=a)
        seconds.append(process_time() - start)
    return 5 * a.nbytes / min(seconds)


def exponent(before, now):
    """Growth of the total: time ~ unknowns^exponent."""
    if before is None:
        return "-"
    grown = np.log(now["total"] / before["total"])
    return f"{grown / np.log(now['unknowns'] / before['unknowns']):.2f}"


OWN_HEAD = (
    "| plan | unknowns | assembly | setup | solve 1e-8 | it | solve 1e-10 | it | total 1e-8 "
    "| exponent | peak GB | above imports | reported GB | limit s |"
)
OTHER_HEAD = "| way | unknowns | assembly | setup | solve | it | total | times ours | peak GB |"


def rule(head):
    return "|---" * (head.count("|") - 1) + "|"


def own_row(plan, found, before, speed):
    limit = found["moved"] * found["iterations"] / speed
    own_memory = found["memory"] - found["memory_before"]
    columns = [
        f"{found['unknowns'] / 1e3:.0f}k",
        *(f"{found[name]:.3f}" for name in ("assembly", "setup", "solve")),
        f"{found['iterations']:.0f}",
        f"{found['tight']:.3f}",
        f"{found['iterations_tight']:.0f}",
        f"{found['total']:.3f}",
        exponent(before, found),
        *(f"{gb:.2f}" for gb in (found["memory"], own_memory, found["reported"] / 1e9, limit)),
    ]
    return f"| {plan} | " + " | ".join(columns) + " |"


def other_row(way, found, ours):
    def cell(name, digits=2):
        return f"{found[name]:.{digits}f}" if name in found else "-"

    return (
        f"| {way} | {found['unknowns'] / 1e3:.0f}k | {cell('assembly')} | {cell('setup')} "
        f"| {cell('solve')} | {cell('iterations', 0)} | {cell('total')} "
        f"| {found['total'] / ours['total']:.1f} | {found['memory']:.2f} |"
    )


@pytest.mark.speed
def test_seconds_iterations_and_memory_as_unknowns_grow():
    """Iterations only are held to: seconds are the machine's."""
    speed = bandwidth()
    print(f"\nMemory bandwidth {speed / 1e9:.1f} GB/s (triad). CPU seconds, one core, best of 3.")
    print("limit: bytes an iteration must move, times iterations to 1e-8, over the bandwidth.\n")
    print(OWN_HEAD, rule(OWN_HEAD), sep="\n")
    for plan, sizes in CELLS.items():
        before = None
        for cells in sizes:
            found = run("own", plan, cells)
            assert found is not None
            print(own_row(plan, found, before, speed), flush=True)
            assert found["iterations_tight"] <= MOST[plan]
            before = found


WAYS = {
    "general": (1e-6, "scikit-fem 3D, default solve"),
    "algebraic": (1e-6, "pyamg Ruge-Stuben and CG, matrix given"),
    "other": (1e-2, "NGSolve, sparse Cholesky"),
}


@pytest.mark.speed
def test_steady_solve_beside_other_ways():
    """Ratios only; peak rises agree to 1e-6 (same quadrature), 1 % for full integration."""
    ratio = {}
    print("", OTHER_HEAD, rule(OTHER_HEAD), sep="\n")
    for cells in CELLS["rectangle"][:3]:
        ours = run("own", "rectangle", cells)
        assert ours is not None
        print(other_row("this package, 1e-8", ours, ours), flush=True)
        for way, (close, name) in WAYS.items():
            if way != "algebraic" and cells > 97:
                continue
            found = run(way, "rectangle", cells, 1)
            if found is None:
                continue
            assert found["peak"] == pytest.approx(ours["peak"], rel=close)
            ratio[way, cells] = found["total"] / ours["total"]
            print(other_row(name, found, ours), flush=True)
    assert ratio["algebraic", 217] >= 5
    assert ratio.get(("general", 97), np.inf) >= 50  # slower than our patience is slow enough
