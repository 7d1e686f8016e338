"""From a case to an answer: temperatures, dose, placement, limits, verdict."""

from thermo.answer.estimate import Result, estimate, run
from thermo.answer.schema import Answer

__all__ = ["Answer", "Result", "estimate", "run"]
