"""A small invented plate that is answered in seconds, once for all tests."""

import pytest

from thermo.case import read_case
from thermo.decide import run

SMALL = """\
title = "Small invented plate"
[ring]
energy = "1.9 GeV"
current = "50 mA"
field = "1.3 T"
lifetime = "12 h"
[beam]
distance = "13 m"
width = "16 mm"
filters = [{ material = "beryllium", thickness = "250 um" }]
[scan]
stroke = "26 mm"
speed = "20 mm/s"
acceleration = "1 m/s2"
[chamber]
gas = "helium"
pressure = "100 mbar"
temperature = "20 degC"
outer_film = "6 W/(m2 K)"
accommodation_mask = "0.45"
accommodation_sample = "0.6"
[mask]
measured_at = "20 degC"
[mask.membrane]
material = "graphite"
thickness = "150 um"
width = "16 mm"
height = "16 mm"
tension = "5 MPa"
[mask.absorber]
material = "gold"
thickness = "12 um"
width = "12 mm"
height = "12 mm"
coverage = "0.5"
kind = "islands"
surround = "bare"
[mask.frame]
material = "aluminium"
thickness = "5 mm"
border = "6 mm"
contact = "1e-4 m2 K/W"
cooling = "1000 W/(m2 K)"
water = "20 degC"
held = "clamped"
mount = "aluminium"
[gap]
width = "100 um"
[sample]
measured_at = "20 degC"
width = "20 mm"
height = "20 mm"
held = "free"
layers = [
    { material = "PMMA", thickness = "300 um" },
    { material = "silicon", thickness = "0.7 mm" },
]
[sample.joint]
resistance = "3e-4 m2 K/W (1e-4 .. 2e-3)"
[sample.holder]
material = "aluminium"
thickness = "10 mm"
width = "24 mm"
height = "24 mm"
film = "3000 W/(m2 K)"
water = "20 degC"
[sensors]
edge = { part = "silicon", x = "9 mm", y = "0 mm" }
base = { part = "holder", x = "11 mm", y = "0 mm" }
[dose]
bottom = "3.8 kJ/cm3"
[limits]
resist = "60 degC"
mask = "100 degC"
dose_top = "20 kJ/cm3"
dose_ratio = "5"
dose_under_absorber = "200 J/cm3"
"""  # invented, like every number in it


@pytest.fixture(scope="session")
def small_path(tmp_path_factory):
    path = tmp_path_factory.mktemp("small") / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def small(small_path):
    return read_case(small_path)


@pytest.fixture(scope="session")
def scanned(small):
    return run(small, check_cycle=True)


@pytest.fixture(scope="session")
def few(small_path):
    """Seven passes: an odd number that is over before it settles."""
    limits = {"placement": "1 um", "time": "1 min", "dose_unevenness": "2 %"}
    settings = {f"limits.{name}": value for name, value in limits.items()}
    return run(read_case(small_path, {"dose.bottom": "10 J/cm3", **settings}))


@pytest.fixture(scope="session")
def held(small_path):
    return run(read_case(small_path, {"limits.placement": "1 um"}), still=True)
