"""The picture of the stack in 3D, with its words; by matplotlib where nothing else can draw."""

import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from textwrap import fill, shorten

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from numpy.typing import NDArray

from thermo.errors import shown
from thermo.show.cutaway import GAP, Cutaway, Part, read_cutaway
from thermo.show.solid import write_parts
from thermo.show.stack_view import (
    AHEAD,
    MAP,
    SIZE,
    Frame,
    anchor,
    colour_words,
    drawn_words,
    frame_of,
    layer_words,
    seen,
)

Array = NDArray[np.float64]
PICTURE = "stack.png"
DRAWER = (sys.executable, "-P", "-m", "thermo.show.solid")
LONGEST = 60.0  # s that the drawing process may take
DPI = 150
TEXT = 7.5  # points
DRAWN = "drawn by pyvista"
STOOD_IN = "drawn by matplotlib: 3D drawing is not available here"
WORDS_AT = 0.735  # share of the width: where the words begin
BEAM = 0.80  # share of the height: where its arrow begins
LENGTHS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)  # of a bar, mm


def draw_stack(folder: Path) -> str:
    """Draw stack.png of a result folder; the words say what drew it, and why if it stood in.

    Raises CutawayError for a folder that is no result.
    """
    cutaway = read_cutaway(folder)
    frame = frame_of(cutaway.points)
    figure = Figure(figsize=(SIZE[0] / DPI, SIZE[1] / DPI), dpi=DPI)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    colours = ScalarMappable(Normalize(float(cutaway.T.min()), float(cutaway.T.max())), MAP)
    with TemporaryDirectory() as work:
        parts, image = Path(work, "parts.npz"), Path(work, "stack.npy")
        write_parts(cutaway, parts)
        fault = run_drawer([str(parts), str(image)], LONGEST)
        if fault is None:
            extent = (frame.left, frame.right, frame.bottom, frame.top)
            axes.imshow(np.load(image), extent=extent, interpolation="antialiased", aspect="auto")
    words = drawn_words(cutaway)
    if fault is not None:
        _stand_in(axes, cutaway, colours)
        words.append(f"{STOOD_IN} ({fault})")
    axes.set(xlim=(frame.left, frame.right), ylim=(frame.bottom, frame.top))
    _annotate(axes, cutaway, frame)
    _words(figure, cutaway, colours, words)
    figure.savefig(folder / PICTURE, dpi=DPI)
    return DRAWN if fault is None else words[-1]


