"""Temperature in time under any heat, and the cycle that a repeating heat settles into.

    C dT/dt + K T = f(t)                                                               (1)

    (C + a dt K) T' = C T + a dt (f + f' - K T)        at t + g dt                     (2)
    (C + a dt K) T" = C T' + b C (T' - T) + a dt f"    at t + dt
    g = 2 - sqrt 2,   a = g/2,   b = (sqrt 2 - 1)/2

T : rises above the dark state, K;  f : heat, W.  TR-BDF2: trapezoidal rule to t + g dt, then
backward differences over both parts of the step; this g lets both share one matrix.  Second order,
L-stable (stiff layers are damped, not carried on as ripple).  A step amounts to

    C (T" - T) = dt (w p + w p' + a p"),   p = f - K T,   w = sqrt 2/4                 (3)

and (3) is what every mean in time is taken with: heat brought = heat lost + heat stored holds for
the steps themselves, to round-off, whatever their length.

Source: R. E. Bank et al., IEEE Trans. Electron Devices 32 (1985) 1992, from memory; (3) derived.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.errors import PhysicsError, SolveError
from thermo.heat.steady import HeatSystem
from thermo.solve import LayeredOperator, Solver
from thermo.solve.multigrid import elimination

Array = NDArray[np.float64]
Load = Callable[[float], Array]  # heat at the nodes, (nodes, levels) W, at a time in s
Inverse = Callable[[Array], Array]
Watch = tuple[tuple[int, int], ...]  # pairs (node, level)

GAMMA = 2 - 2**0.5
STAGE = GAMMA / 2  # a of (2), and the weight of a step's end
BACK = (2**0.5 - 1) / 2  # b of (2)
WEIGHT = 2**0.5 / 4  # w of (3)
BALANCE = 1e-6  # heat brought less lost less stored, over the heat that came and went
DIRECT = 20_000  # nodes times levels that are eliminated; above, multigrid takes less time
BLEND = 0.2975  # a of (4): least error left by a correction at the worst time constant
LEFT = 0.03  # of an error by one correction, at most
MOST = 6  # periods; two or three are usual


@dataclass(frozen=True)
class March:
    """Rises through time, fields (nodes, levels) in K, 0 where there is nothing.

    last : at the end;  mean : over the time marched, by (3)
    highest, lowest : of every node, refined between steps by the parabola through three
    course : at the watched places after every step, (steps + 1, places)
    brought, lost, stored : J that came as heat, left through the films, stays in the bodies
    balance : |brought - lost - stored| over the heat that came and went
    """

    last: Array
    mean: Array
    highest: Array
    lowest: Array
    course: Array
    brought: float
    lost: float
    stored: float
    balance: float


@dataclass(frozen=True)
class Periodic:
    """Limit cycle: rises that repeat with the heat, fields (nodes, levels) in K.

    start : at the start of the period;  mean : over the period, the steady rise of the mean heat
    highest, lowest : of every node over the period
    periods : marched until it closed
    error : K, at most, of highest and lowest for not being quite closed; LEFT of it of the start
    """

    start: Array
    mean: Array
    highest: Array
    lowest: Array
    periods: int
    error: float


def march(
    system: HeatSystem,
    load: Load,
    start: Array | float,
    duration: float,
    steps: int,
    solver: Solver | None = None,
    watch: Watch = (),
) -> March:
    """Rises from t = 0 to the duration (s) in equal steps, equations (2).

    load : called in order of time at the start, inside and at the end of every step
    start : rises at t = 0, (nodes, levels) K, or one for all
    solver : whose tolerance every solve keeps, by multigrid; None: eliminates up to DIRECT nodes

    Errors fall with the square of the step while the load is smooth.  A load that jumps should do
    so at a step; what it is there counts for both sides, which is off by up to 0.3 steps of it, and
    the parabola over the jump goes too far by an eighth of what one step heats.

    Raises PhysicsError for a time, a place or a field that cannot be, SolveError for heat that is
    not finite or falls beside the bodies and for steps that do not balance to 1e-6.
    """
    dt = _checked_step(duration, steps)
    T = _checked_start(system, start)
    _check_watch(system, watch)
    inverse = _inverse(system.K.shifted(1 / (STAGE * dt), system.C), solver)
    return _marched(system, inverse, load, T, dt, steps, watch)


def periodic(
    system: HeatSystem,
    load: Load,
    period: float,
    steps: int,
    tolerance: float,
    solver: Solver | None = None,
) -> Periodic:
    """Limit cycle of a heat that repeats after the period (s), to the tolerance (K).

        r = T(T_p) - T(0),   l = K^-1 C r/T_p                                          (4)
        d = r + l - (C + a T_p K)^-1 C r/2,   a = 0.2975,   T(0) <- T(0) + d

    From the steady rise of the mean heat.  A body slower than the period is set right by the heat
    it lacks (l), a faster one by running on (r); the last term mends what lies between.  For one
    time constant tau of any length d leaves at most 2.7 % of the error (at tau = T_p/1.7 and
    T_p/11), so the number of periods does not grow with it.  l is by how much the mean is off.

    Accepted when no node starts further off than the tolerance: errors only decay in a period.  The
    start that is given out is mended once more.

    Raises SolveError when six periods do not close it, and like `march`.  Source: derived.
    """
    dt = _checked_step(period, steps)
    if not tolerance > 0:
        raise PhysicsError(f"tolerance {tolerance:.4g} K; allowed: above 0 K; 0.02 K is usual")
    K, C = system.K, system.C
    steady = _inverse(K, solver)
    step, blend = (
        _inverse(K.shifted(1 / (a * time), C), solver) for a, time in ((STAGE, dt), (BLEND, period))
    )
    T, worst = steady(_mean_heat(system, load, dt, steps)), np.inf
    for count in range(1, MOST + 1):
        run = _marched(system, step, load, T, dt, steps, closed=True)
        short = C * (run.last - T) / period
        lacking = steady(short)
        d = run.last - T + lacking - blend(short) / (2 * BLEND)
        worst = float(np.abs(d).max()) / (1 - LEFT)
        T = T + d
        if worst <= tolerance:
            return Periodic(T, run.mean + lacking, run.highest, run.lowest, count, worst)
    raise SolveError(
        f"the cycle is open by {worst:.2g} K after {MOST} periods, allowed {tolerance:.2g} K; "
        "allow more, or give a solver of smaller tolerance"
    )


def _marched(
    system: HeatSystem,
    inverse: Inverse,
    load: Load,
    start: Array,
    dt: float,
    steps: int,
    watch: Watch = (),
    closed: bool = False,
) -> March:
    """March with the inverse of K + C/(a dt); closed: the first step follows on the last.

    Solved for what each stage adds: what a solve leaves over is then small beside the heat of one
    step, not beside the heat stored.
    """
    C, loss = system.C, system.K.loss
    places = tuple(np.array(watch, int).reshape(-1, 2).T)
    course, extremes = np.empty((steps + 1, len(watch))), _Extremes(start)
    T, mean, heat, moved = start, *np.zeros((3, *C.shape))
    f, first = _heat(system, load, 0.0), start
    course[0] = T[places]
    for n in range(steps):
        f1 = _heat(system, load, (n + GAMMA) * dt)
        f2 = _heat(system, load, (n + 1) * dt)
        T1, T2 = _stages(system, inverse, T, (f, f1, f2), dt)
        mean += _over_step(T, T1, T2)
        heat += _over_step(f, f1, f2)
        moved += _over_step(*(np.abs(p) for p in (f, f1, f2)))
        moved += loss * _over_step(*(np.abs(p) for p in (T, T1, T2)))
        T, f = T2, f2
        extremes.add(T)
        course[n + 1] = T[places]
        first = T if n == 0 else first
    if closed:
        extremes.add(first)
    brought, lost, came_and_went = (dt * float(p.sum()) for p in (heat, loss * mean, moved))
    stored = float((C * (T - start)).sum())
    balance = _checked_balance(brought - lost - stored, came_and_went)
    high, low = extremes.highest, extremes.lowest
    return March(T, mean / steps, high, low, course, brought, lost, stored, balance)


def _stages(
    system: HeatSystem, inverse: Inverse, T: Array, heat: tuple[Array, Array, Array], dt: float
) -> tuple[Array, Array]:
    """T' and T" of (2)."""
    (f, f1, f2), K = heat, system.K
    T1 = T + inverse(f + f1 - 2 * K.times(T))
    T2 = T1 + inverse(f2 - K.times(T1) + BACK / (STAGE * dt) * system.C * (T1 - T))
    return T1, T2


