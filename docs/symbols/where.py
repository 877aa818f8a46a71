"""A row inside its parcel: the setback of the boundary, that of a pipe, and the ground that is left."""

from docs.symbols.pen import area, dot, line, measure, paper, say


def figure():
    """Draw it from above."""
    drawing, axes = paper((-1.5, 15.5), (-2.2, 8.2))
    area(axes, [(0, 0), (14, 0), (14, 7), (0, 7)], role="paper", edge="ink")
    area(axes, [(1.6, 0.2), (13.8, 0.2), (13.8, 5.4), (1.6, 5.4)], role="crown", alpha=0.45)
    area(
        axes,
        [(8.2, 0.2), (10.2, 0.2), (10.2, 5.4), (8.2, 5.4)],
        role="ground",
        edge="forbid",
        hatch="///",
    )
    line(axes, [(9.2, -0.8), (9.2, 7.6)], role="place", width=2, dashes="dashed")
    line(axes, [(1.6, 5.4), (13.8, 5.4)], role="quiet")
    for x in (1.6, 3.2, 4.8, 6.4, 8.0, 10.4, 12.0, 13.6):
        dot(axes, x, 5.4, role="plant", size=7)
    measure(axes, (4.0, 5.4), (4.0, 7.0), r"$d$", away=(0.5, 0))
    measure(axes, (9.2, 1.6), (10.2, 1.6), r"$e$", away=(0, 0.5))
    measure(axes, (1.6, 4.5), (8.0, 4.5), r"$L$", away=(0, -0.05))
    measure(axes, (4.8, 5.9), (6.4, 5.9), r"$s$", away=(0, 0.35))
    say(axes, 0.15, 7.3, "boundary", ha="left", role="quiet")
    say(axes, 9.45, 7.6, "buried pipe", ha="left", role="place")
    say(axes, 4.6, 2.4, "ground that every rule leaves", role="plant")
    say(axes, 1.6, 5.95, "zero peg", role="quiet")
    say(axes, 7, -1.4, "The planting line goes on through the gap; so does the tape.", role="quiet")
    return drawing
