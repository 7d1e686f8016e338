"""One picture of the answer: a section through the layers with their temperatures."""

from pathlib import Path
from textwrap import shorten

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from thermo.answer.state import State
from thermo.answer.temperature import ZERO_C, hottest, layer_nodes
from thermo.decide import Result
from thermo.mesh import Plan, cells_at, interpolation, rim
from thermo.show.saving import save
from thermo.show.stretch import drawn_heights

Array = NDArray[np.float64]
SIDE = 1e-7  # share of x by which the section lies nearer the middle than the hottest node
COLUMNS = 240  # of a section where the plan has no lines


def write_section(result: Result, path: Path) -> None:
    """Section along the scan at the hottest resist, layers drawn at even heights, and profiles."""
    state = result.outcome.state
    stack, grid = state.scene.stack, state.meshed.grid
    _, node = hottest(state, stack.resist.name)
    x = grid.plan.points[0, node]
    figure = Figure(figsize=(10.5, 6.2), layout="constrained")
    section, profile = figure.subplots(1, 2, width_ratios=(2.4, 1))
    drawn = _drawn_levels(state)
    _section(section, state, x, drawn)
    _profile(profile, state, node, drawn)
    figure.suptitle(shorten(result.answer.case.title, 90))
    save(figure, path)


def _what(state: State) -> str:
    if state.scene.motion is None:
        return "steady temperature, beam held"
    return "highest temperature at each place, not one moment"


def _drawn_levels(state: State) -> Array:
    """Heights at which the levels are drawn: each layer stretched on its own, thin ones most."""
    stack, grid = state.scene.stack, state.meshed.grid
    heights = drawn_heights([layer.thickness for layer in stack.layers])
    drawn = [0.0]
    for i, height in enumerate(heights):
        own = grid.heights[grid.slabs(i)]
        drawn.extend(drawn[-1] + height * np.cumsum(own) / own.sum())
    return np.array(drawn)


def _section(axes: Axes, state: State, x: float, drawn: Array) -> None:
    stack, grid = state.scene.stack, state.meshed.grid
    x = x * (1 - SIDE)  # of two cells beside a line, the one towards the middle
    y = _along(grid.plan, x)
    places = np.stack([np.full(len(y) - 1, x), (y[:-1] + y[1:]) / 2])
    T = (interpolation(grid.plan, places) @ np.nan_to_num(state.peak - ZERO_C).T).T
    here = grid.active[:, cells_at(grid.plan, places)]
    here[grid.slabs(stack.index("gap"))] = False  # gas: the jump across it is in the profile
    shown = np.ma.masked_where(~here, (T[:-1] + T[1:]) / 2)
    y = 1e3 * y
    mesh = axes.pcolormesh(y, drawn, shown, cmap="cividis", shading="flat", rasterized=True)
    axes.figure.colorbar(mesh, ax=axes, label="temperature, degC", location="bottom", aspect=40)
    axes.invert_yaxis()
    axes.set_xlabel("y along the scan, mm")
    ticks = []
    for i, layer in enumerate(stack.layers):
        slabs = grid.slabs(i)
        top, bottom = drawn[slabs.start], drawn[slabs.stop]
        axes.axhline(bottom, color="0.5", linewidth=0.4)
        ticks.append(((top + bottom) / 2, f"{layer.name}\n{_thickness(layer.thickness)}"))
    axes.set_yticks([t for t, _ in ticks], [label for _, label in ticks], fontsize=7)
    y_span = float(np.ptp(y))
    least, most = _exaggeration(state, drawn, y_span)
    axes.set_title(
        f"section at x = {1e3 * x:.1f} mm; {_what(state)}\n"
        f"each layer stretched on its own: drawn {least:.1f} to {most:.0f} times as thick as true",
        fontsize=9,
    )


def _along(plan: Plan, x: float) -> Array:
    """Places in y that cut the section at x into columns, m: the plan's lines, or even ones."""
    if plan.lines is not None:
        return plan.lines[1]
    ends_x, ends_y = plan.points[:, rim(plan.quads)]
    met = (ends_x.min(0) <= x) & (x < ends_x.max(0))  # sides of the rim that the section crosses
    (x0, x1), (y0, y1) = ends_x[:, met], ends_y[:, met]
    y = y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return np.linspace(y.min(), y.max(), COLUMNS + 1)


def _exaggeration(state: State, drawn: Array, width_mm: float) -> tuple[float, float]:
    """Drawn over true thickness against the drawn width, smallest and largest layer."""
    stack, grid = state.scene.stack, state.meshed.grid
    per_unit = 0.55 * width_mm / (drawn[-1] - drawn[0])  # axes about 0.55 as high as wide
    factors = [
        (drawn[grid.slabs(i).stop] - drawn[grid.slabs(i).start]) * per_unit / (1e3 * la.thickness)
        for i, la in enumerate(stack.layers)
    ]
    return min(factors), max(factors)


def _profile(axes: Axes, state: State, node: int, drawn: Array) -> None:
    stack, grid = state.scene.stack, state.meshed.grid
    curves = [(state.peak, "-", "steady")]
    if state.scene.motion is not None:
        curves = [
            (state.mean, "--", "mean in time"),
            (state.printing, ":", "while printing"),
            (state.peak, "-", "peak"),
        ]
    for T, style, label in curves:
        axes.plot(T[:, node] - ZERO_C, drawn, style, color="black", linewidth=1.3, label=label)
    axes.set_ylim(drawn[-1], drawn[0])
    axes.set_xlabel("temperature, degC")
    axes.set_yticks([])
    for i in range(len(stack.layers)):
        axes.axhline(drawn[grid.slabs(i).stop], color="0.5", linewidth=0.4)
    limit = state.scene.case.limits.resist
    if limit is not None and limit != "from dose":
        levels = np.flatnonzero(layer_nodes(grid, stack.index(stack.resist.name)).any(1))
        value = limit.value - ZERO_C
        span = [drawn[levels[0]], drawn[levels[-1]]]
        label = f"resist limit {value:.4g} degC"
        axes.plot([value, value], span, color="0.35", linewidth=3, label=label)
    axes.legend(loc="upper left", fontsize=7, ncols=2)
    axes.set_title("through the hottest resist", fontsize=9)


def _thickness(t: float) -> str:
    return f"{1e3 * t:.3g} mm" if t >= 1e-3 else f"{1e6 * t:.3g} um"
