"""The sun over a row, and the place that it shades."""

from itertools import pairwise

import numpy as np

from docs.symbols.pen import area, arrow, crown, dot, house, line, paper, say
from screenplan.outputs.palette import COLOURS


def figure():
    """Draw it from the side, with the overcast sky."""
    drawing, axes = paper((-2, 22), (-1.2, 9.6))
    area(axes, [(-2, -0.4), (22, -0.4), (22, 0), (-2, 0)], role="ground")
    house(axes, 0, 0, 6, 3.6)
    crown(axes, 11.5, 0, 4.6, 3, exponent=0.6)
    dot(axes, 6.05, 1.6, role="place", size=6)
    for gamma, dashes in ((0.28, "dashed"), (0.72, "solid")):
        reach = 13.5 if gamma < 0.5 else 9.5
        arrow(
            axes,
            (6.05 + reach * np.cos(gamma), 1.6 + reach * np.sin(gamma)),
            (6.05, 1.6),
            role="open",
            dashes=dashes,
        )
    line(axes, [(6.05, 1.6), (21, 1.6)], role="quiet", width=0.6, dashes="dotted")
    turn = np.linspace(0, 0.72, 30)
    axes.plot(
        6.05 + 3 * np.cos(turn), 1.6 + 3 * np.sin(turn), color=COLOURS["quiet"], linewidth=0.8
    )
    say(axes, 9.4, 2.7, r"$\gamma$", role="quiet")
    say(axes, 15.5, 8.4, "sun: passes over the row", role="open")
    say(axes, 17.5, 3.6, "sun: lost to the row", role="open")
    sky = np.linspace(0, np.pi / 2, 60)
    for one, two in pairwise(sky):
        grey = 0.9 - 0.45 * (1 + 2 * np.sin(one)) / 3
        axes.plot(
            6.05 + 7.4 * np.cos([one, two]),
            1.6 + 7.4 * np.sin([one, two]),
            color=str(grey),
            linewidth=5,
            zorder=0,
        )
    say(axes, 3.0, 8.9, r"overcast sky $L(\gamma)$", role="quiet")
    return drawing
