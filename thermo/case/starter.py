"""A commented case to start from. Its numbers are invented."""

import json

__all__ = ["starter_text"]


def starter_text(title: str) -> str:
    """Text of an invented case that can be read and estimated as it stands.

    title : one line; characters that cannot be shown become spaces, the rest is cut at 120
    """
    line = "".join(c if c.isprintable() else " " for c in title)[:120].strip()
    return _STARTER.replace("@TITLE@", json.dumps(line or "Untitled", ensure_ascii=False), 1)


_STARTER = """\
# An exposure in deep X-ray lithography: resist temperature, placement, dose.
# INVENTED numbers to start from: replace every one by your own.
#
# A quantity is text with its unit. Where you are unsure, add a range:
#   "60 um (45 .. 80)"
# Lines that begin with '# ' hold inputs that may be left out. Their usual
# values are then listed in the answer, with range and source.

title = @TITLE@

[ring]                            # storage ring and source
energy = "1.9 GeV"                # electron energy
current = "150 mA"                # beam current at the start
field = "1.3 T"                   # field of the bending magnet
lifetime = "12 h"                 # of the beam; leave out for constant current
#   a wiggler instead:  poles = 20 and period = "140 mm", field = that of its poles
#   a spectrum of your own instead: spectrum = "beam.csv", spectrum_current = "150 mA";
#   'warmstack dose CASE --spectrum beam.csv' shows how such a file looks

[beam]                            # white beam at the mask
distance = "13 m"                 # from source to mask
width = "60 mm"                   # lit width
filters = [                       # in beam order; the first is the window
    { material = "beryllium", thickness = "250 um" },
    { material = "polyimide", thickness = "25 um" },
#   { gas = "helium", length = "1 m", pressure = "100 mbar" },
]
# spare_filters = [{ material = "aluminium-foil", thickness = "25 um" }]   # at hand
# source_height = "60 um"         # of the electron beam, standard deviation
# source_angle = "10 urad"        # its divergence
#   a measured stripe instead:  fwhm = "4 mm", or angle_fwhm = "0.3 mrad"

[scan]                            # leave the table out if nothing moves
stroke = "70 mm"                  # between the turning points
speed = "20 mm/s"
acceleration = "0.5 m/s2"         # at the turning points
#   the stage's log instead:  table = "stage.csv", columns time_s,position_mm, position
#   upwards; centre = "12 mm" where the beam meets the middle of the field

[chamber]                         # gas round mask and sample
gas = "helium"
pressure = "100 mbar"
temperature = "22 degC"
# outer_film = "6 W/(m2 K)"       # heat loss of the outer faces
# accommodation_mask = "0.45"     # of the gas on the mask's faces
# accommodation_sample = "0.6"    # of the gas on the resist

[mask]
# measured_at = "20 degC"         # temperature at which the mask was measured
# scale = "40 ppm"                # at which it was written; leave out: like the design

[mask.membrane]
material = "graphite"
thickness = "150 um"
width = "56 mm"                   # clear opening, along x
height = "56 mm"                  # clear opening, along the scan
#   a round opening, sample or holder:  diameter = "75 mm" instead of both
# tension = "5 MPa"               # initial tension of the membrane

[mask.absorber]                   # metal on the resist side
material = "gold"
thickness = "15 um"
width = "50 mm"                   # pattern field, along x
height = "50 mm"                  # pattern field, along the scan
coverage = "0.45 (0.35 .. 0.55)"  # share under metal; or rows, the top row first:
# coverage = [[0.4, 0.5], [0.4, 0.6]]
surround = "bare"                 # or "covered": membrane outside the field
# kind = "islands"                # or "connected": does the metal conduct sideways

[mask.frame]
material = "aluminium"
thickness = "8 mm"
border = "12 mm"                  # width all round the clear opening
water = "20 degC"                 # temperature of the frame's cooling
held = "clamped"                  # or "free", "screwed", "taped", "glued", "springs"
mount = "aluminium"               # what the frame is held to: it grows with the water
#   screwed, taped, springs:  patch = "8 mm", the side of each place that holds
#   taped, glued:  joint = { material = "mounting-wax", thickness = "50 um" }
#   springs, magnets:  stiffness = "2e6 N/m", that of each of the three
# contact = "1e-4 m2 K/W"         # to the membrane, bonded or clamped: a clamped
#                                   one counts as bonded until it slips
# cooling = "800 W/(m2 K)"        # on the frame's face; or "none"

[gap]
width = "120 um"                  # proximity gap, absorber to resist
# emissivity = "0.4"              # of both faces together: counts below about 1 mbar

[sample]
width = "64 mm"
height = "64 mm"
held = "free"                     # or "glued" (waxed too), "taped", "clamped", "screwed",
#   "springs";  taped, screwed, springs:  patch = "10 mm"
#   springs, magnets:  stiffness = "2e6 N/m", that of each of the three
# measured_at = "20 degC"         # temperature at which the sample is measured
layers = [                        # in beam order; the first is the resist
    { material = "PMMA", thickness = "500 um" },
    { material = "epoxy", thickness = "25 um", name = "glue" },
#   { material = "epoxy", thickness = "25 um", free_strain = "-0.4 %" },   # has shrunk
    { material = "copper", thickness = "4 mm" },
]

[sample.joint]                    # between the last layer and the holder
resistance = "3e-4 m2 K/W (1e-4 .. 4e-3)"  # contact: the least known input, measure it
# material = "tape"               # a layer of tape, grease or glue,
# thickness = "100 um"            # always together with its thickness

[sample.holder]
material = "aluminium"
thickness = "12 mm"
width = "80 mm"
height = "80 mm"
film = "3000 W/(m2 K)"            # of the cooling water
water = "20 degC"

# [sensors]                       # thermometers, if there are any
# edge = { part = "copper", x = "30 mm", y = "0 mm" }

[dose]
bottom = "3.6 kJ/cm3"             # to reach at the bottom of the resist
# even_passes = true              # end on the side of the start

[limits]                          # only what is named is judged
resist = "55 degC"                # or "from dose" (PMMA)
mask = "65 degC"
placement = "1 um"                # after shift and rotation
dose_top = "20 kJ/cm3"
dose_ratio = "5"                  # top to bottom
dose_under_absorber = "0.1 kJ/cm3"
# dose_unevenness = "2 %"         # along the scan, peak to valley; usual: 1 %
# time = "3 h"                    # of the whole exposure

#   a plan mesh of your own, quads in metres:  [mesh] with plan = "plan.vtu"; every
#   cell of it is cut in four for the run

# [materials.my-resist]           # a material of your own
# like = "PMMA"                   # what differs from a known one, or all of it
# conductivity = "0.19 W/(m K) (0.17 .. 0.21)"
"""
