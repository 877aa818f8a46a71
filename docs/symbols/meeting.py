"""Two crowns of a row that meet up to a height."""

from docs.symbols.pen import area, crown, line, measure, paper, say


def figure():
    """Draw them from the side."""
    drawing, axes = paper((-4, 12), (-1.4, 6.6))
    area(axes, [(-4, -0.3), (12, -0.3), (12, 0), (-4, 0)], role="ground")
    for x in (0, 3, 6, 9):
        crown(axes, x, 0, 6, 4.2, exponent=1.0, alpha=0.75)
    top = 6 * (1 - 3 / 4.2)
    line(axes, [(-2.6, top), (11.2, top)], role="need", dashes="dashed", width=1.2)
    measure(axes, (-2.8, 0), (-2.8, top), r"$z_m$", away=(-0.6, 0), role="need")
    measure(axes, (3, -0.8), (6, -0.8), r"$s$", away=(0, -0.05))
    measure(axes, (-3.5, 0), (-3.5, 6), r"$h$")
    say(axes, 7.6, top + 0.35, "closed below", role="need", ha="left", paper_behind=True)
    return drawing
