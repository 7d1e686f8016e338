"""Free decay of the stack's temperature as a sum of exponentials (reduced model).

    C dD/dt + K D = 0,  D(0) = D0                                                      (1)
    D(t) = sum_k c_k exp(-lambda_k t) phi_k,   K phi_k = lambda_k C phi_k in the space  (2)
    space = span{ D0, 1, K^-1 C D0, (K + s_j C)^-1 C D0 }                               (3)

D rise in K, C heat capacity J/K, K conduction and films W/K, lambda rates 1/s, phi shapes with
phi_j . C phi_k = delta_jk, c = phi . C D0.  Warm-up and cool-down of an exposure are its limit
cycle plus such a decay from the difference to it.

(2) is the Rayleigh-Ritz (Galerkin) solution in (3), a rational Krylov space: no rate is below the
true slowest one, nothing grows, and K and C of the fields in the space are exact however roughly
these were solved for.  D0 is in the space, so D(0) is the start itself; 1 is in it, so what leaves
through the films is what the stack loses, sum C dD/dt = -sum loss D.  K^-1 C D0 is in it, so the
integral of D over all time is that of the full model.  1 excites the slowest mode of any stack.

Poles s_j lie between the slowest rate and 16/shortest, ever more densely: u = 1, then steps by the
golden section, s = low (high/low)^(u^0.75), which favours the fast end where start fields are
rough.  Error falls about as exp(-pi^2 n/(2 log(4 high/low))) with n poles (from memory: Zolotarev's
problem, V. Druskin, L. Knizhnerman, M. Zaslavsky, SIAM J. Sci. Comput. 31 (2009) 3760): 0.61 a pole
over four decades; measured with even steps 0.56 for a steady rise, 0.68 for a narrow stripe, and
21 and 29 poles for 1e-3 K of 50 K as stated here.

Each pole is solved for what the space does not know yet of its field: solved for the whole field,
the new part, 1e-9 of it, drowned in the residual, and the error stuck at 3e-7 of the start without
the change from pole to pole showing it.  Fields kept in single precision did the same at 1e-5.

Nodes without heat capacity (nothing but an empty layer around them) follow their neighbours at
once, also in D0.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import diags_array
from scipy.sparse.linalg import LinearOperator, cg

from thermo.errors import PhysicsError, SolveError
from thermo.heat.steady import HeatSystem
from thermo.solve import Multigrid, Shifts, Solver

Array = NDArray[np.float64]
Nodes = NDArray[np.int64] | slice
ALL = slice(None)
MOST = 40  # poles
SAFE = 2.0  # error over the change that the last poles made: up to 1.8 seen
CHECKED = 5  # the last poles: without them the answer is the same; they lie all over the range
FASTEST = 16.0  # highest pole times the shortest time
DENSER = 0.75  # power of the pole's place in the range: below 1 favours the fast end
GOLDEN = (np.sqrt(5) - 1) / 2  # steps by it fill the range evenly, however many there are
ROUGH = 1e-6  # residual of the solves, of what the space lacks: 1e-4 took 4 to 7 more poles
ROUNDING = 5e-7  # of the start: error that no pole takes away; 1.1e-7 was the worst seen
DEPENDENT = 1e-14  # a field's new part, beside the whole, that is nothing but rounding
LATEST = 8.0  # slowest time constants over which the error is looked for
FOLLOWED = 1e-10  # residual of nodes without heat capacity
USUAL = 12  # iterations of a solve with a multigrid of its own
CHUNK = 4096  # plan nodes at a time


@dataclass(frozen=True)
class Decay:
    """Decay of each start field, equation (2).

    rates : lambda, 1/s, ascending, (modes,)
    shapes : phi, (modes, nodes, levels), 0 where there is nothing
    amplitudes : c of each start, (starts, modes)
    error : K, estimate of how far any node of any start may be off at any t >= shortest: twice the
        change that the last five poles made, and rounding
    shortest : s;  poles : how many it took
    """

    rates: Array
    shapes: Array
    amplitudes: Array
    error: float
    shortest: float
    poles: int

    @property
    def slowest(self) -> float:
        """Time constant of the slowest mode, s."""
        return float(1 / self.rates[0])

    def at(self, times: ArrayLike, start: int = 0, nodes: Nodes = ALL) -> Array:
        """D(t) of a start field, K, (times, nodes, levels); times in s, nodes of the plan."""
        t = np.atleast_1d(np.asarray(times, float))
        if not (t >= 0).all():
            raise PhysicsError(f"times must be >= 0 s, got {t.min():.4g} s; count from the start")
        return self.combined(np.exp(-np.outer(t, self.rates)), start, nodes)

    def integral(self, t0: float, t1: float, start: int = 0, nodes: Nodes = ALL) -> Array:
        """Integral of D from t0 to t1, K s, (nodes, levels); t1 may be infinite."""
        if not 0 <= t0 <= t1 or np.isinf(t0):
            raise PhysicsError(f"need 0 s <= t0 <= t1 with t0 finite, got {t0:.4g} and {t1:.4g} s")
        shares = -np.exp(-self.rates * t0) * np.expm1(-self.rates * (t1 - t0)) / self.rates
        return np.asarray(self.combined(shares[None], start, nodes)[0])

    def combined(self, shares: Array, start: int = 0, nodes: Nodes = ALL) -> Array:
        """sum_k shares_ik c_k phi_k, (rows, nodes, levels), shares (rows, modes).

        With int w(t) exp(-lambda_k t) dt as shares: the mean of D under a weight w(t).
        """
        return _combined(shares * self.amplitudes[start], self.shapes[:, nodes])

    def combined_shapes(self, weights: Array) -> Array:
        """sum_k weights_k phi_k, (nodes, levels)."""
        return np.asarray(_combined(weights[None], self.shapes)[0])


def decay(
    system: HeatSystem,
    starts: Sequence[Array],
    shortest: float,
    tolerance: float,
    solver: Solver,
) -> Decay:
    """Reduced model of the free decay (1) of start fields that share one space (3).

    starts : D0, K, (nodes, levels) each
    shortest : s, from where on the error counts;  tolerance : K, at every node

    Raises PhysicsError for a time or tolerance that is not above 0, SolveError for start fields
    that are not finite, for a tolerance below what rounding leaves (5e-7 of the largest start), and
    when 40 poles do not meet the tolerance.
    """
    for what, value, unit in (("shortest time", shortest, "s"), ("tolerance", tolerance, "K")):
        if not 0 < value < np.inf:
            raise PhysicsError(f"{what} of a decay must be > 0 {unit}, got {value:.4g} {unit}")
    if not len(starts):
        raise SolveError("no start field to decay; give at least one (nodes, levels)")
    D0 = [_checked(system, start, number) for number, start in enumerate(starts)]
    rounding = ROUNDING * max(float(np.abs(d).max()) for d in D0)
    if not tolerance > rounding:
        raise SolveError(
            f"a decay in double precision is right to {rounding:.1e} K here, wanted "
            f"{tolerance:.1e} K; take a larger tolerance"
        )
    rough = replace(solver, tolerance=ROUGH, multigrid=None, usual=0)
    D0 = [_followed(system, d) for d in D0]
    lit = [d for d in D0 if d.any()]
    space = _Space(system, D0, len(lit))
    low = _slow_end(space, lit, rough)
    doublings = max(1.0, np.log2(LATEST / (low * shortest)))
    times = shortest * 2.0 ** np.linspace(0, doublings, int(np.ceil(doublings)) + 1)
    courses, loads = [space.course(times)], [system.C * d for d in lit]
    shifts = Shifts(Multigrid(system.K), system.K, system.C)
    for poles, s in enumerate(_poles(low, FASTEST / shortest), 1):
        K, own = system.K.shifted(s, system.C), replace(rough, multigrid=shifts.at(s), usual=USUAL)
        for f in loads:
            x = space.answer(s, f)
            space.add(own.solve(K, f - K.times(x)).x, x)
        courses.append(space.course(times))
        change = np.inf if poles < CHECKED else space.largest(courses[-1], courses.pop(0))
        error = SAFE * change + rounding
        if error <= tolerance:
            return space.decay(error, shortest, poles)
    raise SolveError(
        f"the decay is right to {error:.1e} K with {MOST} poles, wanted {tolerance:.1e} K; "
        f"take a larger tolerance or a longer shortest time than {shortest:.3g} s"
    )


class _Space:
    """Fields that are C-orthonormal, with their K and what they hold of the start fields."""

    def __init__(self, system: HeatSystem, D0: Sequence[Array], lit: int) -> None:
        self.system, self.size = system, 0
        self.CD0 = np.array([system.C * d for d in D0]).reshape(len(D0), *system.C.shape)
        most = lit * (MOST + 2) + 3
        self.fields = np.empty((most, *system.C.shape))  # memory is taken as they are filled
        self.K, self.c = np.zeros((most, most)), np.zeros((most, len(D0)))

    def add(self, x: Array, beside: Array) -> None:
        """Take in what is new in x, if it is anything beside another field."""
        C, n, v = self.system.C, self.size, x.copy()
        whole = np.sqrt((beside * C * beside).sum())
        for _ in range(2):
            v -= _combined(_onto(self.fields[:n], C * v)[None], self.fields[:n])[0]
        new = np.sqrt((v * C * v).sum())
        if not new > DEPENDENT * whole:
            return
        self.fields[n] = v = v / new
        self.size = n + 1
        Kv = self.system.K.times(v)
        self.K[n, : n + 1] = self.K[: n + 1, n] = _onto(self.fields[: n + 1], Kv)
        self.c[n] = _onto(self.CD0, v)

    def modes(self) -> tuple[Array, Array, Array]:
        """Rates, modes as columns, and amplitudes (modes, starts) of (2)."""
        n = self.size
        rates, S = np.linalg.eigh(self.K[:n, :n])
        return rates, S, S.T @ self.c[:n]

    def answer(self, s: float, f: Array) -> Array:
        """What the space knows of (K + s C) x = f."""
        n = self.size
        y = np.linalg.solve(self.K[:n, :n] + s * np.eye(n), _onto(self.fields[:n], f))
        return np.asarray(_combined(np.asarray(y)[None], self.fields[:n])[0])

    def course(self, times: Array) -> Array:
        """D at the times in terms of the fields, (starts * times, fields)."""
        rates, S, c = self.modes()
        shares = c.T[:, None, :] * np.exp(-np.outer(times, rates))
        return np.asarray((shares @ S.T).reshape(-1, self.size))

    def largest(self, course: Array, before: Array) -> float:
        """Largest difference at any node, K, to a course in the first of the fields."""
        change = course.copy()
        change[:, : before.shape[1]] -= before
        fields = self.fields[: self.size]
        return max(float(np.abs(_combined(change, fields[:, i])).max()) for i in _parts(fields))

    def decay(self, error: float, shortest: float, poles: int) -> Decay:
        """The model; the fields are turned into the modes' shapes where they are."""
        rates, S, c = self.modes()
        shapes = self.fields[: self.size]
        for part in _parts(shapes):
            shapes[:, part] = _combined(S.T, shapes[:, part])
        return Decay(rates, shapes, c.T, error, shortest, poles)


