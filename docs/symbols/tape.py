"""A tape on a slope, and a peg by two tapes."""

import numpy as np

from docs.symbols.pen import area, chart, dot, line, measure, say
from screenplan.outputs.palette import COLOURS


def figure():
    """Draw a slope from the side, and two tapes from above."""
    drawing, (left, right) = chart("", "", size=(6.8, 2.9), panels=2)
    for axes in (left, right):
        axes.set_axis_off()
        axes.set_aspect("equal")
    x = np.linspace(0, 10, 60)
    z = 0.22 * x + 0.35 * np.sin(x * 0.9)
    area(left, [(0, -0.6), *zip(x, z, strict=True), (10, -0.6)], role="ground", edge="quiet")
    left.plot(x, z + 0.05, color=COLOURS["open"], linewidth=2)
    measure(left, (0, -1.1), (10, -1.1), r"$\ell$ level", away=(0, -0.05))
    say(left, 4.2, 2.6, r"$s$ along the ground", role="open")
    line(left, [(10, -1.1), (10, z[-1])], role="quiet", width=0.6, dashes="dotted")
    say(left, -0.9, 0.75, "zero peg", role="quiet", size=8, ha="left")
    left.set(xlim=(-1, 11), ylim=(-2, 4))
    a, b, p = (0.0, 0.0), (8.0, 0.0), (3.1, 4.2)
    line(right, [a, b], role="quiet", dashes="dashed")
    line(right, [a, p], role="open", width=1.4)
    line(right, [b, p], role="open", width=1.4)
    line(right, [p, (3.1, 0)], role="quiet", width=0.6, dashes="dotted")
    for (px, py), word, dx, dy in (
        (a, "$A$", -0.4, -0.4),
        (b, "$B$", 0.4, -0.4),
        (p, "peg", 0, 0.55),
    ):
        dot(right, px, py, size=6)
        say(right, px + dx, py + dy, word)
    say(right, 1.0, 2.4, "$a$", role="open")
    say(right, 6.1, 2.5, "$b$", role="open")
    measure(right, (0, -0.9), (8, -0.9), "$c$", away=(0, -0.05))
    measure(right, (0, -0.25), (3.1, -0.25), "$t$", away=(0, 0.0))
    say(right, 3.25, 3.3, r"$\theta$", role="quiet", ha="left")
    right.set(xlim=(-1, 9), ylim=(-1.6, 5.4))
    return drawing
