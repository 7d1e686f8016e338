"""The spine: from a case to an answer."""

import platform
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from importlib.metadata import version
from time import perf_counter
from typing import Any

from thermo.answer import blocks
from thermo.answer.cautions import CAUTIONS
from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.course import Course
from thermo.answer.exposure import dose_plan
from thermo.answer.hand_check import hand_check
from thermo.answer.in_time import in_time
from thermo.answer.march_check import march_difference
from thermo.answer.mesh_error import mesh_bands, mesh_difference
from thermo.answer.outcome import Outcome, needed_tension, run_once
from thermo.answer.path import path_lines, photon_block
from thermo.answer.scene import describe, mesh
from thermo.answer.schema import Answer, CaseBlock, LimitLine, PathLine
from thermo.answer.size import check_size
from thermo.answer.spread import Spread, spread_of
from thermo.answer.strength import is_exceeded, strength_words, strengths
from thermo.answer.temperature import part_temperatures
from thermo.case import Case
from thermo.decide.advice import advise
from thermo.decide.current import highest_current
from thermo.decide.verdict import limit_lines, verdict, with_more
from thermo.solve import one_blas_thread

Tell = Callable[[str, float], None]  # what is being done, and how much of all is done (0 to 1)
PACKAGES = ("warmstack", "numpy", "scipy", "numba", "pyamg", "xraylib", "pydantic")


@dataclass(frozen=True)
class Result:
    """An answer with the fields behind it, and how they come about on the coarse mesh."""

    answer: Answer
    outcome: Outcome
    course: Course


def estimate(case: Case, refine: int = 0, still: bool = False) -> Answer:
    """Answer for a checked case.

    Parameters
    ----------
    case : from read_case
    refine : how often every spacing of the mesh is halved
    still : hold the beam at the middle of the field

    Raises
    ------
    SolveError : a solve failed its own check
    SizeError : the mesh needs more memory than the machine has
    PhysicsError : the case leaves the range of a physical model
    """
    return run(case, refine, still).answer


@one_blas_thread()
def run(
    case: Case,
    refine: int = 0,
    still: bool = False,
    tell: Tell = lambda *_: None,
    photons: int = 0,
    check_cycle: bool = False,
) -> Result:
    """Answer with its fields; tell(stage, share done) reports progress.

    photons : how many to follow in the Monte Carlo check of the absorbed power; 0: none
    check_cycle : march through the limit cycle too, on the coarse mesh
    """
    clock = _Clock(tell)
    with clock.stage("beam, dose and mesh", 0.0):
        scene = describe(case, still)
        meshed = mesh(scene)
        check_size(scene, meshed, refine)
        if refine:
            meshed = mesh(scene, refine)
    path, followed, march = path_lines(scene), None, None
    if photons:
        with clock.stage("photons", 0.02):
            followed = photon_block(scene, dose_plan(scene), photons)
    with clock.stage("coarse mesh", 0.05):
        runs = CoarseRuns(case, still)
    scene = replace(scene, gap_change=runs.gap_change)
    with clock.stage("temperature", 0.1):
        state, course = runs.fine(scene, meshed)
    with clock.stage("expansion", 0.35):
        outcome = run_once(state, course)
    if check_cycle:
        with clock.stage("marching", 0.4):
            march = march_difference(runs.first)
    with clock.stage("ranges", 0.45):
        spread = spread_of(case, runs, lambda i, n: tell("ranges", 0.45 + 0.4 * i / n))
    coarser = runs.typical
    if refine:
        with clock.stage("mesh error", 0.84):
            coarser = run_once(*runs.fine(scene, mesh(scene, refine - 1)))
    difference = mesh_difference(outcome, coarser)
    lines = limit_lines(outcome.judged, spread.bands, mesh_bands(outcome, coarser, difference))
    with clock.stage("what to change", 0.86):
        said = _said(outcome, runs, spread, lines, tell)
    with clock.stage("speed and sensors", 0.96):
        timed = in_time(course, outcome, runs, spread, march)
    answer = Answer(
        regime=runs.regime,
        regime_reason=runs.why,
        photons=followed,
        limits=lines,
        mesh=blocks.mesh_block(state, difference),
        seconds=clock.seconds,
        **said,
        **_of_outcome(outcome, path),
        **timed,
    )
    tell("done", 1.0)
    return Result(answer, outcome, course)


def _said(
    outcome: Outcome, runs: CoarseRuns, spread: Spread, lines: tuple[LimitLine, ...], tell: Tell
) -> dict[str, Any]:
    """The blocks of the answer that judge it, by their keys."""
    current = highest_current(outcome, runs)
    changes = advise(outcome, runs, current, lambda what, share: tell(what, 0.86 + share / 10))
    tension, stressed = needed_tension(outcome, runs.typical), strengths(outcome)
    said = verdict(lines, spread.bands, changes)
    return {
        "verdict": with_more(said, strength_words(stressed), is_exceeded(stressed), tension),
        "highest_current_mA": None if current is None else 1e3 * current,
        "stress": blocks.stress(outcome, stressed),
        "checks": blocks.checks(outcome, tension),
    }


def _of_outcome(outcome: Outcome, path: tuple[PathLine, ...]) -> dict[str, Any]:
    """The blocks of the answer that one outcome tells, by their keys."""
    scene, state, case = outcome.scene, outcome.state, outcome.scene.case
    return {
        "case": CaseBlock(title=case.title, sha256=case.sha256, settings=dict(case.settings)),
        "versions": {"python": platform.python_version(), **{p: version(p) for p in PACKAGES}},
        "beam": blocks.beam_block(scene),
        "path": path,
        "absorbed_W_per_cm": blocks.open_column(scene, path),
        "heat_W": blocks.heat_by_part(state),
        "heat_out_W": state.steady.film_heat,
        "dose": blocks.dose_block(outcome.dose),
        "temperature": part_temperatures(state),
        "hand_check": hand_check(state),
        "placement": blocks.placement(outcome),
        "assumed": blocks.assumed(case),
        "cautions": CAUTIONS,
    }


class _Clock:
    def __init__(self, tell: Tell) -> None:
        self.seconds: dict[str, float] = {}
        self.tell = tell

    @contextmanager
    def stage(self, name: str, share: float) -> Iterator[None]:
        self.tell(name, share)
        start = perf_counter()
        yield
        self.seconds[name] = perf_counter() - start