def _slow_end(space: _Space, lit: Sequence[Array], solver: Solver) -> float:
    """Begin the space at its slow end; the slowest rate, 1/s, to a few per cent."""
    K, C, even = space.system.K, space.system.C, space.system.even
    one = _followed(space.system, space.system.used.astype(float))
    for d in (*lit, one):
        space.add(d, d)
    own = replace(solver)
    for d in (*lit, one):
        x = own.solve(K, C * d, None, even).x
        space.add(x, x)
    x = own.solve(K, C * x, None, even).x
    space.add(x, x)
    return float(space.modes()[0][0])


def _poles(low: float, high: float) -> Iterator[float]:
    for j in range(MOST):
        u = 1 - j * GOLDEN % 1
        yield low * (high / low) ** (u**DENSER)


def _checked(system: HeatSystem, start: Array, number: int) -> Array:
    if start.shape != system.C.shape:
        raise SolveError(
            f"start field {number} has shape {start.shape}, the grid (nodes, levels) "
            f"{system.C.shape}; turn it round or take it to this grid"
        )
    d = np.where(system.used, start, 0.0)
    if not np.isfinite(d).all():
        raise SolveError(f"start field {number} is not finite everywhere; check the cycle behind")
    return d


def _followed(system: HeatSystem, d: Array) -> Array:
    """The field with the nodes that have no heat capacity in balance with their neighbours."""
    K, free = system.K, system.used & (system.C == 0)
    if not free.any():
        return d

    def balance(x: Array) -> Array:
        field = np.zeros_like(d)
        field[free] = x
        return np.asarray(K.times(field)[free])

    count = int(free.sum())
    A = LinearOperator((count, count), matvec=balance, dtype=np.float64)
    x, _ = cg(A, -K.times(d)[free], rtol=FOLLOWED, M=diags_array(1 / K.diagonal[free]))
    followed = d.copy()
    followed[free] += x
    return followed


def _parts(fields: Array) -> Iterator[slice]:
    """Plan nodes in parts, so that no second set of the fields is ever in memory."""
    for first in range(0, fields.shape[1], CHUNK):
        yield slice(first, first + CHUNK)


def _combined(weights: Array, fields: Array) -> Array:
    """sum_k weights_ik fields_k, (rows, nodes, levels)."""
    return np.asarray(np.tensordot(weights, fields, 1))


def _onto(fields: Array, f: Array) -> Array:
    """Sum over all nodes of each field times f, (fields,)."""
    return np.asarray(np.tensordot(fields, f, 2))
