"""The Monte Carlo check of absorbed power and dose as text."""

from thermo.answer.schema import PhotonBlock, PhotonLine
from thermo.show.words import SEEN, dose_value, small


def photon_rows(p: PhotonBlock) -> list[str]:
    """The Monte Carlo check beside the default model, layer by layer."""
    rows = [
        f"Photons   {p.photons} followed (seed {p.seed}); W/cm, one standard error",
        f"  {'':26}{'model':>9}{'band':>20}{'Monte Carlo':>22}",
    ]
    for title, lines in (("mask open", p.open), ("under absorber", p.covered)):
        rows.append(f"  {title}")
        rows += [_photon(line) for line in lines if line.high_W_per_cm >= SEEN]
    rows.append(
        f"  doses by Monte Carlo: top {dose_value(p.resist_top_J_per_cm3)}, bottom "
        f"{dose_value(p.resist_bottom_J_per_cm3)}, ratio {p.ratio:.3g}, under absorber "
        f"{dose_value(p.under_absorber_J_per_cm3)} (+- "
        f"{dose_value(p.under_absorber_error_J_per_cm3)})"
    )
    return rows


def _photon(p: PhotonLine) -> str:
    band = f"{small(p.low_W_per_cm)} .. {small(p.high_W_per_cm)}"
    value = f"{small(p.photons_W_per_cm)} +- {p.error_W_per_cm:.1g}"
    return f"    {p.name:<24}{small(p.model_W_per_cm):>9}{band:>20}{value:>22}"
