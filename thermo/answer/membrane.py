"""The clear membrane at its hottest: film stress, and whether it is still flat."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermo.answer.bodies import Body
from thermo.answer.course import Course, is_short
from thermo.answer.heated import heated_mask
from thermo.answer.mounts import mask_supports
from thermo.answer.state import State, layer_means, layer_weights
from thermo.elastic import cell_stress, curing_tension, flatness

Array = NDArray[np.float64]
PHASES = 128  # of a cycle at which the membrane's mean temperature is looked at
LIKE = 1.5  # times the rise: how far its nearness to buckling follows
MEMBRANE = 1  # its place among the mask's slabs


@dataclass(frozen=True)
class Membrane:
    """The clear membrane when its mean temperature is highest.

    stress : lowest and highest normal stress in its plane, initial tension and all, Pa
    factor : by which its thermal stress may still grow before it buckles; up to 1 it has
    followed : whether that follows another state's, and was not worked out by itself
    """

    body: Body
    u: Array
    rise: Array
    stress: tuple[float, float]
    factor: float
    followed: bool = False

    @property
    def is_flat(self) -> bool:
        """Whether small displacements still tell what it does."""
        return self.factor > 1

    def warmed(self, before: State, state: State) -> "Membrane":
        """The membrane of a state before, in one with other temperatures.

        Its thermal stress is taken to follow its mean rise above the frame.
        """
        old, new = (_above_frame(some) for some in (before, state))
        ratio = old / new if old * new > 0 else 1.0
        return replace(self, factor=self.factor * ratio, followed=True)

    def follows(self, before: State, state: State) -> bool:
        """Whether `warmed` tells well: worked out by itself, and for a rise of the same kind."""
        old, new = (_above_frame(some) for some in (before, state))
        return not self.followed and 1 / LIKE < new / old < LIKE if old else False

    def needed_tension(self, state: State) -> float:
        """Initial tension that would just keep it flat, Pa; state: the one it was found in."""
        held = self.body.held
        supports = mask_supports(state, held.solid, 0.0)
        return curing_tension(held, supports, self.u, self.rise, _clear(self.body, state))


def hottest_membrane(state: State, course: Course, mask: Body) -> Membrane:
    """Stress and flatness of the membrane of a state and its warm-up."""
    heated = heated_mask(mask, state, state.meshed)
    field = _hottest(state, course)[None]
    rise = heated.rise(field, measured=True)[0]
    u = heated.moved(field, measured=True)[0][0]
    solid = mask.held.solid
    clear = _clear(mask, state)[MEMBRANE]
    sigma = cell_stress(solid, np.nan_to_num(u), rise)[MEMBRANE]
    inside = sigma[clear][:, :, :2] + solid.tension[MEMBRANE, clear][:, None, None]
    factor = flatness(mask.held, u, rise).factor
    return Membrane(mask, u, rise, (float(inside.min()), float(inside.max())), factor)


def _above_frame(state: State) -> float:
    """Mean rise of the membrane above the frame over the exposure, K."""
    stack, grid = state.scene.stack, state.meshed.grid
    T = layer_means(grid, state.mean, len(stack.layers), state.layer_T)
    return T[stack.index("membrane")] - T[stack.index("frame")]


def _clear(mask: Body, state: State) -> NDArray[np.bool_]:
    """Cells of the membrane over its opening, (slabs, cells)."""
    solid = mask.held.solid
    inside = np.zeros(solid.active.shape, bool)
    opening = state.scene.stack.pattern.clear
    inside[MEMBRANE] = opening.covers(*state.meshed.bodies.centres[:, mask.cells])
    return inside & solid.active


def _hottest(state: State, course: Course) -> Array:
    """Temperatures (nodes, levels) K when the membrane's mean is highest.

    In the limit cycle; of an exposure worked out from cold, over its last two passes or at its end.
    """
    weights = layer_weights(state.meshed.grid, state.scene.stack.index("membrane")).T
    X = np.zeros((0, *weights.shape), np.complex64) if state.scan is None else state.scan.cycle.X
    n = np.arange(1, len(X) + 1)

    def ripple(fields: NDArray[np.inexact], phase: Array) -> Array:
        turn = np.exp(2j * np.pi * np.outer(phase, n))
        return np.asarray(2 * np.tensordot(turn, fields, 1).real)

    own = np.tensordot(X, weights, 2)
    if not is_short(course):
        phase = np.arange(PHASES) / PHASES
        hot = phase[[ripple(own, phase).argmax()]]
        return np.asarray(state.steady.T.T + ripple(X, hot)[0])
    warm_up, passes = course.warm_up, course.dose.passes
    period = warm_up.cycle.period
    start = course.dose.time if passes is None else max(passes - 2, 0) * period / 2
    t = np.linspace(start, course.dose.time if passes is None else passes * period / 2, PHASES)
    shapes = np.tensordot(warm_up.decay.shapes, weights, 2)
    mean = np.tensordot(warm_up.cycle.mean, weights, 2)
    rise = warm_up.fade(t) * (mean + ripple(own, t / period)) + warm_up.missing(t) @ shapes
    hot = t[[rise.argmax()]]
    cycle = warm_up.cycle.mean + ripple(X, hot / period)[0]
    left = warm_up.decay.combined_shapes(warm_up.missing(hot)[0])
    return np.asarray(course.dark + warm_up.fade(hot)[0] * cycle + left)
