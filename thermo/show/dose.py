"""The exposure plan as text, read in ten seconds."""

from thermo.answer.dose_schema import DoseReport, FilterLine, MotionBlock, Remark
from thermo.answer.schema import PathLine
from thermo.show.photons import photon_rows
from thermo.show.words import SEEN, dose_value, duration, length, small, wrapped

BAR = 40  # columns of the longest bar
OVER = 1.2  # times the wanted dose: more than a last whole pass makes
LIT = 0.999  # share that passes what is not worth a row


def dose_text(report: DoseReport) -> str:
    """Time, passes and charge; doses and what is usual; scan; filters; path; dose by depth."""
    parts = [
        _plan(report),
        _scan(report.motion),
        _remarks(report),
        _filters(report),
        _path(report),
        [] if report.photons is None else photon_rows(report.photons),
        _depth(report),
        [f"  {caution}" for caution in report.cautions],
    ]
    body = "\n\n".join("\n".join(wrapped(part)) for part in parts if part)
    return f"{report.case.title}\n{body}\n"


def _plan(r: DoseReport) -> list[str]:
    d = r.dose
    left = " still to go" if r.done_passes else ""
    passes = "" if d.passes is None else f", {d.passes} pass{'' if d.passes == 1 else 'es'}"
    rows = [f"Plan      {duration(d.time_s)}{passes}{left}"]
    if (d.time_s, d.passes) != (d.time_constant_current_s, d.passes_constant_current):
        steady = (
            "" if d.passes_constant_current is None else f", {d.passes_constant_current} passes"
        )
        rows[0] += (
            f" with the ring's lifetime ({duration(d.time_constant_current_s)}{steady} at constant"
            " current)"
        )
    if r.done_passes:
        rows.append(
            f"          {r.done_passes:.5g} passes' worth at this ring current are done (passes "
            "given at a lower current are worth less; a logged charge counts exactly)"
        )
        if d.resist_bottom_J_per_cm3 > OVER * r.wanted_J_per_cm3:
            over = d.resist_bottom_J_per_cm3 / r.wanted_J_per_cm3
            rows[0] = f"Plan      OVEREXPOSED already: {over:.3g} times the wanted dose is given"
    rows.append(f"          {d.charge_mA_min_per_cm:.4g} mA min per cm of scan for the whole dose")
    if d.per_pass_J_per_cm3 is not None:
        rows[-1] += (
            f"; {dose_value(d.per_pass_J_per_cm3)} a pass at the bottom, dose step "
            f"{small(r.step_percent or 0)} %"
        )
    rows.append(
        f"Dose      top {dose_value(d.resist_top_J_per_cm3)}, bottom "
        f"{dose_value(d.resist_bottom_J_per_cm3)} at least (wanted "
        f"{dose_value(r.wanted_J_per_cm3)}), ratio {d.ratio:.3g}"
    )
    rows.append(
        f"          under absorber {dose_value(d.under_absorber_J_per_cm3)} at the lit face, "
        f"{dose_value(d.under_absorber_back_J_per_cm3)} at the back, in the middle of a "
        "wide absorber; "
        "in fine patterns open parts beside may scatter up to "
        f"{dose_value(d.scattered_under_J_per_cm3)} more into it"
    )
    return rows


