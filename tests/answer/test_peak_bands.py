"""Bands of the peaks with few runs, beside those of a run at both ends of every range."""

import pytest

from thermo.answer import peak_bands as module
from thermo.answer.coarse_runs import CoarseRuns
from thermo.answer.peak_bands import peak_bands
from thermo.answer.spread import spread_inputs, spread_of


@pytest.fixture(scope="module")
def runs(small):
    return CoarseRuns(small, False)


@pytest.fixture(scope="module")
def whole(small, runs):
    return spread_of(small, runs).bands


@pytest.mark.parametrize(("seen", "wide"), [(0.5, 2.0), (0.05, 2.0), (10.0, 1e3)])
def test_they_are_those_of_runs_at_both_ends(small, runs, whole, monkeypatch, seen, wide):
    """To a tenth, or the 0.05 K of the coarse cycle; with first order alone they are not."""
    monkeypatch.setattr(module, "SEEN", seen)
    monkeypatch.setattr(module, "WIDE", wide)
    found = peak_bands(small, runs)
    near = all(
        getattr(found[name], side) == pytest.approx(getattr(whole[name], side), rel=0.1, abs=0.05)
        for name in ("resist", "mask")
        for side in ("down", "up")
    )
    assert near is (wide < 10)


def test_what_does_little_is_not_run(small, runs, monkeypatch):
    ran = []
    real = CoarseRuns.heated
    monkeypatch.setattr(CoarseRuns, "heated", lambda self, case: ran.append(1) or real(self, case))
    found = peak_bands(small, runs)
    assert 0 < len(ran) < len(spread_inputs(small, elastic=False))
    assert found["resist"].decider == "sample.joint.resistance"
