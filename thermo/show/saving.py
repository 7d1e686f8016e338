"""Pictures saved twice: PNG to look at, SVG to print."""

from pathlib import Path

from matplotlib import rc_context
from matplotlib.figure import Figure

DOTS, IN_PRINT = 150, 110  # per inch; of what stays a bitmap within the SVG


def save(figure: Figure, path: Path) -> None:
    """The figure at path (.png) and beside it as .svg, the same bytes for the same figure."""
    figure.savefig(path, dpi=DOTS)
    with rc_context({"svg.hashsalt": path.stem}):
        figure.savefig(path.with_suffix(".svg"), dpi=IN_PRINT, metadata={"Date": None})
