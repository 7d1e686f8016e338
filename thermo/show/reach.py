"""How X-rays fade in a material, as text and JSON."""

import json
from collections.abc import Sequence

from thermo.answer.attenuated import Reach, Share
from thermo.materials import Material
from thermo.show.materials import material_data
from thermo.show.words import length


def reach_text(material: Material, lengths: Sequence[Reach], shares: Sequence[Share]) -> str:
    """Attenuation lengths, and what round thicknesses take of a case's beam."""
    rho = material.density.typical[0]
    rows = [f"  X-rays, at {rho:.4g} kg/m3 (cross sections: xraylib, agree with NIST SRD 126)"]
    rows.append("    photon energy   attenuation length")
    rows += [
        f"    {r.photon_energy_keV:9.3g} keV   {length(1e-6 * r.attenuation_length_um)}"
        for r in lengths
    ]
    if shares:
        rows.append("    of the power that reaches the mask in this case")
        rows.append("    thickness         heat in it   lost to the beam")
    for share in shares:
        thick = length(1e-6 * share.thickness_um)
        rows.append(
            f"    {thick:<14}{100 * share.absorbed:11.3g} %{100 * share.attenuated:16.3g} %"
        )
    return "\n".join(rows) + "\n"


def reach_json(material: Material, lengths: Sequence[Reach], shares: Sequence[Share]) -> str:
    """The material's rows and the same numbers as data."""
    data = material_data([material])
    data[material.name]["attenuation"] = [r.model_dump() for r in lengths]
    if shares:
        data[material.name]["in_this_beam"] = [s.model_dump() for s in shares]
    return json.dumps(data, indent=1) + "\n"
