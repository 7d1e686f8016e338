"""The answer as a table that is read in ten seconds."""

from thermo.answer import Answer
from thermo.answer.placement_schema import Stress
from thermo.answer.schema import LimitLine
from thermo.show.photons import photon_rows
from thermo.show.words import dose_value, duration, growth, length, wrapped
from thermo.units import three_digits

WORDS = {"go": "GO", "change": "CHANGE THIS FIRST", "no": "NO", "cannot_tell": "CANNOT TELL"}
MET = {True: "met", False: "BROKEN", None: "open"}


def answer_text(answer: Answer) -> str:
    """The whole table, plain text, at most 100 columns wide."""
    parts = (
        _head(answer),
        _power(answer),
        _dose(answer),
        [] if answer.photons is None else photon_rows(answer.photons),
        _temperatures(answer),
        _in_time(answer),
        _sensors(answer),
        _limits(answer),
        _placement(answer),
        _stress(answer),
        _checks(answer),
        _verdict(answer),
    )
    return "\n\n".join("\n".join(wrapped(part)) for part in parts if part) + "\n"


def _head(a: Answer) -> list[str]:
    b = a.beam
    energy = f"Ec {b.critical_energy_keV:.3g} keV" if b.critical_energy_keV else b.source
    return [
        a.case.title,
        f"  beam      {energy}, {b.incident_W_per_cm:.3g} W/cm emitted, "
        f"{b.on_mask_W_per_cm:.3g} W/cm on the mask, stripe {b.stripe_fwhm_mm:.2g} mm high (FWHM)",
        f"  regime    {a.regime.replace('_', ' ')}: {a.regime_reason}",
    ]


def _power(a: Answer) -> list[str]:
    column = ", ".join(f"{k} {v:.2g}" for k, v in a.absorbed_W_per_cm.items() if v >= 5e-3)
    heat = ", ".join(f"{k} {v:.2g}" for k, v in a.heat_W.items() if v >= 5e-3)
    out = ", ".join(f"{k} {v:.2g}" for k, v in a.heat_out_W.items())
    return [
        f"Power     open column, W/cm:  {column}",
        f"          heat by part, W:    {heat}",
        f"          leaves by, settled: {out}",
    ]


def _dose(a: Answer) -> list[str]:
    d = a.dose
    passes = "" if d.passes is None else f", {d.passes} passes"
    stroke = "" if d.stroke_needed_mm is None else f", stroke needed {d.stroke_needed_mm:.1f} mm"
    return [
        f"Dose      {duration(d.time_s)}{passes}, {d.charge_mA_min_per_cm:.4g} mA min per cm of "
        f"scan{stroke}",
        f"          resist top {dose_value(d.resist_top_J_per_cm3)}, bottom "
        f"{dose_value(d.resist_bottom_J_per_cm3)}, ratio {d.ratio:.2f}, under absorber "
        f"{dose_value(d.under_absorber_J_per_cm3)}",
    ]


def _temperatures(a: Answer) -> list[str]:
    what = "over the whole exposure" if a.course.from_cold else "settled"
    rows = [f"Temperature, degC, {what}, of each part at the place where its peak is highest"]
    rows.append(f"{'':20}{'mean':>7}{'printing':>10}{'peak':>7}   x, y in mm")
    for part, t in a.temperature.items():
        x, y, _ = t.where_mm
        rows.append(
            f"  {part:<18}{t.mean_C:7.1f}{t.dose_weighted_C:10.1f}{t.peak_C:7.1f}   "
            f"{x:+.0f}, {y:+.0f}"
        )
    return rows


def _in_time(a: Answer) -> list[str]:
    """The exposure in time: settling, worst moment, cool-down, speed."""
    c, rows = a.course, []
    if a.settle_s is not None and a.dose_share_before_settling is not None:
        first = f"In time   settles to 2 % in {duration(a.settle_s)}"
        if c.dummy_passes is not None:
            first += (
                f", {c.dummy_passes} passes and {a.dose_share_before_settling:.2g} of the dose; as "
                "many given beside the print would keep the warm-up out of it"
            )
        rows.append(first)
    rows.append(
        f"          hottest moment: resist {c.resist_worst_C:.1f} degC after "
        f"{duration(c.resist_worst_s)}, mask {c.mask_worst_C:.1f} degC after "
        f"{duration(c.mask_worst_s)}; ring at {c.current_at_end_mA:.0f} mA at the end"
    )
    cold = f", is within 1 K of cold after {duration(c.cool_s)}" if c.cool_s > 0 else ""
    rows.append(
        f"          when the shutter closes that place of the resist is at {c.cool_from_C:.1f} "
        f"degC; its rise halves in {duration(c.cool_half_s)}{cold}"
    )
    r = a.resist_in_time
    if r is not None and r.above_limit:
        rows.append(
            f"          the hottest resist is above its limit {r.above_limit:.0%} of the time"
        )
    if a.speed is not None:
        rows.append(f"          speed: {a.speed.text}")
    return rows


