"""Small bodies for the elastic tests: a slab with uneven cells, and one with voids."""

import dataclasses

import numpy as np

from thermo.elastic import Solid


def slab(nx=3, ny=2, layers=(0.4e-3, 0.6e-3), side=10e-3, **changes):
    """nx x ny plan cells of uneven width; every property differs from layer to layer."""
    x = side * np.linspace(0, 1, nx + 1) ** 1.2
    y = side * np.linspace(0, 1, ny + 1) ** 1.1
    X, Y = np.meshgrid(x - side / 2, y - side / 2, indexing="ij")
    i = np.arange(X.size).reshape(X.shape)
    quads = np.array(
        [i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()]
    )
    shape = (len(layers), quads.shape[1])
    layer = np.arange(shape[0])[:, None] + np.zeros(shape)
    solid = Solid(
        points=np.array([X.ravel(), Y.ravel()]),
        quads=quads,
        levels=np.concatenate([[0.0], np.cumsum(layers)]),
        active=np.ones(shape, bool),
        E=3e9 + 50e9 * layer,
        nu=0.35 - 0.05 * layer,
        alpha=70e-6 / (1 + 5 * layer),
        tension=np.zeros(shape),
    )
    return dataclasses.replace(solid, **changes)


def framed():
    """Four layers: an opening below a membrane in the middle, a lid and a void at one side."""
    solid = slab(4, 4, (0.3e-3, 0.2e-3, 0.1e-3, 0.2e-3))
    active = solid.active.copy()
    active[:2, [5, 6, 9, 10]] = False  # membrane over an opening: columns that start higher up
    active[3] = False
    active[3, :4] = True
    active[1, 0] = False  # a void between solid layers at one corner
    return dataclasses.replace(solid, active=active)


def warm(solid, seed=0):
    """A rise that jumps between cells, K."""
    return np.random.default_rng(seed).uniform(0, 10, (*solid.active.shape, 2, 4))
