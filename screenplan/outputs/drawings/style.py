"""How the drawings look: ink, fills, hatches, type, and the few marks that they share.

Every colour has a role and a value of its own (`screenplan.outputs.palette`), so that the report can
swap the values for the dark page (see `screenplan.outputs.drawings.svg`). No role is told by colour alone: lines differ by
their dashes, areas by their hatch, marks by their shape, and everything carries a label.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from screenplan.ground.texts import clean_text
from screenplan.outputs.palette import COLOURS

#: Points; at the printed size.
TEXT, SMALL = 7.0, 6.0
#: Line widths in points.
HEAVY, LINE, THIN, HAIR = 1.4, 0.9, 0.6, 0.35
#: What the years of a drawing are told apart by, besides their labels.
DASHES = ((0, ()), (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)), (0, (1, 1.5)), (0, (10, 3)))

#: Labels from layers are cut at this many characters.
LONGEST_LABEL = 40

SETTINGS = {
    "font.family": "sans-serif",
    "font.size": TEXT,
    "text.color": COLOURS["ink"],
    "axes.edgecolor": COLOURS["quiet"],
    "axes.labelcolor": COLOURS["ink"],
    "axes.linewidth": THIN,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": COLOURS["quiet"],
    "ytick.color": COLOURS["quiet"],
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "xtick.major.width": THIN,
    "ytick.major.width": THIN,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "hatch.linewidth": 0.4,
    "text.parse_math": False,
    "svg.fonttype": "none",
    "path.simplify": False,
}


@contextmanager
def drawing_style() -> Iterator[None]:
    """Draw in the project's own type and line widths."""
    import matplotlib as mpl

    with mpl.rc_context(SETTINGS):  # type: ignore[arg-type]  # keys as matplotlib lists them
        yield


_OFF_SCREEN: ContextVar[bool] = ContextVar("off_screen", default=False)


@contextmanager
def off_screen() -> Iterator[None]:
    """Make figures that no window or notebook shows, for writing to files."""
    token = _OFF_SCREEN.set(True)
    try:
        yield
    finally:
        _OFF_SCREEN.reset(token)


def new_figure(width_mm: float, height_mm: float):
    """Make a figure of a size on paper; a notebook shows it by itself."""
    size = (width_mm / 25.4, height_mm / 25.4)
    if _OFF_SCREEN.get():
        from matplotlib.figure import Figure

        return Figure(figsize=size)
    import matplotlib.pyplot as plt

    return plt.figure(figsize=size)


def clean(text: Any, most: int = LONGEST_LABEL) -> str:
    """Give a text from a layer as one line that can be drawn; empty where there is none."""
    if text is None or type(text).__name__ in ("NAType", "NaTType"):
        return ""
    if isinstance(text, float) and text != text:
        return ""
    line = " ".join(clean_text(text).split())
    return line if len(line) <= most else line[: most - 1] + "…"


def write(ax, x, y, text: Any, *, role: str = "ink", halo: bool = True, **options: Any):
    """Put a text into a drawing; signs of a formula in it are drawn as they are."""
    settings = {"fontsize": TEXT, "ha": "center", "va": "center", "zorder": 20} | options
    made = ax.text(x, y, clean(text, 120), color=COLOURS[role], parse_math=False, **settings)
    # A page gives all its drawings' letters a halo of its own: as text, not as outlines.
    if halo and not _OFF_SCREEN.get():
        from matplotlib.patheffects import withStroke

        made.set_path_effects([withStroke(linewidth=1.6, foreground=COLOURS["paper"])])
    return made


def year_words(year: int) -> str:
    """Say a year since planting."""
    return "now" if year == 0 else f"year {year}"


def year_gid(year: int, name: str) -> str:
    """Identify what is drawn for one year, so that the report can show a year at a time."""
    return f"y{year:02d}.{name}"


def plain_axes(ax) -> None:
    """Make axes of a map: no frame, no ticks, one scale both ways."""
    ax.set_axis_off()
    ax.set_aspect("equal", adjustable="box")
