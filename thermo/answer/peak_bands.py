"""Bands of the highest temperatures alone, with few runs.

To first order (`sensitivity`) where that is small and the end of the range near; any other end is
run on the coarse mesh.
"""

from thermo.answer.coarse_runs import ROUGH, CoarseRuns
from thermo.answer.sensitivity import PEAKS, PeakInfluences, hottest_places, peak_influences
from thermo.answer.spread import Band, band_of, spread_inputs
from thermo.answer.state import State
from thermo.case import Case, Range, with_value

SEEN = 0.5  # K: a change below this is taken to first order,
WIDE = 2.0  # but of an end that is off by more than this factor only below ROUGH


def peak_bands(case: Case, runs: CoarseRuns) -> dict[str, Band]:
    """Bands of the highest temperatures of 'resist' and 'mask' by the ranges of the inputs, K.

    Raises SolveError where the exposure is over before temperatures settle.
    """
    known = peak_influences(runs)
    down: dict[str, list[float]] = {name: [] for name in PEAKS}
    up: dict[str, list[tuple[float, str]]] = {name: [] for name in PEAKS}
    for one in spread_inputs(case, elastic=False):
        both = [_change(case, runs, known, one, end) for end in (one.low, one.high)]
        for name in PEAKS:
            down[name].append(min(0.0, *(change[name] for change in both)))
            up[name].append((max(0.0, *(change[name] for change in both)), one.key))
    return {name: band_of(down[name], up[name]) for name in PEAKS}


def _change(
    case: Case, runs: CoarseRuns, known: PeakInfluences, one: Range, end: float | str
) -> dict[str, float]:
    """What one end of a range changes, K."""
    changed = with_value(case, one.key, end)
    if not isinstance(end, str) and not isinstance(one.value, str):
        first = known.change(changed)
        low, high = sorted((abs(end), abs(one.value)))
        most = SEEN if high <= WIDE * low else ROUGH
        if first is not None and max(map(abs, first.values())) < most:
            return first
    old, new = _peaks(runs.usual.state), _peaks(runs.heated(changed).state)
    return {name: new[name] - old[name] for name in old}


def _peaks(state: State) -> dict[str, float]:
    return {n: float(state.peak[at]) for n, at in hottest_places(state).items()}
