"""Cuts through the layers follow the heat they take."""

import numpy as np
import pytest

from thermo.answer.depths import RESIST, depth_cuts
from thermo.answer.scene import describe


def cuts_of(case, coarse=False):
    scene = describe(case)
    names = [layer.name for layer in scene.stack.layers]
    return dict(zip(names, depth_cuts(scene.stack, scene.beam, coarse), strict=True)), scene


def test_every_layer_is_cut_from_its_lit_face_to_its_back(small):
    cuts, scene = cuts_of(small)
    for layer in scene.stack.layers:
        depths = cuts[layer.name]
        assert (depths[0], depths[-1]) == (0, pytest.approx(layer.thickness, rel=1e-12))
        assert (np.diff(depths) > 0).all()


def test_the_resist_has_a_cut_in_its_middle_and_thinner_slabs_where_it_takes_more(small):
    cuts, scene = cuts_of(small)
    depths, half = cuts[scene.stack.resist.name], scene.stack.resist.thickness / 2
    assert len(depths) == sum(RESIST) + 1
    assert depths[RESIST[0]] == pytest.approx(half, rel=1e-12)
    upper = np.diff(depths[: RESIST[0] + 1])
    assert (np.diff(upper) > 0).all()


def test_slabs_share_the_integral_of_root_heat_and_depth_evenly(small):
    """sqrt(q) over its mean, plus 1, integrated with 4000 depths; 2 % is the 64 of the product."""
    cuts, scene = cuts_of(small)
    half = scene.stack.resist.thickness / 2
    z = np.linspace(0, 2 * half, 4001)
    root = np.sqrt(scene.resist_dose_rate(False, (z[1:] + z[:-1]) / 2))
    below = np.concatenate([[0], np.cumsum(root / root.mean() + 1)])
    upper = np.interp(cuts[scene.stack.resist.name][: RESIST[0] + 1], z, below)
    assert np.diff(upper) == pytest.approx(np.full(RESIST[0], upper[-1] / RESIST[0]), rel=0.02)


def test_the_coarse_mesh_has_every_second_cut(small):
    usual, _ = cuts_of(small)
    coarse, _ = cuts_of(small, True)
    for name, depths in usual.items():
        wanted = depths[::2] if len(depths) > 2 else depths
        assert coarse[name] == pytest.approx(wanted, rel=1e-12)
