"""The cut stack in three dimensions: drawn off-screen, or in a window that can be turned.

    python -m thermo.show.solid PARTS.npz IMAGE.npy     draw and end
    python -m thermo.show.solid FOLDER                     open a window

Run as a process of its own: a graphics library that crashes must not take anything with it.
"""

import sys
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermo.show.cutaway import Cutaway, read_cutaway
from thermo.show.stack_view import (
    AHEAD,
    MAP,
    SIZE,
    UP,
    anchor,
    colour_words,
    drawn_words,
    frame_of,
    layer_words,
)

Array = NDArray[np.float64]
Index = NDArray[np.int64]
FINER = 2  # pixels drawn for one of the picture, along each side
BEFORE = -8.0  # steps of depth towards the eye: edges lie before their own faces
EDGE = (("white", 3.0), ("black", 1.0))  # pixels: dark on bright, bright on dark
ASIDE = 3.0  # mm from the stack to its words
UNSEEN = ("EGL", "OSOpenGL")  # kinds of window that no screen shows
FAR = 1000.0  # mm from the eye to the middle of the picture


def write_parts(cutaway: Cutaway, path: Path) -> None:
    """What `draw` needs, in one file."""
    faces, edges = cutaway.faces, cutaway.edges
    np.savez(path, points=cutaway.points, T=cutaway.T, faces=faces, edges=edges)


def draw(surfaces: Path, image: Path) -> None:
    """Draw the bare stack without words, FINER times as fine as the picture: (rows, columns, 3)."""
    import pyvista

    with np.load(surfaces) as file:
        points, T, faces, edges = (file[name] for name in ("points", "T", "faces", "edges"))
    pyvista.global_theme.multi_samples = 1  # finer pixels are smooth enough
    plotter: Any = pyvista.Plotter(off_screen=True, window_size=[FINER * n for n in SIZE])
    _stack(plotter, points, T, faces, edges, FINER)
    found = np.asarray(plotter.screenshot(None, return_img=True))
    plotter.close()
    if not found.std() > 1:  # of 255: an empty picture has one colour
        raise RuntimeError("the graphics library drew nothing")
    np.save(image, found)


def _stack(
    plotter: Any, points: Array, T: Array, faces: Index, edges: Index, finer: int = 1
) -> Any:
    """Faces in their true colours, edges and the eye; returns what gives the colours."""
    import pyvista

    fours = np.column_stack([np.full(len(faces), 4), faces]).ravel()
    surface = pyvista.PolyData(points, faces=fours)
    surface["temperature_degC"] = T
    plotter.set_background("white")
    faced = plotter.add_mesh(surface, cmap=MAP, lighting=False, show_scalar_bar=False)
    pairs = np.column_stack([np.full(edges.shape[1], 2), edges.T]).ravel()
    lines = pyvista.PolyData(points, lines=pairs)
    for number, (color, width) in enumerate(EDGE):
        style = {"color": color, "line_width": width * finer}
        mapper = plotter.add_mesh(lines, lighting=False, pickable=False, **style).mapper
        mapper.SetResolveCoincidentTopologyToPolygonOffset()
        mapper.SetRelativeCoincidentTopologyLineOffsetParameters(0.0, BEFORE * (number + 1))
    frame, camera = frame_of(points), plotter.camera
    camera.focal_point = tuple(frame.middle)
    camera.position = tuple(frame.middle - FAR * AHEAD)
    camera.up = tuple(UP)
    camera.parallel_projection = True
    camera.parallel_scale = frame.height / 2
    plotter.reset_camera_clipping_range()
    return faced.mapper


def show(folder: Path) -> None:
    """Open a window with the stack: it can be turned, and a click tells the temperature."""
    import pyvista

    cutaway = read_cutaway(folder)
    plotter: Any = pyvista.Plotter(title=cutaway.title, window_size=list(SIZE))
    kind = plotter.render_window.GetClassName()
    if any(word in kind for word in UNSEEN):
        raise RuntimeError("the graphics library finds no screen")
    fill_window(plotter, cutaway)
    plotter.show()


def fill_window(plotter: Any, cutaway: Cutaway) -> None:
    """The stack with its words, and what a click tells."""
    mapper = _stack(plotter, cutaway.points, cutaway.T, cutaway.faces, cutaway.edges)
    colours = {
        "mapper": mapper,
        "color": "black",
        "fmt": "%.4g",
        "title_font_size": 16,
        "label_font_size": 14,
    }
    plotter.add_scalar_bar(
        colour_words(cutaway), position_x=0.6, position_y=0.05, width=0.36, **colours
    )
    aside = np.array([0.0, ASIDE, 0.0])
    ends = np.array([anchor(part) + aside for part in cutaway.parts])
    words = [layer_words(part) for part in cutaway.parts]
    plotter.add_point_labels(
        ends,
        words,
        shape=None,
        text_color="black",
        bold=False,
        font_size=14,
        always_visible=True,
        show_points=False,
        justification_vertical="center",
    )
    text = "\n".join([*drawn_words(cutaway), "right click: temperature there; q: close"])
    plotter.add_text(text, position=(10, 10), font_size=7, color="black")

    def tell(at: Array) -> None:
        found = told(cutaway, at)
        plotter.add_text(found, "upper_left", font_size=10, color="black", name="picked")

    plotter.enable_surface_point_picking(tell, show_message=False, show_point=False)


def told(cutaway: Cutaway, at: Array) -> str:
    """Layer, temperature and place of the node nearest to a place in the drawing."""
    ends = np.cumsum([len(part.points) for part in cutaway.parts])
    near = int(((cutaway.points - at) ** 2).sum(1).argmin())
    name = cutaway.parts[int(np.searchsorted(ends, near, "right"))].name
    x, y = cutaway.points[near, :2]
    return f"{name}: {cutaway.T[near]:.1f} degC at x = {x:.1f}, y = {y:.1f} mm"


if __name__ == "__main__":
    paths = [Path(argument) for argument in sys.argv[1:]]
    (draw if len(paths) == 2 else show)(*paths)
