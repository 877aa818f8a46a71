"""Candidates along a line, the rays that each would stop, and a run that is chosen."""

from docs.symbols.pen import area, arrow, dot, line, measure, paper, say


def figure():
    """Draw them from above."""
    drawing, axes = paper((-1, 18), (-1.6, 7.6))
    area(axes, [(3.4, 6.2), (5, 6.2), (5, 6.8), (3.4, 6.8)], role="built", edge="quiet")
    area(axes, [(10.6, 6.2), (12.2, 6.2), (12.2, 6.8), (10.6, 6.8)], role="built", edge="quiet")
    area(
        axes,
        [(5.5, -0.9), (10, -0.9), (10, 0.3), (5.5, 0.3)],
        role="crown",
        edge="place",
        alpha=0.4,
    )
    line(axes, [(0, 3), (15, 3)], role="quiet", width=0.8)
    for start, ends in (((4.2, 6.2), (6, 7.5, 9.2)), ((11.4, 6.2), (6.3, 8, 9.6))):
        for end in ends:
            arrow(axes, start, (end, 0.2), role="open", width=0.7)
    chosen = (5, 6, 7, 8, 9, 10)
    for number in range(16):
        dot(
            axes,
            number,
            3,
            role="plant" if number in chosen else "faint",
            size=9 if number in chosen else 6,
        )
    measure(axes, (5, 3.75), (10, 3.75), r"a run: $x_j = 1$", away=(0, 0.1), role="plant")
    say(axes, 0, 3.5, r"$x_j = 0$", role="quiet")
    say(axes, 4.2, 7.2, "$v_1$", role="open")
    say(axes, 11.4, 7.2, "$v_2$", role="open")
    say(axes, 7.75, -0.5, "private place", role="place")
    say(axes, 13.6, 1.9, r"ray $i$, stopped by the plants $S_i$", role="open")
    return drawing
