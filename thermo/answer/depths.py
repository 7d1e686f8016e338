"""How the layers are cut through their depth: where they take their heat.

Between two cuts h apart a source q leaves the straight line by h^2 q/(8 k), so within a layer the
best cuts lie at equal shares of the integral of sqrt(q).  Half the cuts of a layer follow this,
half lie evenly, for heat that comes from elsewhere:

    density of cuts ~ sqrt(q)/mean(sqrt(q)) + 1                                          (1)
"""

import numpy as np
from numpy.typing import NDArray

from thermo.beam import WhiteBeam
from thermo.beam.power import column_profiles
from thermo.case.stack import Layer, Stack

Array = NDArray[np.float64]
RESIST = (6, 4)  # slabs above and below its middle, where a cut stands
THICK, THICK_SLABS = 200e-6, 4  # m: base layers and holder above this are cut into so many
SHEET, SHEET_SLABS = 50e-6, 2  # m: the same for the layers of the mask
SAMPLES = 64  # depths at which the heat of a layer is looked at


def depth_cuts(stack: Stack, beam: WhiteBeam, coarse: bool = False) -> tuple[Array, ...]:
    """Depths (m) that cut each layer into slabs; coarse: every second of them.

    The heat is that of the open column in the middle of the field.
    """
    fine = [_samples(layer) for layer in stack.layers]
    present = [layer.name != "frame" for layer in stack.layers]
    heat = column_profiles(stack, beam, present, False, fine)[0].sum(1)
    ends = np.cumsum([len(depths) - 1 for depths in fine])
    own = np.split(heat, ends[:-1])
    cuts = (
        _cuts(stack, layer, depths, part)
        for layer, depths, part in zip(stack.layers, fine, own, strict=True)
    )
    return tuple(c[::2] if coarse and len(c) > 2 else c for c in cuts)


def _samples(layer: Layer) -> Array:
    """Depths closer together at the lit face, where the beam is strongest."""
    return np.asarray(layer.thickness * np.linspace(0, 1, SAMPLES + 1) ** 2)


def _cuts(stack: Stack, layer: Layer, depths: Array, heat: Array) -> Array:
    if layer is stack.resist:
        half = layer.thickness / 2
        upper = _by_share(depths, heat, 0.0, half, RESIST[0])
        return np.concatenate([upper, _by_share(depths, heat, half, 2 * half, RESIST[1])[1:]])
    slabs = 1
    if layer.body in ("sample", "holder") and layer.thickness > THICK:
        slabs = THICK_SLABS
    if layer.body == "mask" and layer.thickness > SHEET:
        slabs = SHEET_SLABS
    return _by_share(depths, heat, 0.0, layer.thickness, slabs)


def _by_share(depths: Array, heat: Array, start: float, stop: float, slabs: int) -> Array:
    """Cuts between two depths at equal shares of the density (1)."""
    steps = np.diff(depths)
    root = np.sqrt(np.maximum(heat, 0) / steps)
    mean = (root * steps).sum() / depths[-1]
    below = np.concatenate([[0], np.cumsum(steps * (root / mean + 1 if mean > 0 else 1.0))])
    first, last = np.interp([start, stop], depths, below)
    cuts = np.interp(np.linspace(first, last, slabs + 1), below, depths)
    cuts[0], cuts[-1] = start, stop
    return np.asarray(cuts)
