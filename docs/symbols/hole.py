"""A planting hole with its ball, mulch and stem."""

from docs.symbols.pen import area, crown, line, measure, paper, say


def figure():
    """Draw a section."""
    drawing, axes = paper((-3.4, 3.8), (-1.7, 2.5), wide=5.6)
    area(axes, [(-3.3, -1.5), (3.7, -1.5), (3.7, 0), (-3.3, 0)], role="ground")
    area(axes, [(-1.5, 0), (1.5, 0), (1.5, -0.9), (-1.5, -0.9)], role="built", edge="quiet")
    area(axes, [(-0.6, 0), (0.6, 0), (0.5, -0.9), (-0.5, -0.9)], role="forbid", edge="ink")
    area(axes, [(-1.9, 0), (-0.25, 0), (-0.25, 0.14), (-1.9, 0.14)], role="open", alpha=0.5)
    area(axes, [(0.25, 0), (1.9, 0), (1.9, 0.14), (0.25, 0.14)], role="open", alpha=0.5)
    crown(axes, 0, 0, 2.2, 1.3, exponent=0.6, bare=0.3)
    measure(axes, (-0.6, -1.1), (0.6, -1.1), "$b$", away=(0, -0.02))
    measure(axes, (-1.5, -1.4), (1.5, -1.4), "$f b$", away=(0, -0.02))
    measure(axes, (2.0, 0), (2.0, -0.9), "$q$", away=(0.3, 0))
    line(axes, [(1.5, -0.9), (2.1, -0.9)], role="quiet", width=0.6, dashes="dotted")
    say(axes, -1.9, 0.35, "mulch, kept off the stem", ha="center", role="quiet", size=8)
    say(axes, 0, -0.45, "ball", role="paper", size=8)
    return drawing
