"""A look from a window over a row onto a place."""

from docs.symbols.pen import area, arrow, crown, dot, house, line, measure, paper, person, say


def figure():
    """Draw it from the side."""
    drawing, axes = paper((-2, 29), (-2.2, 9))
    area(axes, [(-2, -0.4), (29, -0.4), (29, 0), (-2, 0)], role="ground")
    house(axes, 20, 0, 7, 5.6)
    area(axes, [(19.9, 3.7), (20.15, 3.7), (20.15, 4.9), (19.9, 4.9)], role="paper", edge="ink")
    person(axes, 1.5, 0, 1.6)
    person(axes, 4.0, 0, 1.2)
    crown(axes, 8, 0, 3.4, 2.4, exponent=0.6)
    dot(axes, 21, 4.4, role="open")
    say(axes, 21.4, 4.4, "eye $o$", ha="left", role="open", paper_behind=True)
    for x, z, dashes in ((1.5, 1.5, "solid"), (4.0, 1.1, "dashed")):
        arrow(axes, (21, 4.4), (x, z), role="open", dashes=dashes)
    say(axes, 1.5, 2.3, "head $q$", role="place")
    line(axes, [(8, 0), (8, 2.5)], role="need", width=2.4)
    say(axes, 8.4, 4.1, r"$H(x)$", role="need", ha="left")
    measure(axes, (1.5, -1.1), (8, -1.1), r"$a$")
    measure(axes, (8, -1.1), (21, -1.1), r"$b$")
    say(axes, 14.5, 3.4, r"$p(t) = o + t\,(q - o)$", role="open", paper_behind=True)
    return drawing
