"""One elastic body on plan quadrilaterals that are extruded along the beam."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermo.errors import PhysicsError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Solid:
    """Body of the mask or of the sample: vertical prisms between levels, with their material.

    Parameters
    ----------
    points : plan nodes x, y, m, shape (2, n)
    quads : plan nodes of each plan cell, counter-clockwise, shape (4, m)
    levels : z of the levels, increasing along the beam, m, shape (nz + 1,)
    active : True where a cell is solid, False where it is void, shape (nz, m)
    E : Young's modulus of each cell, Pa, shape (nz, m)
    nu : Poisson ratio, shape (nz, m)
    alpha : linear thermal expansion, 1/K, shape (nz, m)
    tension : initial equi-biaxial stress in the plane, Pa, >= 0, shape (nz, m)

    Values in void cells are not read.

    Raises
    ------
    PhysicsError : a shape, a level, a plan cell or a property outside its range
    """

    points: Floats
    quads: Ints
    levels: Floats
    active: Bools
    E: Floats
    nu: Floats
    alpha: Floats
    tension: Floats

    def __post_init__(self) -> None:
        nz, m = len(self.levels) - 1, self.quads.shape[-1]
        _shapes(self, nz, m)
        if not (np.diff(self.levels) > 0).all():
            least = np.diff(self.levels).min()
            raise PhysicsError(
                f"levels must increase along the beam, smallest step is {least:.4g} m;"
                " give every layer a thickness > 0 m"
            )
        if not self.active.any():
            raise PhysicsError("the body has 0 solid cells, needs at least 1; mark cells as active")
        corner = _corner_areas(self.corners)
        if not (corner > 0).all():
            raise PhysicsError(
                f"plan cells must be convex and counter-clockwise, smallest corner area is"
                f" {corner.min():.4g} m2; reorder the four nodes of the cell"
            )
        for name, unit, low, high, way_out in RANGES:
            value = getattr(self, name)[self.active]
            if not ((value > low) & (value < high)).all():
                raise PhysicsError(
                    f"{name} must lie between {low:g} and {high:g}{unit}, got {value.min():.4g} to"
                    f" {value.max():.4g}{unit}; {way_out}"
                )

    @property
    def corners(self) -> Floats:
        """Plan corners of the plan cells, m, shape (m, 4, 2)."""
        return np.ascontiguousarray(self.points.T[self.quads.T])

    @property
    def exists(self) -> Bools:
        """True at nodes that a solid cell touches, shape (nz + 1, n)."""
        touched = np.zeros((len(self.levels), self.points.shape[1]), bool)
        for k, cells in enumerate(self.active):
            touched[k : k + 2, self.quads[:, cells].ravel()] = True
        return touched


RANGES = [
    ("E", " Pa", 0.0, 1e13, "void is written in `active`, not as a modulus of zero"),
    ("nu", "", -1.0, 0.4999, "an incompressible solid needs another element"),
    ("alpha", " 1/K", -1e-2, 1e-2, "thermal expansion is per kelvin, not per million"),
    ("tension", " Pa", -1e-300, 1e12, "compression is judged by the buckling check, not here"),
]


def _shapes(solid: Solid, nz: int, m: int) -> None:
    """Shapes that belong together, finite coordinates, node numbers inside the plan."""
    wanted = {"points": (2, solid.points.shape[-1]), "quads": (4, m), "levels": (nz + 1,)}
    wanted |= dict.fromkeys(("active", "E", "nu", "alpha", "tension"), (nz, m))
    for name, shape in wanted.items():
        got = np.shape(getattr(solid, name))
        if got != shape or 0 in shape:
            raise PhysicsError(
                f"{name} has shape {got}, needs {shape} for {nz} layers of {m} plan cells;"
                " give one value a cell"
            )
    if not (np.isfinite(solid.points).all() and np.isfinite(solid.levels).all()):
        raise PhysicsError("points and levels must be finite, got nan or inf m; mend the mesh")
    n = solid.points.shape[1]
    if not ((solid.quads >= 0) & (solid.quads < n)).all():
        raise PhysicsError(
            f"quads must name nodes 0 to {n - 1}, got {solid.quads.min()} to {solid.quads.max()};"
            " mend the mesh"
        )


def _corner_areas(corners: Floats) -> Floats:
    """Twice the signed area of the triangle at each corner, m2, shape (m, 4)."""
    ahead = np.roll(corners, -1, axis=1) - corners
    behind = np.roll(corners, 1, axis=1) - corners
    return ahead[..., 0] * behind[..., 1] - ahead[..., 1] * behind[..., 0]
