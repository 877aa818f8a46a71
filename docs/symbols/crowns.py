"""A crown at size, and the curve of its height."""

import numpy as np

from docs.symbols.pen import area, chart, crown, line, measure, say
from screenplan.outputs.palette import COLOURS


def figure():
    """Draw the crown from the side, and height by year beside it."""
    drawing, (left, right) = chart("", "", size=(6.8, 3.2), panels=2)
    left.set(xlim=(-4.2, 4.2), ylim=(-0.8, 6.6), aspect="equal")
    left.set_axis_off()
    area(left, [(-4, -0.3), (4, -0.3), (4, 0), (-4, 0)], role="ground")
    crown(left, 0, 0, 6, 4.4, exponent=0.55, bare=0.8)
    measure(left, (-3.2, 0), (-3.2, 6), r"$h$")
    measure(left, (2.9, 0), (2.9, 0.8), r"$c$", away=(0.5, 0))
    measure(left, (0, 3.1), (1.57, 3.1), r"$r(z)$", away=(0, 0.5))
    measure(left, (3.4, 0), (3.4, 3.1), r"$z$", away=(0.45, 0))
    line(left, [(1.6, 3.1), (3.5, 3.1)], role="quiet", width=0.6, dashes="dotted")
    measure(left, (-2.2, -0.5), (2.2, -0.5), r"$w = 2R$", away=(0, -0.05))
    years = np.linspace(0, 30, 120)
    for rate, asymptote, role, word in (
        (0.12, 11, "crown", "high"),
        (0.1, 9, "plant", "typical"),
        (0.085, 7, "closed", "low"),
    ):
        age = -np.log(1 - (0.9 / asymptote) ** (1 / 1.2)) / rate
        heights = asymptote * (1 - np.exp(-rate * (years + age))) ** 1.2
        right.plot(years, heights, color=COLOURS[role])
        say(
            right,
            30.4,
            heights[-1],
            word,
            ha="left",
            size=8,
            role=role if role != "crown" else "quiet",
        )
    right.axhline(9, color=COLOURS["quiet"], linestyle="dotted", linewidth=0.8)
    say(right, 1, 9.35, r"$A$", ha="left", role="quiet")
    say(right, 0.6, 0.35, r"$h_0$", ha="left", role="quiet")
    right.set(xlabel="years since planting", ylabel="height, m", ylim=(0, 11.5), xlim=(0, 37))
    return drawing
