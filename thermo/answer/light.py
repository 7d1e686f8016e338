"""From the case to what lights the stack: source, windows and gas on the way, stripe, motion."""

from collections.abc import Sequence

from thermo.beam import (
    BendingMagnet,
    Motion,
    Profile,
    Scan,
    Source,
    TabulatedSpectrum,
    WhiteBeam,
    Wiggler,
    density_from_flux,
    density_from_width,
    motion_from_table,
    white_beam,
)
from thermo.case import Case, Filter
from thermo.errors import PhysicsError
from thermo.materials import Material, gas_at
from thermo.units import Quantity

Foil = tuple[str, Material, float]  # name, material, thickness or length in m


def beam_of(case: Case, behind: Sequence[Material], x: float = 0.0) -> WhiteBeam:
    """White beam at the mask of a case.

    behind : materials it meets from the mask on
    x : horizontal place at the mask, m; a wiggler's beam is weaker and softer off its middle
    """
    source = source_of(case)
    if isinstance(source, Wiggler) and x:
        source = source.seen_from(abs(x) / case.beam.distance.value)
    return white_beam(
        source, case.beam.distance.value, foils_of(case), behind, profile=profile_of(case)
    )


def source_of(case: Case) -> Source:
    """Bending magnet, wiggler or tabulated spectrum, at the ring current of the case."""
    ring = case.ring
    magnet = None
    if ring.energy is not None and ring.field is not None:
        magnet = BendingMagnet(ring.energy.value, ring.field.value, ring.current.value)
    if ring.spectrum is not None:
        return _tabulated(case, magnet)
    assert magnet is not None
    if ring.poles is None or ring.period is None:
        return magnet
    wiggler = Wiggler(magnet, ring.poles.value, ring.period.value)
    wiggler.seen_from(case.beam.width.value / 2 / case.beam.distance.value)  # inside the fan?
    return wiggler


def _tabulated(case: Case, magnet: BendingMagnet | None) -> TabulatedSpectrum:
    table = case.tables["ring.spectrum"]
    energy, power = table.columns.values()
    if "flux" in list(table.columns)[1]:
        density = density_from_flux(power)
    else:
        density = density_from_width(power, case.beam.distance.value)
    assert case.ring.spectrum_current is not None
    try:
        found = TabulatedSpectrum(energy / 1e3, density, case.ring.spectrum_current.value, magnet)
    except PhysicsError as error:
        raise PhysicsError(f"{table.path}: {error}") from None
    return found.at_current(case.ring.current.value)


def foils_of(case: Case) -> list[Foil]:
    """Windows, filters and gas paths of a case, in beam order."""
    found: list[Foil] = []
    for part in case.beam.filters:
        if isinstance(part, Filter):
            found.append((part.material, case.materials[part.material], part.thickness.value))
        else:
            gas = gas_at(
                case.materials[part.gas], part.pressure.value, case.chamber.temperature.value
            )
            found.append((part.gas, gas, part.length.value))
    return found


def profile_of(case: Case) -> Profile:
    """What the case says of the stripe's height."""
    beam = case.beam
    fwhm = None if beam.fwhm is None else beam.fwhm.value
    if beam.angle_fwhm is not None:
        fwhm = beam.angle_fwhm.value * beam.distance.value
    return Profile(fwhm, _or_zero(beam.source_height), _or_zero(beam.source_angle))


def _or_zero(given: Quantity | None) -> float:
    return 0.0 if given is None else given.value


def motion_of(case: Case) -> Scan | None:
    """How mask and sample move; None where nothing scans."""
    scan = case.scan
    if scan is None:
        return None
    if scan.table is not None:
        table = case.tables["scan.table"]
        centre = None if scan.centre is None else scan.centre.value
        try:
            return motion_from_table(
                table.columns["time_s"], 1e-3 * table.columns["position_mm"], centre
            )
        except PhysicsError as error:
            raise PhysicsError(f"{table.path}: {error}") from None
    assert scan.stroke is not None
    assert scan.speed is not None
    assert scan.acceleration is not None
    return Motion(scan.stroke.value, scan.speed.value, scan.acceleration.value)
