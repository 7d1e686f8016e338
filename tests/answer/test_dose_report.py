"""The dose command's report: the beam's path, after a stop, filters, practice, file sources."""

from pathlib import Path

import numpy as np
import pytest

from thermo.answer.attenuated import absorbed_shares
from thermo.answer.dose_report import dose_report
from thermo.answer.exposure import dose_plan
from thermo.answer.filters import dose_ratio, extra_thickness, thicker
from thermo.answer.scene import describe
from thermo.beam import column_heat
from thermo.case import read_case
from thermo.errors import PhysicsError
from thermo.show.dose import dose_text
from thermo.show.spectrum import write_spectrum

CASES = Path(__file__).parents[2] / "cases"
BASE = "tall-mould"


def scene_of(name, **settings):
    given = {key.replace("__", "."): value for key, value in settings.items()}
    return describe(read_case(CASES / f"{name}.toml", given))


@pytest.fixture(scope="module")
def mould():
    return scene_of(BASE)


@pytest.mark.parametrize("name", [p.stem for p in sorted(CASES.glob("*.toml"))])
def test_every_case_is_planned_and_its_books_close(name):
    """Emitted = all that is absorbed + transmitted + escaped, for what each thing lets pass."""
    scene = scene_of(name)
    report = dose_report(scene)
    passes = report.beam.incident_W_per_cm
    for line in report.path:
        assert line.low_W_per_cm <= line.absorbed_W_per_cm * (1 + 1e-9)
        assert line.absorbed_W_per_cm <= line.high_W_per_cm * (1 + 1e-9)
        passes *= line.transmission
    through = column_heat(scene.beam, scene.column(False)).transmitted.sum() / 100
    assert passes == pytest.approx(through, rel=1e-9, abs=1e-12)
    taken = sum(line.absorbed_W_per_cm for line in report.path)
    escaped = report.beam.incident_W_per_cm - taken - passes
    assert -1e-9 < escaped < 0.08 * report.beam.incident_W_per_cm  # scattered and fluorescent
    text = dose_text(report)
    assert text.splitlines()[1].startswith("Plan")
    assert max(map(len, text.splitlines())) <= 100


def test_the_path_names_what_is_met_in_order(mould):
    names = [line.name for line in dose_report(mould).path]
    assert names[:4] == ["1 beryllium", "2 polyimide", "3 aluminium", "membrane"]
    assert names[4:] == ["gap", "resist", "glue", "silicon", "joint", "holder"]


def test_a_metre_of_helium_takes_next_to_nothing_and_50_mm_of_air_a_few_per_cent():
    """Behind the foils little soft light is left: 0.1 % and a few per cent are plausible."""
    foils = (
        '{material="beryllium",thickness="300 um"},{material="polyimide",thickness="50 um"},'
        '{material="aluminium",thickness="12 um"}'
    )
    gas = '{{gas="{}",length="{}",pressure="{}"}}'
    helium = scene_of(
        BASE, beam__filters=f"[{foils},{gas.format('helium', '1 m', '100 mbar')}]"
    ).beam
    air = scene_of(BASE, beam__filters=f"[{foils},{gas.format('air', '50 mm', '1013 mbar')}]").beam
    assert 1e-5 < 1 - helium.filters[-1].transmission < 2e-3
    assert 0.01 < 1 - air.filters[-1].transmission < 0.08
    assert air.filters[-1].absorbed > 10 * helium.filters[-1].absorbed


@pytest.mark.parametrize("name", ["tall-mould", "fibre-grooves"])
def test_the_built_in_spectrum_written_as_a_table_gives_the_same_answer(tmp_path, name):
    """0.1 % asked for, in every number of the plan and of the path."""
    scene = scene_of(name)
    write_spectrum(scene, tmp_path / "beam.csv")
    text = scene.case.text.replace(
        "[ring]", '[ring]\nspectrum = "beam.csv"\nspectrum_current = "{}"'.format("1000 mA")
    )
    scaled = (tmp_path / "beam.csv").read_text(encoding="utf-8").splitlines()
    head, rows = scaled[:4], [row.split(",") for row in scaled[4:]]
    factor = 1.0 / scene.case.ring.current.value
    more = [f"{E},{float(P) * factor:.10g}" for E, P in rows]
    (tmp_path / "beam.csv").write_text("\n".join(head + more), encoding="utf-8")
    (tmp_path / "case.toml").write_text(text, encoding="utf-8")
    own = describe(read_case(tmp_path / "case.toml"))
    a, b = dose_report(scene), dose_report(own)
    assert own.beam.on_mask == pytest.approx(scene.beam.on_mask, rel=1e-3)
    assert own.beam.fwhm == pytest.approx(scene.beam.fwhm, rel=1e-3)
    assert b.dose.time_constant_current_s == pytest.approx(
        a.dose.time_constant_current_s, rel=1e-3, abs=1.001 * scene.motion.pass_time
    )
    assert b.dose.charge_mA_min_per_cm == pytest.approx(a.dose.charge_mA_min_per_cm, rel=1e-3)
    assert b.dose.ratio == pytest.approx(a.dose.ratio, rel=1e-3)
    for mine, theirs in zip(b.path[1:], a.path[1:], strict=True):
        if theirs.absorbed_W_per_cm > 1e-3:
            assert mine.absorbed_W_per_cm == pytest.approx(theirs.absorbed_W_per_cm, rel=1e-3)
    assert b.beam.critical_energy_keV is None
    assert "table" in b.beam.source