def _sensors(a: Answer) -> list[str]:
    if not a.sensors:
        return []
    rows = [f"{'Sensors, degC':<20}{'cold':>7}{'mean':>8}{'highest':>9}   alarm"]
    for name, s in a.sensors.items():
        alarm = f"above {s.high_C:.1f}"
        if s.low_C is not None:
            alarm = f"below {s.low_C:.1f} or {alarm}, once settled ({duration(s.settled_s)})"
        rows.append(f"  {name:<18}{s.cold_C:7.1f}{s.mean_C:8.1f}{s.peak_C:9.1f}   {alarm}")
        rows.append(f"      on {s.part}: {s.tells}")
    return rows


def _limits(a: Answer) -> list[str]:
    if not a.limits:
        return []
    rows = [f"{'Limits':<22}{'value':>9}{'band':>19}{'limit':>9}"]
    for line in a.limits:
        rows.append(_limit(line))
        if line.note:
            rows.append(f"      {line.note}")
    return rows


def _limit(line: LimitLine) -> str:
    name = f"{line.name.replace('_', ' ')}"
    if line.value is None:
        return f"  {name:<20}{'unknown':>9}{'':19}{line.limit:9.4g} {line.unit:<7}open"
    assert line.low is not None  # both are known where the value is
    assert line.high is not None
    band = f"{three_digits(line.low)} .. {three_digits(line.high)}"
    return f"  {name:<20}{line.value:9.4g}{band:>19}{line.limit:9.4g} {line.unit:<7}{MET[line.met]}"


def _placement(a: Answer) -> list[str]:
    p = a.placement
    rows = [
        "Placement as printed over the exposure, largest over the field"
        + (f"; NOT TO BE BELIEVED: {p.reason}" if p.reason else ""),
        f"  {'resist':<8}{'raw':>9}{'rotation':>13}{'scale':>12}{'x, y, ppm':>16}"
        f"{'after scale':>13}{'blur':>10}{'up/down':>10}",
    ]
    for depth, d in (("top", p.top), ("middle", p.middle), ("base", p.base)):
        both, turn = f"{d.scale_x_ppm:+.3g}, {d.scale_y_ppm:+.3g}", f"{d.rotation_urad:+.2f} urad"
        rows.append(
            f"  {depth:<8}{_nm(d.raw_max_nm):>9}{turn:>13}"
            f"{d.magnification_ppm:>+8.3g} ppm{both:>16}{_nm(d.residual_max_nm):>13}"
            f"{_nm(d.blur_max_nm):>10}{_nm(d.up_down_split_nm):>10}"
        )
    offset, alone = p.uniform_offset, p.sample["top"]
    rows += [
        f"  a mask prints true to scale if written {abs(p.write_mask_ppm):.3g} ppm "
        f"{'larger' if p.write_mask_ppm >= 0 else 'smaller'} than the design; the beam's "
        f"divergence is not in these numbers: along x alone it prints {p.geometric_ppm:.2g} (top) "
        f"to {p.geometric_base_ppm:.3g} ppm (base) larger",
        f"  sample alone {growth(alone.magnification_ppm)}, moves up to "
        f"{_nm(alone.raw_max_nm)}; cold offset alpha dT: mask {offset.mask_ppm:+.3g} ppm, sample "
        f"{offset.sample_ppm:+.3g} ppm",
        f"  sidewalls lean by up to {p.sidewall_tilt_max_mrad:.2g} mrad, the beam by "
        f"{p.geometric_tilt_max_mrad:.2g} mrad; gap changes by {p.gap_change_um:+.2g} um, "
        f"least {a.checks.gap_left_um:.3g} um",
    ]
    return rows