def _over_step(at: Array, inside: Array, end: Array) -> Array:
    """Mean over a step, (3)."""
    return WEIGHT * (at + inside) + STAGE * end


class _Extremes:
    """Highest and lowest of fields that come one by one, equal times apart."""

    def __init__(self, first: Array) -> None:
        self.highest, self.lowest = first.copy(), first.copy()
        self.last = [first]

    def add(self, after: Array) -> None:
        """Take the next field; the one before it may have been a peak."""
        self._take(after)
        if len(self.last) == 2:
            before, at = self.last
            slope, bend = after - before, 2 * at - before - after
            peak = (np.abs(slope) <= np.abs(bend)) & (bend != 0)
            self._take(at + np.divide(slope**2, 8 * bend, out=np.zeros_like(at), where=peak))
        self.last = [self.last[-1], after]

    def _take(self, found: Array) -> None:
        np.maximum(self.highest, found, out=self.highest)
        np.minimum(self.lowest, found, out=self.lowest)


def _mean_heat(system: HeatSystem, load: Load, dt: float, steps: int) -> Array:
    """Mean heat as the steps see it, (3), W."""
    total, f = np.zeros_like(system.C), _heat(system, load, 0.0)
    for n in range(steps):
        f1 = _heat(system, load, (n + GAMMA) * dt)
        f2 = _heat(system, load, (n + 1) * dt)
        total += _over_step(f, f1, f2)
        f = f2
    return total / steps


