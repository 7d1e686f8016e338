"""`warmstack dose` and `materials --case` as a user types them, mistakes included."""

import json

import pytest

from thermo.answer.dose_schema import DoseReport


def test_the_first_lines_say_time_passes_charge_and_doses(warmstack, small_path):
    code, out, err = warmstack("dose", small_path)
    assert (code, err) == (0, "")
    head = "\n".join(out.splitlines()[:6])
    for word in ("Plan", "passes", "mA min per cm", "Dose", "top", "bottom", "ratio", "under"):
        assert word in head
    assert max(map(len, out.splitlines())) <= 100


def test_the_json_of_a_plan_is_its_report(warmstack, small_path):
    code, out, _ = warmstack("dose", small_path, "--json")
    assert code == 0
    assert DoseReport.model_validate_json(out).motion.duty > 0
    assert json.loads(out)["schema"] == 1


@pytest.mark.parametrize("done", ["100 passes", "50 mA min/cm", "150 mA min", "1 pass"])
def test_after_a_stop_less_is_left(warmstack, small_path, done):
    whole = json.loads(warmstack("dose", small_path, "--json")[1])
    rest = json.loads(warmstack("dose", small_path, "--json", "--done", done)[1])
    assert rest["dose"]["passes"] < whole["dose"]["passes"]
    assert rest["done_passes"] > 0
    assert "are done" in warmstack("dose", small_path, "--done", done)[1]


def test_a_charge_done_counts_as_the_passes_it_is_worth(warmstack, small_path):
    """One pass at 50 mA and 20 mm/s is 2.5 A s/m, that is 50/60/2 mA min per cm."""
    by_charge = json.loads(
        warmstack("dose", small_path, "--json", "--done", f"{100 * 50 / 120} mA min/cm")[1]
    )
    assert by_charge["done_passes"] == pytest.approx(100, rel=1e-9)


@pytest.mark.parametrize("done", ["many", "-5 passes", "5 h", "-1 mA min", "passes", "3 mm"])
def test_an_amount_that_is_none_is_wrong_usage(warmstack, small_path, done):
    code, out, err = warmstack("dose", small_path, f"--done={done}")
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert "--done" in err


UNREACHABLE = {
    "stroke too short": ("scan.speed=900 mm/s", "too short"),
    "decays too fast": ("ring.lifetime=1 min", "can never be reached"),
    "all power filtered": (
        'beam.filters=[{material="gold",thickness="20 mm"}]',
        "windows and filters leave",
    ),
}


@pytest.mark.parametrize("kind", UNREACHABLE)
def test_a_plan_that_cannot_be_ends_in_one_line_and_3(warmstack, small_path, tmp_path, kind):
    setting, words = UNREACHABLE[kind]
    code, out, err = warmstack("dose", small_path, "--set", setting)
    assert (code, out) == (3, "")
    assert len(err.splitlines()) == 1
    assert words in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("photons", [-1, 5, 10**9])
def test_too_few_or_too_many_photons_are_wrong_usage(warmstack, small_path, photons):
    code, out, err = warmstack("dose", small_path, f"--photons={photons}")
    assert (code, out) == (2, "")
    assert "--photons" in err
    assert len(err.splitlines()) == 1


def test_photons_stand_beside_the_model(warmstack, small_path):
    code, out, _ = warmstack("dose", small_path, "--photons", 2000)
    assert code == 0
    assert "Monte Carlo" in out
    assert "under absorber" in out


def test_a_spectrum_is_written_and_can_be_read_back(warmstack, small, small_path, tmp_path):
    assert warmstack("dose", small_path, "--spectrum", "beam.csv")[0] == 0
    text = small.text.replace("[ring]", '[ring]\nspectrum = "beam.csv"\nspectrum_current = "50 mA"')
    (tmp_path / "tabled.toml").write_text(text, encoding="utf-8")
    one, other = (
        json.loads(warmstack("dose", path, "--json")[1]) for path in (small_path, "tabled.toml")
    )
    key = "charge_mA_min_per_cm"
    assert other["dose"][key] == pytest.approx(one["dose"][key], rel=1e-3)
    code, _, err = warmstack("dose", small_path, "--spectrum", "no/such/place.csv")
    assert code == 2
    assert "cannot be written" in err


def test_a_material_in_the_beam_of_a_case(warmstack, small_path):
    code, out, _ = warmstack("materials", "Be", "--case", small_path)
    assert code == 0
    assert "attenuation length" in out
    assert "lost to the beam" in out
    alone = warmstack("materials", "Be")[1]
    assert "lost to the beam" not in alone
    assert "attenuation length" in alone
    data = json.loads(warmstack("materials", "helium", "--case", small_path, "--json")[1])
    assert data["helium"]["in_this_beam"][0]["thickness_um"] == pytest.approx(1e4)


def test_a_case_without_a_material_is_wrong_usage(warmstack, small_path):
    code, out, err = warmstack("materials", "--case", small_path)
    assert (code, out) == (2, "")
    assert "needs a material" in err


def test_a_spectrum_never_replaces_another_file(warmstack, small, small_path, tmp_path):
    (tmp_path / "own.toml").write_text(small.text, encoding="utf-8")
    code, out, err = warmstack("dose", "own.toml", "--spectrum", "own.toml")
    assert (code, out) == (2, "")
    assert "name another" in err
    assert (tmp_path / "own.toml").read_text(encoding="utf-8") == small.text
    for _ in range(2):  # but its own earlier one
        assert warmstack("dose", small_path, "--spectrum", "beam.csv")[0] == 0


@pytest.mark.parametrize("poles", ["10.5", '"2000 %"', '"20 pieces"'])
def test_poles_are_whole(warmstack, small_path, poles):
    settings = ("--set", f"ring.poles={poles}", "--set", "ring.period=140 mm")
    code, _, err = warmstack("dose", small_path, *settings)
    assert code == 3
    assert "ring.poles" in err
