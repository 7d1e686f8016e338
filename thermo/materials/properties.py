"""A material and its properties: values with range, temperature and source.

A property is tabulated at one or more temperatures. Its range (low .. high) holds at the first
of them; at the others it widens in proportion.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, overload

import numpy as np
from numpy.typing import NDArray

from thermo.errors import MaterialError, PhysicsError

__all__ = ["PROPERTY_KINDS", "Material", "Property", "Softening"]


class _Bounds(NamedTuple):
    kind: str  # kind of quantity, as in thermo.units.KINDS
    unit: str  # SI
    lowest: float  # no material of this trade lies below or above
    highest: float


_BOUNDS = {
    "density": _Bounds("density", "kg/m3", 1e-15, 25e3),
    "conductivity": _Bounds("conductivity", "W/(m K)", 1e-3, 5e3),
    "heat_capacity": _Bounds("heat_capacity", "J/(kg K)", 50.0, 20e3),
    "youngs_modulus": _Bounds("stress", "Pa", 1e2, 1.5e12),
    "poisson_ratio": _Bounds("ratio", "", -0.9, 0.499),
    "expansion": _Bounds("expansion", "1/K", -1e-5, 1e-3),
    "limit": _Bounds("temperature", "K", 200.0, 4000.0),
    "film_tension": _Bounds("stress", "Pa", 0.0, 1e10),
    "strength": _Bounds("stress", "Pa", 1e3, 1e11),
    "molar_mass": _Bounds("molar_mass", "kg/mol", 1e-3, 1.0),
    "heat_capacity_ratio": _Bounds("ratio", "", 1.0001, 1.6667),
}
PROPERTY_KINDS: Mapping[str, str] = {name: bounds.kind for name, bounds in _BOUNDS.items()}


@dataclass(frozen=True)
class Property:
    """One property of a material as a function of temperature.

    Attributes
    ----------
    name : as in PROPERTY_KINDS
    unit : SI unit of the values
    at : table temperatures, K, increasing
    typical : values at these temperatures, SI
    low, high : range at the first temperature, SI
    source : where the values come from

    Raises
    ------
    MaterialError : not low <= typical <= high, a table out of order, or a value no material has
    """

    name: str
    unit: str
    at: tuple[float, ...]
    typical: tuple[float, ...]
    low: float
    high: float
    source: str

    def __post_init__(self) -> None:
        lowest, highest = _BOUNDS[self.name].lowest, _BOUNDS[self.name].highest
        for value in (*self.typical, self.low, self.high):
            if not lowest <= value <= highest:
                raise MaterialError(
                    f"{self.name} {value:.6g} {self.unit} is what no material has; allowed: "
                    f"{lowest:g} to {highest:g} {self.unit}; check the number and its unit"
                )
        if not (
            len(self.at) == len(self.typical) > 0
            and all(0 < T < math.inf for T in self.at)
            and all(a < b for a, b in zip(self.at, self.at[1:], strict=False))
        ):
            raise MaterialError(
                f"{self.name} has {len(self.typical)} values at the temperatures {self.at} K; "
                "allowed: one value for each, temperatures rising from above 0 K; reorder them"
            )
        if not self.low <= self.typical[0] <= self.high:
            raise MaterialError(
                f"{self.name} {self.typical[0]:.6g} {self.unit} lies outside its range; allowed: "
                f"{self.low:.6g} to {self.high:.6g} {self.unit}; order it low <= typical <= high"
            )

    @overload
    def __call__(self, T: float) -> float: ...
    @overload
    def __call__(self, T: NDArray[np.float64]) -> NDArray[np.float64]: ...
    def __call__(self, T: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
        """Typical value at temperature T, SI: linear in the table, held beyond its ends.

        Parameters
        ----------
        T : temperature, K, scalar or array

        Returns
        -------
        value : SI, shape of T

        Raises
        ------
        PhysicsError : T not above 0 K or not finite
        """
        coldest, hottest = float(np.min(T)), float(np.max(T))
        if not (coldest > 0 and hottest < math.inf):
            raise PhysicsError(
                f"{self.name} asked for at {coldest:.6g} to {hottest:.6g} K; allowed: finite "
                "temperatures above 0 K; convert from degC first"
            )
        value = np.interp(T, self.at, self.typical)
        return value if isinstance(T, np.ndarray) else float(value)

    @property
    def low_high(self) -> tuple[float, float]:
        """Range at the first table temperature, SI."""
        return self.low, self.high

    def scaled_to(self, value: float) -> "Property":
        """Give the same property with another value at its first temperature.

            typical(T) -> typical(T) value / typical(T_0)

        The range stays, widened where `value` lies outside. A typical value of zero has no
        ratio: there the property becomes `value` at every temperature.
        """
        first = self.typical[0]
        scaled = (value, *(t * value / first if first else value for t in self.typical[1:]))
        low, high = min(self.low, value), max(self.high, value)
        return Property(self.name, self.unit, self.at, scaled, low, high, self.source)


@dataclass(frozen=True)
class Softening:
    """A published softening temperature.

    Attributes
    ----------
    state : what was measured: 'glass transition', 'before cross-linking'
    dose : dose taken up before, J/m3; None where the state alone matters
    temperature, low, high : K
    source : where it comes from
    """

    state: str
    dose: float | None
    temperature: float
    low: float
    high: float
    source: str


@dataclass(frozen=True)
class Material:
    """A solid, gas or liquid of mask, sample and chamber.

    Attributes
    ----------
    name, title : short name, and what exactly is meant
    kind : 'solid', 'gas' or 'liquid'
    composition : mass fraction of each chemical formula; adds up to 1
    composition_source : where the composition comes from and what it leaves out
    density, conductivity, heat_capacity : kg/m3, W/(m K), J/(kg K); of a gas at 101325 Pa and at
        constant pressure
    youngs_modulus, poisson_ratio, expansion : Pa, 1, 1/K; None for gases and liquids
    limit, limit_kind : K; 'softening' or 'service' limit, '' and None where no limit is known
    film_tension : tension of a stretched membrane of this material, Pa, or None
    strength : stress at which it yields, tears or breaks (the source says which), Pa, or None
    molar_mass, heat_capacity_ratio : kg/mol and cp/cv of gases, else None
    softening : published softening temperatures, those by dose in rising order
    """

    name: str
    title: str
    kind: str
    composition: Mapping[str, float] = field(hash=False)
    composition_source: str
    density: Property
    conductivity: Property
    heat_capacity: Property
    youngs_modulus: Property | None = None
    poisson_ratio: Property | None = None
    expansion: Property | None = None
    limit: Property | None = None
    limit_kind: str = ""
    film_tension: Property | None = None
    strength: Property | None = None
    molar_mass: Property | None = None
    heat_capacity_ratio: Property | None = None
    softening: tuple[Softening, ...] = ()

    @property
    def formula(self) -> str:
        """Composition as text: 'C5H8O2', or mass fractions 'Fe:0.64 Ni:0.36'."""
        if len(self.composition) == 1:
            return next(iter(self.composition))
        return " ".join(f"{part}:{fraction:g}" for part, fraction in self.composition.items())

    @property
    def properties(self) -> tuple[Property, ...]:
        """Every property this material has, in the order of PROPERTY_KINDS."""
        values = (getattr(self, name) for name in PROPERTY_KINDS)
        return tuple(value for value in values if value is not None)


def si_unit(name: str) -> str:
    """SI unit of a property."""
    return _BOUNDS[name].unit
