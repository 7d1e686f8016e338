"""Materials: what they are made of, how they conduct, store heat, stretch and soften;
what they are worth in a pattern.

Every value carries its unit, temperature, range and source.
"""

from thermo.materials.assumed import Assumption, assumption, assumption_keys
from thermo.materials.composition import composition_from
from thermo.materials.gas import gas_at
from thermo.materials.own import own_material
from thermo.materials.patterned import (
    Kind,
    Sheet,
    metal_in_plane,
    patterned_metal,
    patterned_metal_bounds,
)
from thermo.materials.practice import Practice, practice, practice_note
from thermo.materials.properties import PROPERTY_KINDS, Material, Property, Softening
from thermo.materials.rows import Row, describe
from thermo.materials.softening import softening_by_dose
from thermo.materials.table import material, material_names

__all__ = [
    "PROPERTY_KINDS",
    "Assumption",
    "Kind",
    "Material",
    "Practice",
    "Property",
    "Row",
    "Sheet",
    "Softening",
    "assumption",
    "assumption_keys",
    "composition_from",
    "describe",
    "gas_at",
    "material",
    "material_names",
    "metal_in_plane",
    "own_material",
    "patterned_metal",
    "patterned_metal_bounds",
    "practice",
    "practice_note",
    "softening_by_dose",
]
