"""What the mesh leaves open: the same case on a mesh with twice the spacing or more.

    error <= F |fine - coarse|/(2^p - 1)                                               (1)

p order of convergence, F = 3 for two meshes.  Temperatures fall with the square of the spacing:
the whole difference is their band.  Placement hangs on the edges of parts and pattern, where it
falls with the spacing itself: three times the difference.
Source: P. J. Roache, J. Fluids Eng. 116 (1994) 405, from memory.
"""

from collections.abc import Mapping

import numpy as np

from thermo.answer.outcome import Outcome
from thermo.answer.placement import common, linear_fit
from thermo.answer.state import State
from thermo.answer.temperature import hottest, layer_nodes
from thermo.mesh import CHORD, interpolation

SECOND_ORDER, FIRST_ORDER = 1.0, 3.0  # F/(2^p - 1) for p = 2 and p = 1
PRINTED = ("placement", "magnification", "blur", "gap_closing")  # values that hang on expansion
FIELDS = {  # largest difference over a part or the field that stands behind a value, and its share
    "resist": ("resist_peak_K", SECOND_ORDER),
    "mask": ("mask_peak_K", SECOND_ORDER),
    "placement": ("residual_nm", 1e-3 * FIRST_ORDER),
    "magnification": ("magnification_ppm", FIRST_ORDER),
    "blur": ("blur_nm", 1e-3 * FIRST_ORDER),
}
NEAR = 0.9  # share of a part's highest rise from which on a place counts as hottest


def mesh_difference(fine: Outcome, coarse: Outcome) -> dict[str, float]:
    """Headline numbers: largest change between the two meshes, K, ppm and nm, all positive."""
    resist = fine.scene.stack.resist.name
    found = {
        "resist_peak_K": peak_change(fine.state, coarse.state, resist),
        "mask_peak_K": peak_change(fine.state, coarse.state, "membrane"),
    }
    if fine.expansion is None or coarse.expansion is None:
        return found
    before, after = fine.expansion, coarse.expansion
    same = common(before.points, after.points)
    fits = [
        (linear_fit(after.points, e[same]), linear_fit(after.points, f))
        for e, f in zip(before.printed.mean, after.printed.mean, strict=True)
    ]
    scale = max(abs(a.magnification - b.magnification) for a, b in fits)
    left = max(float(np.hypot(*(a.residual - b.residual).T).max()) for a, b in fits)
    blur = float(np.abs(before.printed.blur[:, same] - after.printed.blur).max())
    return found | {
        "magnification_ppm": 1e6 * scale,
        "residual_nm": 1e9 * left,
        "blur_nm": 1e9 * blur,
    }


def mesh_bands(fine: Outcome, coarse: Outcome, difference: Mapping[str, float]) -> dict[str, float]:
    """Error (1) of every known judged value, in its unit.

    difference : of the headline numbers, from `mesh_difference`
    """
    other = {line.name: line.value for line in coarse.judged}
    found = {}
    for line in fine.judged:
        value = other.get(line.name)
        if line.value is not None and value is not None:
            factor = FIRST_ORDER if line.name in PRINTED else SECOND_ORDER
            found[line.name] = factor * abs(line.value - value)
    for name, (key, factor) in FIELDS.items():
        if name in found and key in difference:
            found[name] = max(found[name], factor * difference[key])
    return found


def peak_change(fine: State, coarse: State, name: str) -> float:
    """Largest difference of the peak temperature at the coarser mesh's nodes near the hottest, K.

    Over a region, not at one place: the hottest node of one mesh may be none of the other's.
    """
    at, opposite = hottest(fine, name), hottest(coarse, name)
    plan, grid = coarse.meshed.grid.plan, coarse.meshed.grid
    here = layer_nodes(grid, coarse.scene.stack.index(name))[opposite[0]]
    T, cold = coarse.peak[opposite[0]], coarse.system.coldest
    near = here & (T - cold >= NEAR * (T[opposite[1]] - cold))
    places = plan.points[:, near]
    if plan.lines is None:
        places = places * (1 - CHORD)
    found = interpolation(fine.meshed.grid.plan, places) @ np.nan_to_num(fine.peak[at[0]])
    highest = abs(float(fine.peak[at] - coarse.peak[opposite]))
    return max(float(np.abs(found - T[near]).max()), highest)
