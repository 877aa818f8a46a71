"""Sight at a drive and at a corner."""

from docs.symbols.pen import area, arrow, dot, line, measure, paper, say


def figure():
    """Draw both from above."""
    drawing, axes = paper((-2, 30), (-6.5, 10.5))
    area(axes, [(-2, -5), (30, -5), (30, 0), (-2, 0)], role="ground")
    area(axes, [(22, 0), (26, 0), (26, 10.5), (22, 10.5)], role="ground")
    line(axes, [(-2, -2.5), (30, -2.5)], role="paper", dashes="dashed")
    line(axes, [(24, 0), (24, 10.5)], role="paper", dashes="dashed")
    area(axes, [(6, 0), (8, 0), (8, 8), (6, 8)], role="built", edge="quiet")
    area(axes, [(22, 0), (17, 0), (22, 5)], role="open", alpha=0.35, hatch="///")
    dot(axes, 7, 3.2, role="ink", size=6)
    area(axes, [(7, 3.2), (-1.5, -2.5), (15.5, -2.5)], role="open", alpha=0.25)
    arrow(axes, (7, 3.2), (-1.5, -2.5), role="open")
    arrow(axes, (7, 3.2), (15.5, -2.5), role="open")
    measure(axes, (7, -5.6), (15.5, -5.6), r"$D$")
    measure(axes, (9.2, 0), (9.2, 3.2), r"$e$", away=(0.5, 0))
    measure(axes, (17, -0.7), (22, -0.7), "leg", away=(0, 0.0))
    measure(axes, (21.3, 0), (21.3, 5), "depth", away=(-1.5, 1.2))
    say(axes, 5.6, 3.4, "driver", ha="right")
    say(axes, 5.6, 6.5, "drive", ha="right", role="quiet")
    say(axes, 28.2, -2.0, "road", role="quiet")
    return drawing
