"""Materials: what they are made of, how they conduct, store heat, stretch and soften.

Every value carries its unit, temperature, range and source.
"""

from thermo.materials.assumed import Assumption, assumption, assumption_keys
from thermo.materials.composition import composition_from
from thermo.materials.gas import gas_at
from thermo.materials.own import own_material
from thermo.materials.practice import Practice, practice, practice_note
from thermo.materials.properties import PROPERTY_KINDS, Material, Property, Softening
from thermo.materials.rows import Row, describe
from thermo.materials.softening import softening_by_dose
from thermo.materials.table import material, material_names

__all__ = [
    "PROPERTY_KINDS",
    "Assumption",
    "Material",
    "Practice",
    "Property",
    "Row",
    "Softening",
    "assumption",
    "assumption_keys",
    "composition_from",
    "describe",
    "gas_at",
    "material",
    "material_names",
    "own_material",
    "practice",
    "practice_note",
    "softening_by_dose",
]