def _heat(system: HeatSystem, load: Load, t: float) -> Array:
    f = np.array(load(t), float)  # a copy: the caller may fill the same array again
    if f.shape != system.C.shape:
        raise SolveError(
            f"heat at t = {t:.4g} s has shape {f.shape}; allowed: {system.C.shape}, nodes first"
        )
    if not np.isfinite(f).all():
        raise SolveError(f"heat at t = {t:.4g} s is not finite; check the heat sources")
    if (f[~system.used] != 0).any():
        raise SolveError(f"heat at t = {t:.4g} s falls where there is nothing; leave voids at 0 W")
    return f


def _inverse(K: LayeredOperator, solver: Solver | None) -> Inverse:
    """b -> x of K x = b for many b."""
    if solver is None and K.link.size <= DIRECT:
        factors = elimination(K)
        return lambda b: np.asarray(factors.solve(b.ravel()).reshape(b.shape))
    own = Solver() if solver is None else Solver(solver.tolerance)  # one multigrid per operator
    return lambda b: np.asarray(own.solve(K, b).x)


def _checked_balance(off: float, came_and_went: float) -> float:
    balance = abs(off) / (came_and_went or 1.0)
    if not balance <= BALANCE:
        raise SolveError(
            f"heat balance in time is off by {balance:.1e}, allowed {BALANCE:.0e}; give a solver "
            "of smaller tolerance"
        )
    return balance


def _checked_step(duration: float, steps: int) -> float:
    if not (isinstance(steps, int | np.integer) and steps >= 1):
        raise PhysicsError(f"{steps} steps; allowed: whole numbers from 1")
    if not 0 < duration < np.inf:
        raise PhysicsError(f"{duration:.4g} s to march; allowed: finite and above 0 s")
    return duration / int(steps)


def _checked_start(system: HeatSystem, start: Array | float) -> Array:
    if np.shape(start) not in ((), system.C.shape):
        raise PhysicsError(
            f"start of shape {np.shape(start)}; allowed: {system.C.shape}, nodes first, or one "
            "number; turn a shown field (levels, nodes) round"
        )
    T = np.where(system.used, start, 0.0)
    if not np.isfinite(T).all():
        raise PhysicsError("start is not finite in the bodies; allowed: finite rises in K")
    return T


def _check_watch(system: HeatSystem, watch: Watch) -> None:
    nodes, levels = system.C.shape
    for node, level in watch:
        if not (0 <= node < nodes and 0 <= level < levels and system.used[node, level]):
            raise PhysicsError(
                f"watched place (node {node}, level {level}) is not in the bodies; allowed: nodes "
                f"0 to {nodes - 1} and levels 0 to {levels - 1} that exist"
            )