def test_a_stage_log_of_the_trapezoid_gives_its_plan(tmp_path, mould):
    """0.5 %: rows every 20 ms; the log's speed and pass time are means."""
    motion = mould.motion
    T = motion.pass_time
    t = np.arange(0, 4 * T, 0.02)
    number, within = np.divmod(t, T)
    s_a, v, a = motion.turn, motion.speed, motion.acceleration
    start, end = a * within**2 / 2, motion.stroke - a * (T - within) ** 2 / 2
    even = s_a + v * (within - v / a)
    way = np.where(within < v / a, start, np.where(within > T - v / a, end, even))
    place = np.where(number % 2 == 0, way, motion.stroke - way)
    rows = [f"{x:.4f},{1e3 * y:.5f}" for x, y in zip(t, place, strict=True)]
    (tmp_path / "stage.csv").write_text("time_s,position_mm\n" + "\n".join(rows), encoding="utf-8")
    text = mould.case.text
    a, b = text.index("stroke ="), text.index("[chamber]")
    (tmp_path / "case.toml").write_text(
        text[:a] + 'table = "stage.csv"\n' + text[b:], encoding="utf-8"
    )
    logged = dose_report(describe(read_case(tmp_path / "case.toml")))
    plain = dose_report(mould)
    assert logged.dose.time_s == pytest.approx(plain.dose.time_s, rel=5e-3)
    assert logged.motion.duty == pytest.approx(plain.motion.duty, rel=5e-3)
    assert logged.motion.speed_mm_per_s == pytest.approx(plain.motion.speed_mm_per_s, rel=1e-3)


def test_what_was_done_before_a_stop_is_not_done_again(mould):
    """The doses of the whole stay the same; only what is left is timed."""
    whole, rest = dose_plan(mould), dose_plan(mould, done=100.0)
    assert rest.passes_constant_current == whole.passes_constant_current - 100
    assert rest.bottom == pytest.approx(whole.bottom, rel=6e-3)  # whole passes: 1/201
    assert rest.time < whole.time - 100 * mould.motion.pass_time * 0.99
    assert dose_plan(mould, done=1e4).passes == 0


def test_whole_passes_give_their_whole_dose():
    """At constant current the bottom has as many doses of a pass as there are passes."""
    plan = dose_plan(scene_of("nozzle-plate"))
    assert plan.bottom == pytest.approx(plan.passes * plan.dose_per_pass, rel=1e-9)
    assert plan.bottom > 1.02 * plan.wanted  # five passes: the last is not needed whole


def test_gas_in_the_gap_takes_what_its_pressure_says():
    """Ten times the pressure takes ten times as much of the beam; 1 %: it hardly fades."""
    low, high = (
        {p.name: p for p in dose_report(scene_of(BASE, chamber__gas="nitrogen", **one)).path}
        for one in ({"chamber__pressure": "100 mbar"}, {"chamber__pressure": "1000 mbar"})
    )
    taken = [found["gap"].absorbed_W_per_cm for found in (low, high)]
    assert taken[1] == pytest.approx(10 * taken[0], rel=1e-2)
    assert 1e-5 < taken[1] / high["membrane"].absorbed_W_per_cm < 1e-2


def test_a_material_keeps_less_than_it_takes_from_the_beam(mould):
    for share in absorbed_shares(mould.case.materials["beryllium"], mould):
        assert 0 < share.absorbed < share.attenuated < 1


def test_even_passes_end_on_the_side_of_the_start():
    for speed in ("5 mm/s", "5.03 mm/s", "5.06 mm/s", "5.1 mm/s"):
        plan = dose_plan(scene_of(BASE, scan__speed=speed, dose__even_passes="true"))
        assert plan.passes % 2 == 0
        assert plan.passes_constant_current % 2 == 0


def test_a_filter_made_as_thick_as_told_just_meets_the_ratio(mould):
    """1.02 times just enough, found to 0.2 %: the ratio lies up to 2 % below its limit."""
    material = mould.case.materials["aluminium"]
    extra = extra_thickness(mould, material, 3.5)
    found = dose_ratio(mould, thicker(mould.beam, material, extra))
    assert 3.5 * 0.98 < found <= 3.5
    assert extra_thickness(mould, material, 6.0) == 0.0


def test_filters_that_help_cost_time():
    report = dose_report(scene_of(BASE, limits__dose_ratio="3.5"))
    assert [line.material for line in report.filters] == ["beryllium", "polyimide", "aluminium"]
    for line in report.filters:
        assert line.meets
        assert line.ratio == pytest.approx(3.5, rel=0.03)
        assert line.time_s > report.dose.time_s
        assert line.thickness_um > line.before_um


