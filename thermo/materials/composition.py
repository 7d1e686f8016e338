"""Composition of a material as text: a chemical formula, or mass fractions of several.

text = FORMULA | FORMULA:FRACTION FORMULA:FRACTION ...
"""

import math
import re
from collections.abc import Mapping

from thermo.errors import MaterialError

__all__ = ["composition_from"]

_SYMBOLS = (
    "H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se "
    "Br Kr Rb Sr Y Zr Nb Mo Tc Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Pm Sm Eu Gd Tb "
    "Dy Ho Er Tm Yb Lu Hf Ta W Re Os Ir Pt Au Hg Tl Pb Bi Po At Rn Fr Ra Ac Th Pa U"
)
ELEMENTS = frozenset(_SYMBOLS.split())
_FORMULA = re.compile(r"(?:[A-Z][a-z]?(?:[1-9][0-9]*(?:\.[0-9]+)?|0\.[0-9]+)?)+")
ROUNDING = 1e-3  # fractions written with three digits need not add up better than this


def composition_from(text: str) -> Mapping[str, float]:
    """Mass fraction of each chemical formula, from 'C5H8O2' or 'Fe:0.64 Ni:0.36'.

    Raises
    ------
    MaterialError : no formula, an unknown element, or fractions that do not add up to 1
    """
    if ":" not in text:
        return {_formula(text.strip(), text): 1.0}
    fractions: dict[str, float] = {}
    for part in text.split():
        formula, _, number = part.partition(":")
        try:
            fraction = float(number)
        except ValueError:
            fraction = math.nan
        if not 0 < fraction <= 1 or formula in fractions:
            raise _refused(text, f"has no readable part '{part}'")
        fractions[_formula(formula, text)] = fraction
    total = math.fsum(fractions.values())
    if not abs(total - 1) <= ROUNDING:
        raise _refused(text, f"adds up to {total:.6g}")
    return {formula: fraction / total for formula, fraction in fractions.items()}


def _formula(formula: str, text: str) -> str:
    if not _FORMULA.fullmatch(formula):
        raise _refused(text, "is no chemical formula")
    unknown = [symbol for symbol in re.findall(r"[A-Z][a-z]?", formula) if symbol not in ELEMENTS]
    if unknown:
        raise _refused(text, f"names the unknown element {unknown[0]}")
    return formula


def _refused(text: str, what: str) -> MaterialError:
    shown = "".join(c if c.isprintable() else "?" for c in text)
    shown = shown if len(shown) <= 60 else shown[:57] + "..."
    return MaterialError(
        f"formula '{shown}' {what}; allowed: a chemical formula without brackets, or mass "
        "fractions that add up to 1; write it like 'C5H8O2' or 'Fe:0.64 Ni:0.36'"
    )