def _stress(a: Answer) -> list[str]:
    """Stress against strength, MPa."""
    s = a.stress

    def used(share: float | None) -> str:
        return "strength not known" if share is None else f"{share:.2g} of the least strength"

    metal = "none"
    if s.absorber_lowest_MPa is not None and s.absorber_highest_MPa is not None:
        metal = f"{s.absorber_lowest_MPa:.3g} to {s.absorber_highest_MPa:.3g}"
    return [
        f"Stress    MPa: membrane at its hottest {s.membrane_lowest_MPa:.3g} to "
        f"{s.membrane_highest_MPa:.3g} ({used(s.membrane_share)}), initial tension "
        f"{s.membrane_initial_MPa:.3g}",
        f"          absorber metal, held flat {metal} ({used(s.absorber_share)})",
        *_resist_stress(s, used(s.resist_share)),
    ]


def _resist_stress(s: Stress, share: str) -> list[str]:
    film, shear, peel = s.resist_film_MPa, s.resist_edge_shear_MPa, s.resist_edge_peel_MPa
    if film is None or shear is None or peel is None:
        return []
    return [
        f"          resist film {film:.2g}, at its edge shear {shear:.2g}, peel {peel:+.2g} (above "
        f"0 lifts the edge: compare with the adhesion; {share})"
    ]


def _nm(nm: float | None) -> str:
    return "" if nm is None else length(1e-9 * nm) if nm >= 0.05 else "0"


def _checks(a: Answer) -> list[str]:
    c, m = a.checks, a.mesh
    rows = [
        f"Checks    heat balance {c.heat_balance:.0e}, power balance {c.power_balance:.0e}, "
        f"residual {c.residual:.0e}",
        f"          {m.unknowns} unknowns, last heat solve {m.solve.iterations} iterations, "
        f"{m.solve.seconds:.2g} s, {m.solve.bytes / 1e6:.0f} MB; whole estimate "
        f"{sum(a.seconds.values()):.0f} s",
    ]
    if a.hand_check is not None:
        h = a.hand_check
        rows.append(
            f"          by hand: resist {h.hand_rise_K:.3g} K over the water (scan mean, hottest"
            f" column, all its heat straight down); finite elements {h.fe_rise_K:.3g} K, lower by"
            " what spreads and leaves elsewhere"
        )
    if a.cycle is not None:
        y = a.cycle
        rows.append(
            f"          limit cycle: {y.harmonics} harmonics, at most {y.most_iterations} "
            f"iterations each, right to {y.error_K:.2g} K, to ten times that at the turns"
        )
        if y.march_K is not None:
            rows.append(
                f"          limit cycle against marching in time (coarse mesh): {y.march_K:.2g} K "
                "at most, highest and lowest of every node"
            )
    if m.difference_on_refinement:
        diff = ", ".join(_changed(k, v) for k, v in m.difference_on_refinement.items())
        bands = " (counted in the bands)" if a.limits else ""
        rows.append(f"          against a mesh of twice the spacing or more{bands}: {diff}")
    return rows


def _changed(key: str, value: float) -> str:
    name, unit = key.rsplit("_", 1)
    return f"{name.replace('_', ' ')} {value:.2g} {unit}"


def verdict_line(a: Answer) -> str:
    """The word, and what limits."""
    limited = f" (limited by: {a.verdict.limited_by})" if a.verdict.limited_by else ""
    return f"{WORDS[a.verdict.word]}{limited}"


def _verdict(a: Answer) -> list[str]:
    v = a.verdict
    rows = [f"Verdict   {verdict_line(a)}"]
    rows += [f"  - {reason}" for reason in v.reasons]
    if a.highest_current_mA is not None:
        rows.append(
            f"  highest ring current that keeps typical temperatures: {a.highest_current_mA:.3g} mA"
        )
    if v.advice:
        rows += ["  to change or measure:", *(f"  > {advice}" for advice in v.advice)]
    if v.tried:
        rows += ["  not enough alone:", *(f"  > {tried}" for tried in v.tried)]
    if a.assumed:
        count = f"{len(a.assumed)} value" + ("s" if len(a.assumed) > 1 else "")
        rows.append(
            f"  {count} from the tables, with range and source: warmstack check, answer.json"
        )
    return rows + [f"  {caution}" for caution in a.cautions]
