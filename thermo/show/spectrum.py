"""The emitted spectrum as a table that a case may name as its own."""

from pathlib import Path

import numpy as np

from thermo.answer.scene import Scene
from thermo.beam.tabulated import LOWEST_TABLED
from thermo.errors import WarmstackError

ROWS_PER_DECADE = 100
OPENING = "# emitted spectrum of"


class SpectrumError(WarmstackError):
    """A spectrum that cannot be written."""

    exit_code = 2


def write_spectrum(scene: Scene, file: Path) -> None:
    """Write power per photon energy and mm of width at the mask, before the first window."""
    beam, ring, distance = scene.beam, scene.case.ring, scene.case.beam.distance.value
    low, high = min(LOWEST_TABLED, beam.energy[0]), beam.energy[-1]
    energy = np.geomspace(low, high, 1 + int(ROWS_PER_DECADE * np.log10(high / low)))
    energy[[0, -1]] = low, high
    power = beam.source.power(energy) / distance / 1e6  # per eV and mm
    rows = [
        f"{OPENING} '{scene.case.title}': {beam.source.describe()}",
        f"# ring current {1e3 * ring.current.value:.6g} mA, {distance:.6g} m from the source, "
        "before the first window",
        "# light below 100 eV, 1 to 2 % of what the first window takes, is left out",
        "energy_eV,power_W_per_eV_per_mm",
        *(f"{1e3 * E:.8g},{P:.8g}" for E, P in zip(energy.tolist(), power.tolist(), strict=True)),
    ]
    if file.exists() and not _own(file):
        raise SpectrumError(f"{file} exists and is no spectrum written before; name another")
    try:
        file.write_text("\n".join(rows) + "\n", encoding="utf-8")
    except OSError as error:
        raise SpectrumError(f"{file} cannot be written: {error.strerror}; name another") from None


def _own(file: Path) -> bool:
    """Whether a file is a spectrum written before, which may be replaced."""
    try:
        with file.open(encoding="utf-8") as text:
            return text.read(len(OPENING)) == OPENING
    except (OSError, UnicodeDecodeError):
        return False
