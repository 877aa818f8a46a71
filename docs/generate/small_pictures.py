"""Small pictures of a curve with points, as SVG of few elements.

They are written by hand and not by the drawing library, so that they are the same with any release of it
and a page may hold many of them: a few kilobytes each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np

from screenplan.outputs.palette import COLOURS

#: Size of a picture and of its panels, pixels.
WIDTH, HEIGHT = 440, 216
PANEL_WIDTH, PANEL_HEIGHT = 172, 108
TOP, LEFTS = 48, (32, 254)
#: Colours and signs of the groups of points, in turn; no two groups differ by colour alone.
POINT_COLOURS = (COLOURS["place"], COLOURS["open"], COLOURS["need"], COLOURS["ink"])
SIGNS = ("circle", "square", "triangle", "diamond")
#: Width of a letter of the small type, pixels; a legend is broken by it.
LETTER = 5.0
_STYLE = (
    f"text{{font:9px sans-serif;fill:{COLOURS['ink']}}}.h{{font-size:12px;font-weight:700}}"
    f".q{{fill:{COLOURS['quiet']}}}.a{{stroke:{COLOURS['faint']};fill:none}}"
    f".b{{fill:{COLOURS['crown']};fill-opacity:.55}}.l{{stroke:{COLOURS['plant']};fill:none;stroke-width:2}}"
)


@dataclass(frozen=True)
class Points:
    """Points of one source or region.

    Parameters
    ----------
    name : str
        As the legend has it.
    x, y : sequence of float
    ends : sequence of pairs, optional
        Of each point low and high, drawn as a line.
    hollow : bool
        Drawn as an outline: what the curve was fitted to and is no check of it.
    n : int
        Trees behind the points; 0 where that is not known.
    """

    name: str
    x: Sequence[float]
    y: Sequence[float]
    ends: Sequence[tuple[float, float]] = ()
    hollow: bool = False
    n: int = 0


@dataclass(frozen=True)
class Panel:
    """A curve with its range, and points.

    Parameters
    ----------
    title : str
    across, up : str
        What the axes are.
    x : ndarray, (steps,)
    low, typical, high : ndarray, (steps,)
    points : list of Points
    """

    title: str
    across: str
    up: str
    x: np.ndarray
    low: np.ndarray
    typical: np.ndarray
    high: np.ndarray
    points: list[Points] = field(default_factory=list)


def picture(title: str, subtitle: str, panels: Sequence[Panel]) -> str:
    """Draw panels side by side, with one legend below."""
    names = list(dict.fromkeys(series.name for panel in panels for series in panel.points))
    signs = {
        name: (POINT_COLOURS[k % len(POINT_COLOURS)], SIGNS[(k + k // len(SIGNS)) % len(SIGNS)])
        for k, name in enumerate(names)
    }
    drawn = [series for panel in panels for series in panel.points]
    hollow = {series.name for series in drawn if series.hollow}
    trees = {
        name: [series.n for series in drawn if series.name == name and series.n] for name in names
    }
    legend, rows = _legend(names, signs, hollow, trees)
    tall = HEIGHT + 12 * max(rows - 1, 0)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {tall}" width="{WIDTH}" height="{tall}" role="img">',
        f"<title>{escape(title)}</title><style>{_STYLE}</style>",
        f'<rect width="{WIDTH}" height="{tall}" fill="{COLOURS["paper"]}"/>',
        f'<text class="h" x="8" y="15">{escape(title)}</text>',
        f'<text class="q" x="8" y="28">{escape(subtitle)}</text>',
        *(
            part
            for left, panel in zip(LEFTS, panels, strict=False)
            for part in _panel(left, panel, signs)
        ),
        *legend,
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _panel(left: float, panel: Panel, signs) -> list[str]:
    highest = max(
        [float(np.max(panel.high))]
        + [value for series in panel.points for value in series.y]
        + [end for series in panel.points for pair in series.ends for end in pair]
    )
    step_x, step_y = nice_step(float(panel.x[-1])), nice_step(highest)
    top = step_y * np.ceil(highest / step_y)

    def at(x, y) -> tuple[float, float]:
        return left + PANEL_WIDTH * x / float(panel.x[-1]), TOP + PANEL_HEIGHT * (1.0 - y / top)

    def way(xs, ys) -> str:
        return " ".join(f"{a:.1f},{b:.1f}" for a, b in map(at, xs, ys))

    bottom = TOP + PANEL_HEIGHT
    grid = [f"M{left} {at(0, y)[1]:.1f}h{PANEL_WIDTH}" for y in np.arange(0.0, top + 1e-9, step_y)]
    parts = [f'<path class="a" d="{"".join(grid)}"/>']
    parts += [
        f'<text class="q" x="{left - 3}" y="{at(0, y)[1] + 3:.1f}" text-anchor="end">{y:g}</text>'
        for y in np.arange(0.0, top + 1e-9, step_y)
    ]
    parts += [
        f'<text class="q" x="{at(x, 0)[0]:.1f}" y="{bottom + 11}" text-anchor="middle">{x:g}</text>'
        for x in np.arange(0.0, float(panel.x[-1]) + 1e-9, step_x)
    ]
    parts += [
        f'<text class="q" x="{left}" y="{TOP - 5}">{escape(panel.up)}</text>',
        f'<text class="q" x="{left + PANEL_WIDTH}" y="{bottom + 22}" text-anchor="end">{escape(panel.across)}</text>',
        f'<polygon class="b" points="{way(panel.x, panel.low)} {way(panel.x[::-1], panel.high[::-1])}"/>',
        f'<polyline class="l" points="{way(panel.x, panel.typical)}"/>',
    ]
    for series in panel.points:
        colour, sign = signs[series.name]
        bars = [
            f"M{at(x, low)[0]:.1f} {at(x, low)[1]:.1f}V{at(x, high)[1]:.1f}"
            for x, (low, high) in zip(series.x, series.ends, strict=False)
        ]
        marks = "".join(mark(sign, *at(x, y)) for x, y in zip(series.x, series.y, strict=True))
        fill = COLOURS["paper"] if series.hollow else colour
        if bars:
            parts.append(f'<path d="{"".join(bars)}" stroke="{colour}" stroke-opacity=".6"/>')
        parts.append(f'<path d="{marks}" fill="{fill}" stroke="{colour}"/>')
    return parts


def _legend(names, signs, hollow, trees) -> tuple[list[str], int]:
    parts, x, y, rows = [], 10.0, TOP + PANEL_HEIGHT + 40.0, 1
    for name in names:
        counted = f" (n {', '.join(map(str, trees[name]))})" if trees[name] else ""
        said = f"{name}{counted}"
        wide = 14.0 + LETTER * len(said)
        if x + wide > WIDTH and x > 10.0:
            x, y, rows = 10.0, y + 12.0, rows + 1
        colour, sign = signs[name]
        fill = COLOURS["paper"] if name in hollow else colour
        parts.append(f'<path d="{mark(sign, x, y - 3.0)}" fill="{fill}" stroke="{colour}"/>')
        parts.append(f'<text x="{x + 6:.1f}" y="{y:.1f}">{escape(said)}</text>')
        x += wide
    return parts, rows


def mark(sign: str, x: float, y: float) -> str:
    """Path of a sign around a place."""
    start = {
        "circle": (f"M{x - 2.5:.1f} {y:.1f}", "a2.5 2.5 0 1 0 5 0a2.5 2.5 0 1 0-5 0z"),
        "square": (f"M{x - 2.2:.1f} {y - 2.2:.1f}", "h4.4v4.4h-4.4z"),
        "triangle": (f"M{x:.1f} {y - 3.0:.1f}", "l3 5.2h-6z"),
        "diamond": (f"M{x:.1f} {y - 3.3:.1f}", "l3.3 3.3l-3.3 3.3l-3.3-3.3z"),
    }
    return "".join(start[sign])


def nice_step(greatest: float) -> float:
    """Step of an axis: 1, 2 or 5 times a power of ten, at most five of them.

    Examples
    --------
    >>> nice_step(50.0), nice_step(11.9), nice_step(3.0)
    (10.0, 5.0, 1.0)
    """
    power = 10.0 ** np.floor(np.log10(greatest / 5.0))
    return float(next(power * k for k in (1.0, 2.0, 5.0, 10.0) if power * k * 5.0 >= greatest))
