"""Linear algebra on layered grids; knows no physics."""

from thermo.solve.layered import Integration, PlanMatrices, layered_operator, plan_matrices
from thermo.solve.linear import TOLERANCE, Solution, Solver, solved_directly
from thermo.solve.multigrid import Multigrid
from thermo.solve.operator import LayeredOperator
from thermo.solve.separable import Separable

__all__ = [
    "TOLERANCE",
    "Integration",
    "LayeredOperator",
    "Multigrid",
    "PlanMatrices",
    "Separable",
    "Solution",
    "Solver",
    "layered_operator",
    "plan_matrices",
    "solved_directly",
]
