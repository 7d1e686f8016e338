"""Materials: what they are made of, how they conduct, store heat, stretch and soften.

Every value carries its unit, temperature, range and source.
"""

from thermo.materials.assumed import Assumption, assumption, assumption_keys
from thermo.materials.composition import composition_from
from thermo.materials.own import own_material
from thermo.materials.properties import PROPERTY_KINDS, Material, Property
from thermo.materials.rows import Row, describe
from thermo.materials.softening import softening_by_dose
from thermo.materials.table import material, material_names

__all__ = [
    "PROPERTY_KINDS",
    "Assumption",
    "Material",
    "Property",
    "Row",
    "assumption",
    "assumption_keys",
    "composition_from",
    "describe",
    "material",
    "material_names",
    "own_material",
    "softening_by_dose",
]
