"""warmstack: thermal and mechanical estimate of a deep X-ray lithography exposure.

case = read_case("case.toml")
answer = estimate(case)
answer.limits
"""

from typing import Any

__all__ = ["estimate", "read_case"]


def __getattr__(name: str) -> Any:
    """Load the two entry points only when they are asked for: the numerics take a while."""
    if name == "read_case":
        from thermo.case import read_case

        return read_case
    if name == "estimate":
        from thermo.decide import estimate

        return estimate
    raise AttributeError(f"module 'thermo' has no attribute '{name}'")
