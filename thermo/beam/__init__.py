"""X-rays and scan: spectrum, attenuation, heat per depth, motion, dose."""

from thermo.beam.absorption import ColumnHeat, Piece, column_heat, dose_rate
from thermo.beam.motion import STILL, Motion, mean_over_scan
from thermo.beam.plan import Exposure, exposure, needed_stroke, time_with_decay, unevenness
from thermo.beam.spectrum import BendingMagnet
from thermo.beam.white import Stopped, WhiteBeam, profile_fwhm, white_beam

__all__ = [
    "STILL",
    "BendingMagnet",
    "ColumnHeat",
    "Exposure",
    "Motion",
    "Piece",
    "Stopped",
    "WhiteBeam",
    "column_heat",
    "dose_rate",
    "exposure",
    "mean_over_scan",
    "needed_stroke",
    "profile_fwhm",
    "time_with_decay",
    "unevenness",
    "white_beam",
]
