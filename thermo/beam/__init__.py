"""X-rays and scan: spectrum, attenuation, heat per depth, motion, dose."""

from thermo.beam.absorption import ColumnHeat, Piece, behind, column_heat, dose_rate
from thermo.beam.bracket import Bracket, power_bracket
from thermo.beam.motion import STILL, Motion, MotionTable, Scan, mean_over_scan
from thermo.beam.photons import PhotonHeat, follow_photons
from thermo.beam.plan import (
    Exposure,
    charge_per_length,
    exposure,
    needed_stroke,
    passes_done,
    stripe_reach,
    time_with_decay,
    unevenness,
)
from thermo.beam.profile import FWHM_PER_SIGMA, Profile, profile_fwhm
from thermo.beam.spectrum import BendingMagnet, Source, Wiggler
from thermo.beam.stage_log import motion_from_table
from thermo.beam.tabulated import TabulatedSpectrum, density_from_flux, density_from_width
from thermo.beam.white import Stopped, WhiteBeam, white_beam

__all__ = [
    "FWHM_PER_SIGMA",
    "STILL",
    "BendingMagnet",
    "Bracket",
    "ColumnHeat",
    "Exposure",
    "Motion",
    "MotionTable",
    "PhotonHeat",
    "Piece",
    "Profile",
    "Scan",
    "Source",
    "Stopped",
    "TabulatedSpectrum",
    "WhiteBeam",
    "Wiggler",
    "behind",
    "charge_per_length",
    "column_heat",
    "density_from_flux",
    "density_from_width",
    "dose_rate",
    "exposure",
    "follow_photons",
    "mean_over_scan",
    "motion_from_table",
    "needed_stroke",
    "passes_done",
    "power_bracket",
    "profile_fwhm",
    "stripe_reach",
    "time_with_decay",
    "unevenness",
    "white_beam",
]
