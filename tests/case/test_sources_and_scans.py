"""Sources, stripes and scans of a case: which keys stand together, files beside the case."""

import re

import pytest

from thermo.case import read_case
from thermo.errors import CaseError

SPECTRUM = "# invented\nenergy_eV,power_W_per_eV_per_mm\n1000,1e-5\n10000,2e-5\n60000,1e-6\n"
FLUX = "energy_eV,flux_photons_per_s_per_0.1%bw_per_mrad\n1000,1e13\n10000,2e13\n"
LOG = "time_s,position_mm\n" + "".join(f"{0.1 * i},{10 * abs(i % 16 - 8)}\n" for i in range(49))
MAGNET = 'energy = "1.9 GeV"\ncurrent = "50 mA"\nfield = "1.3 T"\n'
TRAPEZOID = 'stroke = "26 mm"\nspeed = "20 mm/s"\nacceleration = "1 m/s2"\n'
TABLED = 'current = "50 mA"\nspectrum = "beam.csv"\nspectrum_current = "100 mA"\n'


@pytest.fixture
def write(tmp_path, small):
    """A case in a folder with a spectrum and a log, the small one with texts replaced."""
    (tmp_path / "beam.csv").write_text(SPECTRUM, encoding="utf-8")
    (tmp_path / "flux.csv").write_text(FLUX, encoding="utf-8")
    (tmp_path / "stage.csv").write_text(LOG, encoding="utf-8")

    def to_file(*changes):
        text = small.text
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / "case.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return to_file


def faults(path):
    with pytest.raises(CaseError) as caught:
        read_case(path)
    return {fault.key: fault.text for fault in caught.value.faults}


def test_a_wiggler_is_given_by_poles_and_period(write):
    case = read_case(write((MAGNET, MAGNET + 'poles = 20\nperiod = "140 mm"\n')))
    assert case.ring.poles.value == 20
    assert case.ring.period.value == pytest.approx(0.14)
    assert "ring.period" in faults(write((MAGNET, MAGNET + "poles = 20\n")))
    assert "ring.poles" in faults(write((MAGNET, MAGNET + 'period = "140 mm"\n')))


def test_a_spectrum_is_read_from_beside_the_case_and_counts_in_its_hash(write, tmp_path):
    path = write((MAGNET, TABLED), ('width = "16 mm"', 'width = "16 mm"\nfwhm = "4 mm"'))
    case = read_case(path)
    table = case.tables["ring.spectrum"]
    assert table.columns["energy_eV"].tolist() == [1000, 10000, 60000]
    (tmp_path / "beam.csv").write_text(SPECTRUM + "70000,1e-7\n", encoding="utf-8")
    assert read_case(path).sha256 != case.sha256


def test_a_flux_is_read_too(write):
    path = write(
        (MAGNET, TABLED.replace("beam.csv", "flux.csv") + 'energy = "2 GeV"\nfield = "1 T"\n')
    )
    assert "flux" in list(read_case(path).tables["ring.spectrum"].columns)[1]


def test_a_log_stands_instead_of_the_trapezoid(write):
    case = read_case(write((TRAPEZOID, 'table = "stage.csv"\n')))
    assert len(case.tables["scan.table"].columns["time_s"]) == 49
    both = faults(write((TRAPEZOID, TRAPEZOID + 'table = "stage.csv"\n')))
    assert set(both) == {"scan.stroke", "scan.speed", "scan.acceleration"}


def test_gas_paths_stand_among_the_filters_in_order(write):
    gas = '{ gas = "air", length = "50 mm", pressure = "1 bar" }'
    case = read_case(write(('thickness = "250 um" }]', f'thickness = "250 um" }}, {gas}]')))
    foil, path = case.beam.filters
    assert foil.material == "beryllium"
    assert (path.gas, path.length.value, path.pressure.value) == ("air", 0.05, 1e5)
    assert case.materials["air"].kind == "gas"


