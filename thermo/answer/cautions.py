"""What every answer says beside its numbers."""

CAUTIONS = (
    "A planning estimate: not a safety assessment, never an input of an interlock.",
    "X-rays, beryllium, helium and vacuum windows, hot parts and solvents can injure: local rules "
    "and licensed practice decide.",
    "Left out: creep and flow of the resist; shrinkage and swelling unless a free_strain is given; "
    "sideways spread of fluorescence, diffraction and photo-electron blur, stray beam, damage; "
    "what a membrane does once it has buckled; radiation from mask to sample, which counts below "
    "about 1 mbar, unless gap.emissivity is given.",
)