def _scan(m: MotionBlock | None) -> list[str]:
    if m is None:
        return ["Scan      held beam: the doses are those at the stripe's middle"]
    limit = m.unevenness_limit_percent
    uneven = (
        m.stroke_mm < m.stroke_for_1_percent_mm if limit is None else m.unevenness_percent > limit
    )
    short = "  TOO SHORT" if uneven else ""
    ends, middle = m.time_s_per_mm[0][1], m.time_s_per_mm[len(m.time_s_per_mm) // 2][1]
    return [
        f"Scan      stroke {m.stroke_mm:.4g} mm; an even dose to 0.1 % needs "
        f"{m.stroke_needed_mm:.4g} mm, to 1 % {m.stroke_for_1_percent_mm:.4g} mm{short}",
        f"          predicted unevenness {m.unevenness_percent:.2g} % peak to valley in the field",
        f"          {m.speed_mm_per_s:.4g} mm/s, {m.pass_time_s:.3g} s a pass, turning over "
        f"{m.turn_mm:.2g} mm; {100 * m.duty:.0f} % of the time over the field",
        f"          time spent {1e3 * middle:.3g} ms/mm in the middle, {1e3 * ends:.3g} ms/mm at "
        "the ends of the stroke",
    ]


def _remarks(report: DoseReport) -> list[str]:
    rows = [_remark(r) for r in report.remarks]
    if report.note:
        rows.append(f"  {report.note}")
    return ["Against the limits and what is usual", *rows] if rows else []


def _remark(r: Remark) -> str:
    dose = r.unit == "J/cm3"
    digits = 5 if r.unit == "min" else 4
    value, low, high = (
        "" if v is None else dose_value(v) if dose else f"{v:.{digits}g}"
        for v in (r.value, r.low, r.high)
    )
    allowed = f"{low} to {high}" if low else f"up to {high}"
    if r.unit in ("%", "min"):
        value, allowed = f"{value} {r.unit}", f"{allowed} {r.unit}"
    if r.name == "softening_data":
        allowed = f"no data above {high}"
    word = "ok" if r.met else "WARNING"
    return f"  {r.name.replace('_', ' '):<20}{value:>12}   {allowed}: {word} ({r.source})"


def _filters(r: DoseReport) -> list[str]:
    if r.ratio_limit is None or r.done_passes:
        return []
    if not r.filters:
        none = "Filters   no foil of the case brings the dose ratio down to"
        return [f"{none} {r.ratio_limit:g}"] if r.dose.ratio > r.ratio_limit else []
    head = f"Filters, for a dose ratio of {r.ratio_limit:g} (now {r.dose.ratio:.3g}, "
    rows = [f"{head}{duration(r.dose.time_s)})"]
    return rows + [_filter(line) for line in r.filters]


def _filter(line: FilterLine) -> str:
    change = (
        f"{line.material} {length(1e-6 * line.before_um)} -> {length(1e-6 * line.thickness_um)}"
    )
    if line.added:
        change = f"add {line.material} {length(1e-6 * line.thickness_um)}"
    if line.ratio is None or line.time_s is None or line.resist_top_J_per_cm3 is None:
        return f"  {change:<36} the dose is then never reached with the ring's lifetime"
    return (
        f"  {change:<36} ratio {line.ratio:.3g}, top {dose_value(line.resist_top_J_per_cm3)}, "
        f"{duration(line.time_s)} ({line.beam_time_factor:.2f} times the charge)"
        f"{'' if line.meets else ': not enough'}"
    )


def _path(r: DoseReport) -> list[str]:
    b = r.beam
    energy = f"Ec {b.critical_energy_keV:.3g} keV, " if b.critical_energy_keV is not None else ""
    rows = [
        f"Beam      {b.source}; {energy}{b.incident_W_per_cm:.3g} W/cm emitted, "
        f"{b.on_mask_W_per_cm:.3g} W/cm on the mask, stripe {b.stripe_fwhm_mm:.2g} mm high (FWHM)",
        f"  {'met in order, mask open':<26}{'W/cm':>9}{'band':>20}{'W':>9}{'passes':>9}",
    ]
    seen = [line for line in r.path if line.high_W_per_cm >= SEEN or line.transmission < LIT]
    return rows + [_met(line) for line in seen]


def _met(p: PathLine) -> str:
    band = f"{small(p.low_W_per_cm)} .. {small(p.high_W_per_cm)}"
    name = f"{p.name} {length(1e-3 * p.thickness_mm)}"
    return (
        f"  {name:<26}{small(p.absorbed_W_per_cm):>9}{band:>20}{small(p.heat_W):>9}"
        f"{_percent(p.transmission):>9}"
    )


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %" if share > 1e-4 else "0 %"


def _depth(r: DoseReport) -> list[str]:
    top = r.depth[0].dose_J_per_cm3
    rows = ["  depth um     dose"]
    for line in r.depth:
        bar = "#" * max(1, round(BAR * line.dose_J_per_cm3 / top))
        rows.append(f"  {line.depth_um:8.0f}   {dose_value(line.dose_J_per_cm3):>12}  {bar}")
    return rows