def test_spare_foils_are_tried_as_they_are():
    report = dose_report(scene_of("nozzle-plate"))
    added = [line for line in report.filters if line.added]
    assert [line.thickness_um for line in added] == pytest.approx([100, 200, 50])
    assert added[0].ratio > added[1].ratio
    assert added[0].time_s < added[1].time_s


def test_practice_stands_beside_a_plan_that_names_no_limit(mould):
    remarks = {r.name: r for r in dose_report(mould).remarks}
    assert remarks["dose_bottom"].source == "common practice, from memory"
    assert remarks["dose_top"].source == "limit of the case"
    assert remarks["softening_data"].high == pytest.approx(2400)
    assert not remarks["softening_data"].met
    assert "dose_step" in {r.name for r in dose_report(scene_of("nozzle-plate")).remarks}


def test_photons_check_the_plan(mould):
    """Open resist 1.2 % of the Monte Carlo, as in the room of the beam; doses alike, 2 %."""
    block = dose_report(mould, photons=60_000).photons
    lines = {line.name: line for line in block.open}
    assert lines["resist"].model_W_per_cm == pytest.approx(
        lines["resist"].photons_W_per_cm, rel=0.012
    )
    plan = dose_plan(mould)
    assert block.resist_top_J_per_cm3 == pytest.approx(plan.top / 1e6, rel=0.02)
    assert block.resist_bottom_J_per_cm3 == pytest.approx(plan.bottom / 1e6, rel=0.03)
    assert block.under_absorber_error_J_per_cm3 > 0


def test_light_that_never_reaches_the_bottom_is_refused():
    """1 keV light behind 0.3 mm of beryllium: the window is told; the resist's bottom is dark."""
    with pytest.raises(PhysicsError, match=r"windows and filters leave|never reached"):
        dose_plan(scene_of(BASE, ring__energy="0.12 GeV"))


def test_a_spectrum_goes_back_into_a_case_through_its_header(tmp_path, mould):
    write_spectrum(mould, tmp_path / "beam.csv")
    lines = (tmp_path / "beam.csv").read_text(encoding="utf-8").splitlines()
    assert lines[3] == "energy_eV,power_W_per_eV_per_mm"
    table = np.array([line.split(",") for line in lines[4:]], float)
    total = np.trapezoid(table[:, 1], table[:, 0]) * 10  # W per cm
    assert 0.96 < total / (mould.beam.emitted / 100) < 1  # less what lies below 0.1 keV


@pytest.mark.parametrize("name", ["tall-mould", "nozzle-plate", "fibre-grooves"])
def test_a_stroke_as_long_as_told_is_as_even_as_promised(name):
    """Never worse than promised, and no more than ten times better: not wasteful."""
    report = dose_report(scene_of(name))
    for stroke, promise in (
        (report.motion.stroke_needed_mm, 0.1),
        (report.motion.stroke_for_1_percent_mm, 1.0),
    ):
        found = dose_report(scene_of(name, scan__stroke=f"{stroke:.4f} mm")).motion
        assert promise / 10 < found.unevenness_percent <= promise * 1.02


def test_light_scattered_under_fine_absorbers_counts_against_their_limit(mould):
    """An independent count of first scattering gave 1.4 % of the open dose for 100 um lines in
    this case; the upper estimate lies above it, within a factor of three."""
    plan = dose_plan(mould)
    mean = float(plan.dose.mean())
    assert 0.014 * mean < plan.scattered < 3 * 0.014 * mean
    remarks = {r.name: r for r in dose_report(mould).remarks}
    assert remarks["dose_under_absorber"].met
    assert not remarks["under_fine_absorber"].met


def test_a_wiggler_tells_how_much_less_the_side_of_the_field_gets():
    """Its poles are weaker off the middle, so the light is softer too: the bottom loses more than
    the emitted power, by (5) of the spectrum's room."""
    poles = {"ring__poles": "10", "ring__period": "200 mm"}
    scene = scene_of(BASE, **poles)
    side = {r.name: r for r in dose_report(scene).remarks}["dose_at_the_side"]
    angle = scene.stack.pattern.field.width / 2 / scene.case.beam.distance.value
    emitted = 100 * (1 - np.sqrt(1 - (angle / scene.beam.source.half_fan) ** 2))
    assert 1.3 * emitted < side.value < 4 * emitted
    assert not side.met


def test_more_than_the_whole_dose_is_told_as_overexposed(mould):
    text = dose_text(dose_report(mould, done=1000.0))
    assert "OVEREXPOSED" in text.splitlines()[1]
    assert "OVEREXPOSED" not in dose_text(dose_report(mould, done=100.0))


def test_a_filter_that_cannot_bring_the_ratio_down_is_told():
    text = dose_text(dose_report(scene_of(BASE, limits__dose_ratio="1.0001")))
    assert "no foil of the case" in text or "Filters, for" in text
