"""Limit cycle of a scan by harmonic balance: what repeats from one up-and-down motion to the next.

    C dT/dt + K T = sum_n F_n exp(i n w t),   T = sum_n X_n exp(i n w t)              (1)
    (K + i n w C) X_n = F_n,   X_-n = conj X_n                                        (2)

X_0 is the steady temperature of the scan-mean heat.  Each harmonic is one solve with the multigrid
of K, whose line factors are made anew; the higher n, the fewer cycles it takes.  The one before
it foretells the next: at a place that the stripe passes at phases a and b (w t),

    X_n ~ g_n (u_n z_a^n + v_n z_b^n),   z = exp(-i a), exp(-i b),   g_n = exp(-(n w s/v)^2/2)  (3)

with u and v changing slowly, so Y_n = X_n/g_n follows (E - z_a)^2 (E - z_b)^2 Y = 0, E Y_n = Y_n+1.
s height of the stripe as a standard deviation, v speed.  Derived; the recursion is a guess only.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.errors import SolveError
from thermo.heat.parity import Halves, Whole
from thermo.heat.steady import HeatSystem
from thermo.solve import Multigrid, compiled, conjugate_gradients
from thermo.solve.loops import largest

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Stored = NDArray[np.complex64]
MOST = 40  # multigrid cycles of one harmonic
DARK = 1e-6  # share of the brightest place's mean light that does not print
STEP = 1 / 400  # of the tolerance: no solve moves any node by more at its end
REST = 0.5  # of the tolerance, for what the series leaves out
LEFT = 0.25  # of a solve's last step that may still be missing: a cycle leaves less than a fifth
AT_TURN = 10.0  # how much more the series may leave out where the stripe turns
WINDOW = 4  # harmonics whose largest is taken for the fall of the series


@dataclass(frozen=True)
class Cycle:
    """Limit cycle (1); fields are (nodes, levels), rises in K.

    period : s, of one up-and-down motion
    mean : X_0;  X : X_1 to X_N, (harmonics, nodes, levels)
    algebraic, truncation : K, what the solves and the end of the series leave; AT_TURN times the
        latter where the stripe turns, if it was told where
    cycles : multigrid cycles of each harmonic
    """

    period: float
    mean: Array
    X: Stored
    algebraic: float
    truncation: float
    cycles: tuple[int, ...]

    @property
    def error(self) -> float:
        """Algebraic and truncation error together, K."""
        return self.algebraic + self.truncation

    def at(self, time: Array, nodes: NDArray[np.integer], level: int) -> Array:
        """Temperatures at times (s) at plan nodes of one level, (times, nodes)."""
        n = np.arange(1, len(self.X) + 1)
        turn = np.exp(2j * np.pi * np.outer(time / self.period, n))
        return np.asarray(self.mean[nodes, level] + 2 * (turn @ self.X[:, nodes, level]).real)


@dataclass(frozen=True)
class Passing:
    """When the stripe passes each plan node, for the guess (3): exp(-i w t) up and down, (nodes,).

    width : w s/v, the height of the stripe as a phase
    """

    up: Complex
    down: Complex
    width: float


def limit_cycle(
    system: HeatSystem,
    mean: Array,
    load: Callable[[int], NDArray[np.inexact]],
    harmonics: int,
    period: float,
    tolerance: float,
    multigrid: Multigrid | Halves,
    passing: Passing | None = None,
    before: Cycle | None = None,
    scale: float = 1.0,
    turn: NDArray[np.bool_] | None = None,
) -> Cycle:
    """Limit cycle to `tolerance` (K), algebraic and truncation error together.

    mean : X_0, rise in the scan-mean state, (nodes, levels)
    load : F_n at the nodes, W, (nodes, levels)
    harmonics : the most that are solved; the series ends before where they have died away
    multigrid : of the system's K;  or the two halves of a stack that mirrors itself, `halves`
    passing : for a guess from the harmonics before
    before : cycle of nearly the same system;  scale : heat over the heat it had
    turn : plan nodes within reach of the stripe where it turns: AT_TURN times the tolerance there
        for what the series leaves out, which falls slowly at the kink of the motion

    Raises SolveError where a harmonic does not settle, or the series has not died away.
    """
    omega = 2 * np.pi / period
    close = STEP * tolerance
    parts = (Whole(system, multigrid),) * 2 if isinstance(multigrid, Multigrid) else multigrid
    found: list[Stored] = []
    cycles: list[int] = []
    size: list[float] = []
    for n in range(1, harmonics + 1):
        shift, part = 1j * n * omega, parts[n % 2]
        K = part.K.shifted(shift, part.C)
        guess = _guess(found, n, passing, before, scale)
        start = None if guess is None else guess[part.own]
        b, own = part.folded(load(n)), part.shifts.at(shift)
        if not np.isfinite(b).all():
            raise SolveError(f"harmonic {n} of the heat is not finite; check the heat sources")
        x, took = conjugate_gradients(K, b, own, 0.0, MOST + 1, start, close)
        if took > MOST:
            raise SolveError(f"harmonic {n} of the scan has not settled in {MOST} cycles")
        found.append(part.unfolded(x))
        cycles.append(took)
        size.append(_size(found[-1], turn))
        rest = _rest(size)
        if rest <= REST * tolerance:
            break
    else:
        raise SolveError(
            f"{harmonics} harmonics of the scan leave {rest:.2g} K, wanted "
            f"{REST * tolerance:.2g} K: the stripe is very narrow or the turn very sharp; "
            "allow a larger tolerance"
        )
    solved = 2 * LEFT * close * len(found)
    return Cycle(period, mean, _stacked(found), solved, rest, tuple(cycles))


def _stacked(found: list[Stored]) -> Stored:
    """The fields in one array; each is let go as it is copied, so that memory holds them once."""
    X = np.empty((len(found), *found[0].shape), np.complex64)
    for n in range(len(found)):
        X[n] = found[n]
        found[n] = X[n]
    return X


def _size(X: Stored, turn: NDArray[np.bool_] | None) -> float:
    """Largest ripple of one harmonic, K; at the turn it counts for less."""
    if turn is None:
        return 2 * largest(X)
    return 2 * max(largest(X[~turn]), largest(X[turn]) / AT_TURN)


def _rest(size: Sequence[float]) -> float:
    """What a series leaves out whose terms go on falling as the last ones did, K.

    Of terms ~ n^-p, and of faster ones at most: s n/(p - 1), p = n (1 - ratio of neighbours).
    The largest of the last few are compared with the largest of those before: single terms may
    vanish by chance.
    """
    if len(size) < 2 * WINDOW:
        return np.inf
    last, before = max(size[-WINDOW:]), max(size[-2 * WINDOW : -WINDOW])
    if last == 0:
        return 0.0
    slack = 1 - (last / before) ** (1 / WINDOW) - 1 / len(size) if before > 0 else 0.0
    return last / slack if slack > 0 else np.inf


def _guess(
    found: Sequence[Stored], n: int, passing: Passing | None, before: Cycle | None, scale: float
) -> Complex | None:
    if before is not None and n <= len(before.X):
        return np.asarray(scale * before.X[n - 1], np.complex128)
    if passing is None or len(found) < 4:
        return found[-1].astype(np.complex128) if found else None
    s, p = passing.up + passing.down, passing.up * passing.down
    q = (np.arange(n - 4, n + 1) * passing.width) ** 2 / 2  # g = exp(-q)
    share = np.stack([-(p**2), 2 * s * p, -(s**2) - 2 * p, 2 * s]) * np.exp(q[:-1] - q[-1])[:, None]
    out = np.empty(found[-1].shape, np.complex128)
    a, b, c, d = found[-4:]
    foretell(share, a, b, c, d, out)
    return out


def dose_weighted(cycle: Cycle, light: NDArray[np.inexact]) -> Array:
    """Temperature while printing, (nodes, levels): weighted by the dose rate w at each moment.

        T_dw = int w T dt/int w dt = X_0 + (2/W_0) sum_n Re(X_n conj W_n)

    light : W_n at the nodes, (nodes, at least harmonics + 1); the mean where no light falls
    """
    count = len(cycle.X)
    if not (len(light) == cycle.X.shape[1] and light.shape[1] > count):
        raise SolveError(
            f"light of shape {light.shape} for {cycle.X.shape[1]} nodes and {count} harmonics; "
            "give one row for each node and one column more than harmonics"
        )
    bright = light[:, 0].real
    share = np.zeros((count, len(light)), np.complex128)
    lit = bright > DARK * bright.max()
    share[:, lit] = 2 * (light[lit, 1 : count + 1].conj() / bright[lit, None]).T
    found = cycle.mean.copy()
    add_weighted(share, cycle.X, found)
    return found


@compiled
def add_weighted(share: Complex, X: Stored, out: Array) -> None:
    """out += sum_n Re(share_n X_n), shares by harmonic and plan node."""
    harmonics, nodes, levels = X.shape
    for n in range(harmonics):
        for i in range(nodes):
            a, b = share[n, i].real, share[n, i].imag
            for z in range(levels):
                out[i, z] += a * X[n, i, z].real - b * X[n, i, z].imag


@compiled
def foretell(share: Complex, a: Stored, b: Stored, c: Stored, d: Stored, out: Complex) -> None:
    """out = share_0 a + share_1 b + share_2 c + share_3 d, shares by plan node."""
    nodes, levels = out.shape
    for i in range(nodes):
        for z in range(levels):
            out[i, z] = (
                share[0, i] * a[i, z]
                + share[1, i] * b[i, z]
                + share[2, i] * c[i, z]
                + share[3, i] * d[i, z]
            )
