"""The spine: from a case to an answer."""

import platform
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.metadata import version
from time import perf_counter

from thermo.answer import blocks
from thermo.answer.current import highest_current
from thermo.answer.exposure import dose_plan
from thermo.answer.hand_check import hand_check
from thermo.answer.levers import try_levers
from thermo.answer.mesh_error import mesh_bands, mesh_difference
from thermo.answer.outcome import SWING, Outcome, Regime, run_once
from thermo.answer.path import path_lines, photon_block
from thermo.answer.scene import describe, mesh
from thermo.answer.schema import (
    Answer,
    CaseBlock,
    LimitLine,
    MeshBlock,
    PathLine,
    PhotonBlock,
    Verdict,
)
from thermo.answer.size import check_size
from thermo.answer.spread import CoarseRuns, bands
from thermo.answer.state import State, solve_state
from thermo.answer.temperature import part_temperatures, sensor_readings
from thermo.answer.verdict import limit_lines, verdict
from thermo.case import Case
from thermo.heat import slowest_time
from thermo.solve import Solver

Tell = Callable[[str, float], None]  # what is being done, and how much of all is done (0 to 1)
SETTLE = 4.0  # slowest time constants until 2 % of the rise is left
PACKAGES = ("warmstack", "numpy", "scipy", "numba", "pyamg", "xraylib", "pydantic")
CAUTIONS = (
    "A planning estimate: not a safety assessment, never an input of an interlock.",
    "X-rays, beryllium, helium and vacuum windows, hot parts and solvents can injure: local rules "
    "and licensed practice decide.",
    "Left out: creep and flow of the resist, shrinkage and swelling, sideways spread of "
    "fluorescence, diffraction and photo-electron blur, stray beam, damage; thermal radiation "
    "between mask and sample, which counts below about 1 mbar; buckling of the membrane.",
)


@dataclass(frozen=True)
class Result:
    """An answer with the fields behind it."""

    answer: Answer
    outcome: Outcome


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


def run(
    case: Case,
    refine: int = 0,
    still: bool = False,
    tell: Tell = lambda *_: None,
    photons: int = 0,
) -> Result:
    """Answer with its fields; tell(stage, share done) reports progress.

    photons : how many to follow in the Monte Carlo check of the absorbed power; 0: none
    """
    clock, solver = _Clock(), Solver()
    with clock.stage("beam, dose and mesh", tell, 0.0):
        scene = describe(case, still)
        meshed = mesh(scene)
        check_size(scene, meshed, refine)
        if refine:
            meshed = mesh(scene, refine)
    path, followed = path_lines(scene), None
    if photons:
        with clock.stage("photons", tell, 0.02):
            followed = photon_block(scene, dose_plan(scene), photons)
    with clock.stage("temperature", tell, 0.05):
        state = solve_state(scene, meshed, solver)
    with clock.stage("settling", tell, 0.15):
        rise = state.mean - state.system.coldest
        settle = SETTLE * slowest_time(state.system, state.fields, rise, solver)
    with clock.stage("expansion", tell, 0.2):
        regime, why = which_regime(state, settle)
        outcome = run_once(state, regime, moved=True)
    with clock.stage("highest current", tell, 0.35):
        current = highest_current(outcome, solver, regime)
    with clock.stage("ranges", tell, 0.45):
        runs = CoarseRuns(case, still, regime, moved=scene.motion is None)
        spread = bands(case, runs, lambda i, n: tell("ranges", 0.45 + 0.4 * i / n))
    coarser = runs.typical
    if refine:
        with clock.stage("mesh error", tell, 0.84):
            wider = solve_state(scene, mesh(scene, refine - 1), Solver())
            coarser = run_once(wider, regime, moved=scene.motion is None)
    difference = mesh_difference(outcome, coarser)
    lines = limit_lines(outcome.judged, spread, mesh_bands(outcome, coarser, difference))
    with clock.stage("levers", tell, 0.85):
        said = verdict(lines, spread, list(try_levers(outcome, runs, current)))
    mesh_block = blocks.mesh_block(state, difference)
    answer = _answer(
        outcome, regime, why, settle, path, followed, current, lines, mesh_block, said, clock
    )
    tell("done", 1.0)
    return Result(answer, outcome)


def _answer(
    outcome: Outcome,
    regime: Regime,
    why: str,
    settle: float,
    path: tuple[PathLine, ...],
    followed: PhotonBlock | None,
    current: float | None,
    lines: tuple[LimitLine, ...],
    mesh_block: MeshBlock,
    said: Verdict,
    clock: "_Clock",
) -> Answer:
    state, case, known = outcome.state, outcome.scene.case, regime != "few_passes"
    return Answer(
        case=CaseBlock(title=case.title, sha256=case.sha256),
        versions={"python": platform.python_version(), **{p: version(p) for p in PACKAGES}},
        regime=regime,
        regime_reason=why,
        settle_s=settle,
        dose_share_before_settling=min(1.0, settle / outcome.dose.time),
        beam=blocks.beam_block(outcome.scene),
        path=path,
        photons=followed,
        absorbed_W_per_cm=blocks.open_column(outcome.scene, path),
        heat_W=blocks.heat_by_part(state),
        heat_out_W=state.steady.film_heat,
        dose=blocks.dose_block(outcome.dose),
        temperature=part_temperatures(state) if known else {},
        sensors=sensor_readings(state) if known else {},
        hand_check=hand_check(state) if known else None,
        limits=lines,
        highest_current_mA=None if current is None else 1e3 * current,
        placement=blocks.placement(outcome, regime),
        stress=blocks.stress(outcome),
        checks=blocks.checks(outcome),
        mesh=mesh_block,
        seconds=clock.seconds,
        verdict=said,
        assumed=blocks.assumed(case),
        cautions=CAUTIONS,
    )


def which_regime(state: State, settle: float) -> tuple[Regime, str]:
    """Held beam, few passes, or limit cycle: exposure time against settling time."""
    plan = dose_plan(state.scene)
    if state.scene.motion is None:
        scans = state.scene.case.scan is not None
        return "still", "the beam is held on one place: steady temperatures" + (
            ", and a static placement that is not the scan's" if scans else ""
        )
    span = f"{plan.passes} passes take {plan.time:.3g} s, temperatures settle in {settle:.3g} s"
    if plan.time <= settle:
        return "few_passes", f"{span}: the transient from cold decides"
    return "limit_cycle", (
        f"{span}: scan mean plus the closed-form swing of the moving stripe, which may be "
        f"{SWING[0]:.0%} too high where the stripe turns or the absorber changes along x"
    )


class _Clock:
    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}

    @contextmanager
    def stage(self, name: str, tell: Tell, share: float) -> Iterator[None]:
        tell(name, share)
        start = perf_counter()
        yield
        self.seconds[name] = perf_counter() - start