def run_drawer(arguments: Sequence[str], longest: float | None = None) -> str | None:
    """Run the drawing process; None where it has done its work, else what is wrong with it."""
    try:
        run = subprocess.run(
            [*DRAWER, *arguments], capture_output=True, text=True, errors="replace",
            timeout=longest, check=False, stdin=subprocess.DEVNULL,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return f"it took longer than {longest:g} s"
    except OSError as error:
        return f"no process could be started: {error.strerror}"
    if run.returncode == 0:
        return None
    if run.returncode < 0:
        return f"the graphics library crashed, signal {-run.returncode}"
    said = run.stderr.strip().splitlines() or [f"exit code {run.returncode}"]
    return shown(said[-1].removeprefix("ModuleNotFoundError: "), 120)


def _stand_in(axes: Axes, cutaway: Cutaway, colours: ScalarMappable) -> None:
    """The same stack layer by layer from the holder upwards; of each what looks at the eye."""
    solids = [part for part in reversed(cutaway.parts) if len(part.faces)]
    for rank, part in enumerate(solids):
        at = seen(part.points)[part.faces]
        x, y = np.moveaxis(at, 2, 0)
        area = (x * np.roll(y, -1, 1) - np.roll(x, -1, 1) * y).sum(1)
        depth = part.points[part.faces].mean(1) @ AHEAD
        order = np.argsort(-depth)
        order = order[area[order] > 0]  # counter-clockwise: its outside is seen
        face = colours.to_rgba(part.T[part.faces[order]].mean(1))
        axes.add_collection(
            PolyCollection(at[order], facecolor=face, edgecolor=face, lw=0.3, zorder=rank)
        )
        lines = seen(part.points)[_near_edges(part, part.faces[order]).T]
        for color, width in (("white", 1.3), ("black", 0.5)):
            axes.add_collection(
                LineCollection(list(lines), colors=color, linewidths=width, zorder=rank)
            )


def _near_edges(part: Part, faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Edges of the faces that are seen, (2, k)."""
    count = len(part.points)
    sides = np.sort(np.stack([faces, np.roll(faces, -1, 1)]).reshape(2, -1), axis=0)
    own = np.sort(part.edges, axis=0)
    return own[:, np.isin(own[0] * count + own[1], sides[0] * count + sides[1])]


def _annotate(axes: Axes, cutaway: Cutaway, frame: Frame) -> None:
    """Names of the layers with lines to them, the beam, and two bars of known length."""
    width, step = frame.right - frame.left, 0.034 * frame.height
    start = frame.left + WORDS_AT * width
    ends = seen(np.array([anchor(part) for part in cutaway.parts]))
    at = np.inf
    for part, (u, v) in zip(cutaway.parts, ends, strict=True):
        at = min(v, at - step)
        knee = start - 0.02 * width
        axes.plot([u, knee, start - 0.006 * width], [v, at, at], color="0.35", linewidth=0.6)
        axes.text(start, at, layer_words(part), fontsize=TEXT, va="center")
    above = frame.height * 0.028
    axes.text(start, ends[0, 1] + above, "layer, thickness, its hottest place", fontsize=TEXT - 1)
    foot, resist = cutaway.parts[-1], cutaway.parts[GAP + 1]
    place = np.array([[foot.end / 3, -0.7 * foot.end, resist.span[0]]])
    (u, v), top = seen(place)[0], frame.bottom + BEAM * frame.height
    arrow = {"arrowstyle": "-|>", "color": "black", "linewidth": 1.2}
    axes.annotate("beam", (u, v), (u, top), ha="center", fontsize=TEXT, arrowprops=arrow)
    _bars(axes, cutaway, frame)


def _bars(axes: Axes, cutaway: Cutaway, frame: Frame) -> None:
    """Bars along x and y below the lower front corner."""
    foot = cutaway.parts[-1]
    low, bottom = float(foot.points[:, 1].min()), foot.span[1]
    room = min(float(foot.points[:, 0].max()), foot.end)
    length = next(n for n in LENGTHS if n >= room / 4)
    down = np.array([0.0, -0.022 * frame.height])
    for axis, (name, side) in enumerate((("x", "right"), ("y, the scan", "left"))):
        ends = np.array([[0.0, low, bottom]] * 2)
        ends[0, axis] += 0.15 * length
        ends[1, axis] += 1.15 * length
        (u, v), far = line = seen(ends) + down
        axes.plot(*line.T, color="black", linewidth=2.2, solid_capstyle="butt")
        if side == "left":
            u, v = (u + far[0]) / 2, (v + far[1]) / 2
        words = f"{length:g} mm along {name}"
        axes.text(u, v + down[1] / 2, words, fontsize=TEXT, ha=side, va="top")


def _words(figure: Figure, cutaway: Cutaway, colours: ScalarMappable, words: list[str]) -> None:
    """Title, colour bar, and how the drawing differs from the stack."""
    figure.text(0.03, 0.965, shorten(cutaway.title, 90), fontsize=11, va="center")
    bar = figure.add_axes((0.60, 0.125, 0.36, 0.022))
    figure.colorbar(colours, cax=bar, orientation="horizontal")
    bar.tick_params(labelsize=TEXT)
    bar.set_title(colour_words(cutaway), fontsize=TEXT + 0.5)
    text = "\n".join(fill(line, 130) for line in words)
    figure.text(0.03, 0.012, text, fontsize=6.5, va="bottom", color="0.15")
