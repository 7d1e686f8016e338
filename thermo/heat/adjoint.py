"""What one temperature number of a limit cycle feels of every conductance, capacity and heat.

    J = sum_j w_j (T_0j + 2 Re sum_n e^(i n p) X_nj)                                     (1)

a weighted temperature at a fixed phase p of the period, or of the mean state: the n = 0 part alone.
T_0 the temperatures in the mean state, X_n the harmonics of `limit_cycle`, v = 2 pi/period.  K is
symmetric, so one solve of each harmonic with the weights as heat gives what any change brings:

    K L_0 = w,   (K + i n v C) L_n = w                                                   (2)
    dJ = L_0.(dF_0 - dK T_0)
       + 2 Re sum_n e^(i n p) L_n.(dF_n - (dK + i n v dC + i n dv C) X_n)                (3)

K is made of conductances between two unknowns and losses of one, so (3) is a sum over them, whose
factors are kept: a change of the system then costs sums alone.  The highest temperature of a cycle
changes as that at its own phase (envelope theorem).  Derived; exact for small changes.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermo.errors import SolveError
from thermo.heat.cycle import MOST, Cycle
from thermo.heat.parity import Whole
from thermo.heat.steady import HeatSystem
from thermo.solve import Multigrid, Solver, conjugate_gradients

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Stored = NDArray[np.complex64]
RESIDUAL = 1e-7  # relative, of each harmonic of (2)


@dataclass(frozen=True)
class Target:
    """One number J of equation (1).

    weights : w, (nodes, levels);  phase : p, rad; None for the mean state alone
    """

    weights: Array
    phase: float | None


@dataclass(frozen=True)
class Influence:
    """What J feels, the factors of equation (3).

    heat : L_0, K/W, (nodes, levels);  ripple : 2 e^(i n p) L_n, (harmonics, nodes, levels)
    side, link, loss : dJ by each conductance of K, K2/W, shapes as in `LayeredOperator`
    capacity : dJ by C, K2/J, (nodes, levels);  omega : dJ by v, K s
    """

    heat: Array
    ripple: Stored
    side: Array
    link: Array
    loss: Array
    capacity: Array
    omega: float

    def of_system(self, before: HeatSystem, after: HeatSystem) -> float:
        """Change of J by K and C, K; both systems on plans with the same couplings."""
        K, new = before.K, after.K
        return float(
            np.vdot(self.side, new.side - K.side)
            + np.vdot(self.link, new.link - K.link)
            + np.vdot(self.loss, new.loss - K.loss)
            + np.vdot(self.capacity, after.C - before.C)
        )

    def of_source(self, change: Array) -> float:
        """Change of J by the mean heat, K; change : dF_0 with what films bring, W."""
        return float(np.vdot(self.heat, change))

    def of_harmonics(self, load: Callable[[int], NDArray[np.inexact]]) -> float:
        """Part of J that the ripple of the heat drives, K; load : F_n, W, (nodes, levels)."""
        return float(sum(np.sum(L * load(n)).real for n, L in enumerate(self.ripple, 1)))


def source(system: HeatSystem, heat: Array) -> Array:
    """F_0 of K T_0 = F_0: heat (slabs, cells) W at the nodes, and h A T_sink of the films, W."""
    b = system.load(heat)
    for film, face in zip(system.films, system.faces, strict=True):
        b[:, film.level] += face * film.sink
    return b


def influences(
    system: HeatSystem, T: Array, cycle: Cycle | None, targets: Sequence[Target], solver: Solver
) -> tuple[Influence, ...]:
    """What each target feels, by one solve of (2) for each of its harmonics.

    T : T_0, K, (levels, nodes);  cycle : None where the beam is held: phases then mean nothing

    Raises SolveError where a harmonic does not settle, or K is of full integration.
    """
    if system.K.cross is not None:
        raise SolveError("no influences with full integration; allowed: plan matrices 'lumped'")
    mean = np.where(system.used, T.T, system.coldest)
    count = 0 if cycle is None else len(cycle.X)
    found = [_Sums(system, mean, target, count, solver) for target in targets]
    swinging = [one for one in found if one.target.phase is not None]
    if cycle is not None and swinging:
        whole, omega = Whole(system, Multigrid(system.K)), 2 * np.pi / cycle.period
        for n, X in enumerate(cycle.X, 1):
            for one in swinging:
                one.add(whole, n, omega, X)
    return tuple(one.influence for one in found)


class _Sums:
    """The factors of one target, summed up harmonic by harmonic."""

    def __init__(
        self, system: HeatSystem, mean: Array, target: Target, count: int, solver: Solver
    ) -> None:
        self.system, self.target = system, target
        self.heat: Array = solver.solve(system.K, target.weights, None, system.even).x
        self.side, self.link, self.loss = (-p for p in _by_conductance(system, self.heat, mean))
        kept = 0 if target.phase is None else count
        self.ripple = np.zeros((kept, *mean.shape), np.complex64)
        self.capacity, self.omega = np.zeros(mean.shape), 0.0
        self.last: Complex | None = None

    def add(self, whole: Whole, n: int, omega: float, X: Stored) -> None:
        """Harmonic n of (2) solved and added to (3)."""
        assert self.target.phase is not None
        shift = 1j * n * omega
        self.last = _harmonic(self.system, whole, shift, self.target.weights, self.last)
        L, x = 2 * np.exp(1j * n * self.target.phase) * self.last, X.astype(np.complex128)
        self.ripple[n - 1] = L
        parts = _by_conductance(self.system, L, x)
        self.side, self.link, self.loss = (
            old - part.real
            for old, part in zip((self.side, self.link, self.loss), parts, strict=True)
        )
        by_shift = n * (L * x).imag  # -Re(i n L X)
        self.capacity += omega * by_shift
        self.omega += float(np.vdot(self.system.C, by_shift))

    @property
    def influence(self) -> Influence:
        """All of them."""
        by_K = self.side, self.link, self.loss
        return Influence(self.heat, self.ripple, *by_K, self.capacity, self.omega)


def _harmonic(
    system: HeatSystem, whole: Whole, shift: complex, weights: Array, guess: Complex | None
) -> Complex:
    """L of (K + shift C) L = w, its residual checked."""
    K, norm = system.K.shifted(shift, system.C), float(np.linalg.norm(weights))
    b, own = weights.astype(np.complex128), whole.shifts.at(shift)
    L, _ = conjugate_gradients(K, b, own, RESIDUAL * norm / 2, MOST, guess)
    left = float(np.linalg.norm(b - K.times(L))) / norm
    if not left <= RESIDUAL:
        raise SolveError(
            f"influence at {abs(shift):.3g} rad/s has a relative residual of {left:.1e} after "
            f"{MOST} cycles, wanted {RESIDUAL:.0e}; change the case and run it again instead"
        )
    return np.asarray(L)


def _by_conductance(
    system: HeatSystem, L: NDArray[Any], x: NDArray[Any]
) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """L.(dK x) by each conductance of K: between plan neighbours, down the lines, to outside."""
    a, b = system.K.graph.ends
    link = np.zeros_like(L)
    link[:, :-1] = np.diff(L, axis=1) * np.diff(x, axis=1)
    return (L[a] - L[b]) * (x[a] - x[b]), link, L * x
