"""How long beam, absorption and dose take together; not run by default."""

from pathlib import Path
from time import perf_counter

import pytest

from thermo.answer.exposure import dose_plan
from thermo.answer.path import path_lines
from thermo.answer.scene import describe
from thermo.beam import follow_photons
from thermo.beam.exchange import _exchange
from thermo.case import read_case

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))


@pytest.mark.speed
@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_beam_absorption_and_dose_take_less_than_150_ms(path, capsys):
    case = read_case(path)
    seconds = []
    for _ in range(5):
        _exchange.cache_clear()
        start = perf_counter()
        scene = describe(case)
        path_lines(scene)
        dose_plan(scene)
        seconds.append(perf_counter() - start)
    with capsys.disabled():
        print(f"\n{path.stem}: first {seconds[0]:.3f} s, best {min(seconds):.3f} s")
    assert min(seconds) < 0.15


@pytest.mark.speed
def test_six_hundred_thousand_photons(capsys):
    scene = describe(read_case(CASES[0]))
    start = perf_counter()
    follow_photons(scene.beam.energy, scene.beam.power.sum(0), scene.column(False))
    with capsys.disabled():
        print(f"\n600 000 photons: {perf_counter() - start:.2f} s")
