"""Linear algebra on layered grids; knows no physics."""

from thermo.solve.at_once import at_once, is_busy, one_blas_thread
from thermo.solve.compiled import compiled
from thermo.solve.graph import PlanGraph
from thermo.solve.layered import Integration, PlanMatrices, layered_operator, plan_matrices
from thermo.solve.linear import (
    TOLERANCE,
    Solution,
    Solver,
    conjugate_gradients,
    solved_directly,
)
from thermo.solve.multigrid import Multigrid, Shifts
from thermo.solve.operator import LayeredOperator
from thermo.solve.separable import Separable

__all__ = [
    "TOLERANCE",
    "Integration",
    "LayeredOperator",
    "Multigrid",
    "PlanGraph",
    "PlanMatrices",
    "Separable",
    "Shifts",
    "Solution",
    "Solver",
    "at_once",
    "compiled",
    "conjugate_gradients",
    "is_busy",
    "layered_operator",
    "one_blas_thread",
    "plan_matrices",
    "solved_directly",
]
