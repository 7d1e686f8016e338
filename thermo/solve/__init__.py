"""Linear algebra on layered grids; knows no physics."""

from thermo.solve.layered import (
    Integration,
    PlanMatrices,
    layered_matrix,
    plan_matrices,
    plan_operator,
)
from thermo.solve.linear import TOLERANCE, Solution, Solver, unanchored
from thermo.solve.multigrid import Layout, Multigrid

__all__ = [
    "TOLERANCE",
    "Integration",
    "Layout",
    "Multigrid",
    "PlanMatrices",
    "Solution",
    "Solver",
    "layered_matrix",
    "plan_matrices",
    "plan_operator",
    "unanchored",
]
