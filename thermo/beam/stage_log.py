"""Motion read from a stage's log of position against time: turning points, whole passes.

A stage jitters by micrometres and rests at its ends; neither makes a turn.
"""

import numpy as np
from numpy.typing import NDArray

from thermo.beam.motion import MotionTable
from thermo.errors import PhysicsError

Array = NDArray[np.float64]
SHORTEST, LONGEST = 2e-3, 2.0  # m: strokes a log may have
SLOWEST, FASTEST = 1e-6, 1.0  # m/s, as for a speed given in a case
HYSTERESIS = 0.05  # share of the whole way that a stage must go back by to have turned
SAME = 0.05  # share of the stroke within which the turns at one end must lie
NEAR = 0.02  # share of the whole way: the log's first and last row at an end of the stroke
AT_REST = 0.005  # share of the whole way that counts as standing at the end


def motion_from_table(time: Array, position: Array, centre: float | None = None) -> MotionTable:
    """Motion of a stage's log, cut to whole passes.

    Parameters
    ----------
    time : s, rising, (rows,)
    position : height of mask and sample, m, upwards, (rows,); the stripe runs the other way, (4)
    centre : position at which the middle of the field is lit, m; None: the middle of the stroke

    Three turns within the log or more: whole up-and-down cycles between the first and the last of
    the same kind, so that what stands before and after them does not count.  Fewer: the first
    and the last row count as turns where they lie at an end of the stroke.  A single pass
    stands for the way back too.

    Raises
    ------
    PhysicsError : time that does not rise, no full pass, turns that do not lie at two places, or
        a stroke, speed or centre beyond reason
    """
    time, position = np.array(time, float), np.array(position, float)
    _check_log(time, position)
    rows = _whole_passes(time, position)
    one, other = position[rows[::2]], position[rows[1::2]]
    stroke = abs(float(one.mean() - other.mean()))
    _check_turns(one, other, stroke)
    middle = float(one.mean() + other.mean()) / 2
    centre = middle if centre is None else centre
    if not abs(centre - middle) <= stroke / 2:
        raise PhysicsError(
            f"the middle of the field is lit at {1e3 * centre:.4g} mm, outside the stroke; "
            f"allowed: {1e3 * (middle - stroke / 2):.4g} to {1e3 * (middle + stroke / 2):.4g} mm; "
            "leave it out for the middle of the stroke"
        )
    own = slice(rows[0], rows[-1] + 1)
    motion = MotionTable(time[own], centre - position[own], len(rows) - 1, stroke, centre - middle)
    if not SLOWEST <= motion.speed <= FASTEST:
        raise PhysicsError(
            f"the log gives a speed of {1e3 * motion.speed:.4g} mm/s; allowed: "
            f"{1e3 * SLOWEST:g} to {1e3 * FASTEST:g} mm/s; check the units of its columns"
        )
    return motion


def _check_log(time: Array, position: Array) -> None:
    if not (time.ndim == 1 and time.shape == position.shape and len(time) >= 2):
        raise PhysicsError(
            f"a log has one position at each time; got {time.shape} times and {position.shape} "
            "positions; allowed: two columns of equal length, 2 rows or more"
        )
    finite = np.isfinite(time) & np.isfinite(position)
    if not finite.all():
        raise PhysicsError(
            f"row {int(np.argmin(finite)) + 1} of the log is not finite; leave the row out"
        )
    rising = np.diff(time) > 0
    if not rising.all():
        row = int(np.argmin(rising)) + 1
        raise PhysicsError(
            f"the time of the log falls or stays from {time[row - 1]:.6g} s to {time[row]:.6g} s "
            f"in row {row + 1}; allowed: each row later than the one before; sort the rows, "
            "leave out doubles"
        )
    way = float(np.ptp(position))
    if not SHORTEST <= way <= LONGEST:
        raise PhysicsError(
            f"the log moves by {1e3 * way:.4g} mm; allowed: {1e3 * SHORTEST:g} to "
            f"{1e3 * LONGEST:g} mm; check the unit of its positions"
        )


def _check_turns(one: Array, other: Array, stroke: float) -> None:
    for turns in (one, other):
        if not np.ptp(turns) <= SAME * stroke:
            raise PhysicsError(
                f"the log turns at one end between {1e3 * turns.min():.4g} and "
                f"{1e3 * turns.max():.4g} mm; allowed: within {SAME:.0%} of the stroke of "
                f"{1e3 * stroke:.4g} mm; cut the log to the scan of the exposure"
            )


def _whole_passes(time: Array, position: Array) -> list[int]:
    """Rows of the turns that bound whole passes: two, or an odd number of them."""
    turns = _turns(position)
    tolerance = AT_REST * float(np.ptp(position))
    values = position.tolist()
    rests = [_rest(values, row, tolerance) for row in turns]
    first, last = np.array(rests[1:-1], int).reshape(-1, 2).T
    rows: list[int] = np.searchsorted(time, (time[first] + time[last]) / 2).tolist()
    if len(rows) < 3:
        if _starts_at_an_end(position, turns):
            rows.insert(0, rests[0][0])
        if _starts_at_an_end(position, turns[::-1]):
            rows.append(rests[-1][1])
    if len(rows) < 2:
        raise PhysicsError(
            f"the log holds no full pass: it moves by {1e3 * np.ptp(position):.4g} mm and turns "
            f"{len(turns) - 2} times; allowed: one pass from end to end, or whole up-and-down "
            "cycles; log longer"
        )
    return rows if len(rows) == 2 or len(rows) % 2 else rows[:-1]


def _turns(position: Array) -> list[int]:
    """Rows farthest out between moves back by more than the hysteresis, and first and last such."""
    back = HYSTERESIS * float(np.ptp(position))
    start = int(np.argmax(np.abs(position - position[0]) > back))
    sign = 1.0 if position[start] > position[0] else -1.0
    found, farthest = [int(np.argmin(sign * position[:start]))], start
    values = position.tolist()
    for row in range(start, len(values)):
        ahead = sign * (values[row] - values[farthest])
        if ahead > 0:
            farthest = row
        elif ahead < -back:
            found.append(farthest)
            farthest, sign = row, -sign
    return [*found, farthest]


def _rest(values: list[float], row: int, tolerance: float) -> tuple[int, int]:
    """First and last row of the stretch round `row` that stays within the tolerance."""
    first = last = row
    while first > 0 and abs(values[first - 1] - values[row]) <= tolerance:
        first -= 1
    while last < len(values) - 1 and abs(values[last + 1] - values[row]) <= tolerance:
        last += 1
    return first, last


def _starts_at_an_end(position: Array, turns: list[int]) -> bool:
    """Whether the first of the turns lies as far out as the farthest of its kind."""
    levels = position[turns] * np.sign(position[turns[0]] - position[turns[1]])
    return bool(levels[::2].max() - levels[0] <= NEAR * np.ptp(position))
