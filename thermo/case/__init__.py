"""The case file: read, checked, in SI, with every assumption named."""

from thermo.case.lighting import Filter, GasPath
from thermo.case.ranges import Range, foil_number, input_at, ranges, with_filter, with_value
from thermo.case.reading import read_case
from thermo.case.schema import Assumed, Case
from thermo.case.starter import starter_text

__all__ = [
    "Assumed",
    "Case",
    "Filter",
    "GasPath",
    "Range",
    "foil_number",
    "input_at",
    "ranges",
    "read_case",
    "starter_text",
    "with_filter",
    "with_value",
]