WRONG = {  # changes, key of the fault, words in it
    "no energy": ([('energy = "1.9 GeV"\n', "")], "ring.energy", "0.1 GeV .. 10 GeV"),
    "no field": ([('field = "1.3 T"\n', "")], "ring.field", "0.05 T .. 10 T"),
    "no stroke": ([('stroke = "26 mm"\n', "")], "scan.stroke", "without scan.table"),
    "current of the table": (
        [(MAGNET, TABLED.replace('spectrum_current = "100 mA"\n', ""))],
        "ring.spectrum_current",
        "the current it belongs to",
    ),
    "no stripe": ([(MAGNET, TABLED)], "beam.fwhm", "says nothing of the stripe"),
    "half a magnet": ([(MAGNET, TABLED + 'energy = "2 GeV"\n')], "ring.field", "both together"),
    "wiggler and table": (
        [(MAGNET, MAGNET + TABLED.split("\n", 1)[1] + 'poles = 4\nperiod = "1 m"\n')],
        "ring.poles",
        "the file is the whole spectrum",
    ),
    "two stripes": (
        [('width = "16 mm"', 'width = "16 mm"\nfwhm = "4 mm"\nangle_fwhm = "0.3 mrad"')],
        "beam.angle_fwhm",
        "one of them",
    ),
    "stripe and source": (
        [('width = "16 mm"', 'width = "16 mm"\nfwhm = "4 mm"\nsource_height = "50 um"')],
        "beam.source_height",
        "source size and all",
    ),
    "centre without log": (
        [(TRAPEZOID, TRAPEZOID + 'centre = "1 mm"\n')],
        "scan.table",
        "beside scan.centre",
    ),
    "gas path without pressure": (
        [('thickness = "250 um" }]', 'thickness = "250 um" }, {gas = "air", length = "5 mm"}]')],
        "beam.filters.2.pressure",
        "1e-6 mbar .. 2 bar",
    ),
    "solid as a gas": (
        [
            (
                'thickness = "250 um" }]',
                'thickness = "250 um" }, {gas = "gold", length = "5 mm", pressure = "1 bar"}]',
            )
        ],
        "beam.filters.2.gas",
        "is a solid",
    ),
    "neither foil nor gas": (
        [('thickness = "250 um" }]', 'thickness = "250 um" }, 7]')],
        "beam.filters.2",
        "is no table",
    ),
    "strange key in a gas path": (
        [
            (
                'thickness = "250 um" }]',
                'thickness = "250 um" }, {gas = "air", lenght = "5 mm", pressure = "1 bar"}]',
            )
        ],
        "beam.filters.2.lenght",
        "did you mean 'length'",
    ),
    "even passes in words": (
        [("[dose]\n", '[dose]\neven_passes = "yes"\n')],
        "dose.even_passes",
        "neither true nor false",
    ),
    "a key that looks like a mark": (
        [(MAGNET, MAGNET + '"(Filter)" = 1\n')],
        "ring.(Filter)",
        "unknown key",
    ),
    "an empty file name": (
        [(TRAPEZOID, 'table = ""\n')],
        "scan.table",
        "empty",
    ),
}


@pytest.mark.parametrize("kind", WRONG)
def test_what_does_not_stand_together_is_one_fault_at_its_key(write, kind):
    changes, key, words = WRONG[kind]
    found = faults(write(*changes))
    assert key in found, found
    assert re.search(words, found[key]), found[key]


def test_a_misspelt_key_of_the_scan_is_one_fault(write):
    assert list(faults(write(('stroke = "26 mm"', 'strok = "26 mm"')))) == ["scan.strok"]


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("none.csv", None, "no such file"),
        ("bad.csv", "energy_eV,power_W_per_eV_per_mm\n1000,x\n2000,1\n", "x"),
        ("other.csv", "energy,power\n1000,1\n2000,1\n", "energy_eV"),
    ],
)
def test_a_faulty_table_is_told_by_its_own_file_and_line(write, tmp_path, name, content, words):
    if content is not None:
        (tmp_path / name).write_text(content, encoding="utf-8")
    path = write((MAGNET, MAGNET + f'spectrum = "{name}"\nspectrum_current = "1 mA"\n'))
    with pytest.raises(CaseError) as caught:
        read_case(path)
    (fault,) = caught.value.faults
    assert fault.file.endswith(name)
    assert words in fault.text


def test_faults_of_case_and_table_are_listed_together(write):
    path = write(
        (MAGNET, MAGNET + 'spectrum = "none.csv"\nspectrum_current = "1 mA"\n'),
        ('"100 mbar"', '"100 bar"'),
    )
    with pytest.raises(CaseError) as caught:
        read_case(path)
    assert len(caught.value.faults) == 2
