"""Heat: gas gap, films, cell properties, steady state, limit cycle, warm-up and cool-down."""

from thermo.heat.adjoint import Influence, Target, influences, source
from thermo.heat.cycle import Cycle, Passing, dose_weighted, limit_cycle
from thermo.heat.decay import Decay, decay
from thermo.heat.fields import Fields, Gas, conduction_fields
from thermo.heat.films import Film, face_h, open_faces
from thermo.heat.gap import gap_conductance
from thermo.heat.march import March, Periodic, march, periodic
from thermo.heat.moving_stripe import Column, StripeCycle, stripe_pairs
from thermo.heat.parity import Halves, halves
from thermo.heat.peaks import Extremes, extremes
from thermo.heat.steady import HeatSystem, Steady, heat_system, steady
from thermo.heat.warm_up import WarmUp, exposed, held

__all__ = [
    "Column",
    "Cycle",
    "Decay",
    "Extremes",
    "Fields",
    "Film",
    "Gas",
    "Halves",
    "HeatSystem",
    "Influence",
    "March",
    "Passing",
    "Periodic",
    "Steady",
    "StripeCycle",
    "Target",
    "WarmUp",
    "conduction_fields",
    "decay",
    "dose_weighted",
    "exposed",
    "extremes",
    "face_h",
    "gap_conductance",
    "halves",
    "heat_system",
    "held",
    "influences",
    "limit_cycle",
    "march",
    "open_faces",
    "periodic",
    "source",
    "steady",
    "stripe_pairs",
]
