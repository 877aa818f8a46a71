"""Years of closing of one view by draw, and what is told of them."""

import numpy as np

from docs.symbols.pen import chart, say
from screenplan.outputs.palette import COLOURS


def figure():
    """Draw the share of draws by which the view is closed, of made-up draws."""
    drawing, axes = chart(
        "years since planting", "share of draws in which it is closed", size=(6.4, 3.0)
    )
    years = np.exp(np.random.default_rng(1).normal(np.log(8.6), 0.35, 4000))
    whole = np.arange(0, 26)
    share = [(np.ceil(years) <= year).mean() for year in whole]
    axes.step(whole, share, where="post", color=COLOURS["plant"])
    for part, word in ((0.1, "1 of 10"), (0.5, "5 of 10: the year that is told"), (0.9, "9 of 10")):
        year = next(year for year, of in zip(whole, share, strict=True) if of >= part)
        axes.plot(
            [0, year, year], [part, part, 0], color=COLOURS["need"], linestyle="dotted", linewidth=1
        )
        say(axes, year + 0.4, part - 0.05, word, ha="left", role="need", size=8)
    axes.plot([10, 10], [0, share[10]], color=COLOURS["open"], linewidth=1)
    axes.plot([10], [share[10]], "o", color=COLOURS["open"], markersize=5)
    say(axes, 9.7, share[10] + 0.05, "chance by year 10", ha="right", role="open", size=8)
    axes.set(xlim=(0, 25), ylim=(0, 1.02))
    return drawing
