"""What the drawings of symbols share: paper, ground, crowns, people, measures."""

from __future__ import annotations

import numpy as np

from screenplan.outputs.palette import COLOURS

#: Points.
TEXT = 9.0


def paper(across, up, wide: float = 6.4):
    """Give a figure and axes of equal scale that show a stretch of the plane, without ticks.

    Parameters
    ----------
    across, up : pair of float
        Least and greatest coordinate.
    wide : float
        Inches.
    """
    from matplotlib.figure import Figure

    tall = wide * (up[1] - up[0]) / (across[1] - across[0])
    figure = Figure(figsize=(wide, tall))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=across, ylim=up, aspect="equal")
    axes.set_axis_off()
    return figure, axes


def chart(xlabel: str, ylabel: str, size=(6.4, 3.0), panels: int = 1):
    """Give a figure with the axes of a chart, or with several side by side."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=size, layout="constrained")
    axes = figure.subplots(1, panels, squeeze=False)[0]
    for one in axes:
        one.set(xlabel=xlabel, ylabel=ylabel)
        one.spines[["top", "right"]].set_visible(False)
        one.tick_params(labelsize=8)
    return figure, axes[0] if panels == 1 else axes


def say(axes, x, y, words, *, role="ink", ha="center", va="center", size=TEXT, paper_behind=False):
    """Write words at a place."""
    box = {"facecolor": COLOURS["paper"], "edgecolor": "none", "pad": 1.0} if paper_behind else None
    axes.text(x, y, words, color=COLOURS[role], ha=ha, va=va, fontsize=size, bbox=box)


def line(axes, points, *, role="ink", width=1.0, dashes="solid", zorder=2):
    """Draw a line through points."""
    x, y = zip(*points, strict=True)
    axes.plot(
        x,
        y,
        color=COLOURS[role],
        linewidth=width,
        linestyle=dashes,
        zorder=zorder,
        solid_capstyle="butt",
    )


def area(axes, points, *, role, edge=None, hatch=None, alpha=1.0, zorder=1):
    """Fill an outline."""
    x, y = zip(*points, strict=True)
    axes.fill(
        x,
        y,
        facecolor=COLOURS[role],
        edgecolor=COLOURS[edge or role],
        hatch=hatch,
        alpha=alpha,
        linewidth=0.8,
        zorder=zorder,
    )


def measure(axes, start, end, words, *, away=(0.0, 0.0), role="quiet"):
    """Draw a measure between two places, with arrows at both ends and words beside its middle."""
    axes.annotate(
        "",
        xy=end,
        xytext=start,
        arrowprops={
            "arrowstyle": "<->",
            "color": COLOURS[role],
            "lw": 0.8,
            "shrinkA": 0,
            "shrinkB": 0,
        },
    )
    middle = [(a + b) / 2 + c for a, b, c in zip(start, end, away, strict=True)]
    say(axes, *middle, words, role=role, paper_behind=True)


def arrow(axes, start, end, *, role="ink", width=1.0, dashes="solid"):
    """Draw an arrow."""
    axes.annotate(
        "",
        xy=end,
        xytext=start,
        arrowprops={
            "arrowstyle": "->",
            "color": COLOURS[role],
            "lw": width,
            "ls": dashes,
            "shrinkA": 0,
            "shrinkB": 0,
        },
    )


def crown(axes, x, foot, height, width, *, exponent=0.6, role="crown", alpha=1.0, bare=0.0):
    """Draw a crown in elevation: its radius is the depth below the tip to a power."""
    depth = np.linspace(0.0, 1.0, 40)
    radius = 0.5 * width * depth**exponent
    tip, end = foot + height, foot + bare
    heights = tip - depth * (tip - end)
    outline = [
        *zip(x - radius, heights, strict=True),
        *zip((x + radius)[::-1], heights[::-1], strict=True),
    ]
    area(axes, outline, role=role, edge="plant", alpha=alpha)
    line(axes, [(x, foot), (x, end)], role="plant", width=2)


def house(axes, west, foot, wide, wall, *, roof=1.5):
    """Draw a house in elevation."""
    area(
        axes,
        [
            (west, foot),
            (west + wide, foot),
            (west + wide, foot + wall),
            (west + wide / 2, foot + wall + roof),
            (west, foot + wall),
        ],
        role="built",
        edge="quiet",
    )


def person(axes, x, foot, tall=1.6, role="place"):
    """Draw somebody who stands, or sits if small."""
    axes.plot([x], [foot + tall - 0.12], marker="o", markersize=6, color=COLOURS[role])
    line(axes, [(x, foot), (x, foot + tall - 0.25)], role=role, width=2.5)


def dot(axes, x, y, *, role="ink", size=5, mark="o"):
    """Mark a place."""
    axes.plot(
        [x], [y], marker=mark, markersize=size, color=COLOURS[role], linestyle="none", zorder=4
    )
