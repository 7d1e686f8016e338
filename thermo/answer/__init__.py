"""A case worked out: temperatures, dose, placement, and the value beside every limit."""

from thermo.answer.schema import Answer

__all__ = ["Answer"]
