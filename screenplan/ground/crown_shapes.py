"""Crown shapes: one record each, from which all follows that is asked of a shape.

A crown stands upright on a stem, from the clear stem c up to its height h, with the depth D = h - c.
At the share u = (h - z) / D of its depth below the tip its radius is R s(u), where R is the greatest
one, and s is given by three numbers:

    s(u)^2 = a + b u + d u^2        0 at the tip <= u <= 1 at the foot of the crown

From them follow the radius at a height, how far up two neighbours meet, the outline, whether a crown
holds another (`screenplan.planting.shapes`), and what the compiled tests of sight lines take
(`screenplan.views.solids`). Another shape is another record here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from screenplan.ground.errors import refuse

#: Points of an outline from the tip of a rounded crown to its foot.
OUTLINE_POINTS = 20


@dataclass(frozen=True)
class CrownShape:
    """What is known of one crown shape.

    Parameters
    ----------
    word : str
        Its name in plans and layers.
    square : tuple of 3 floats
        The numbers a, b, d of the module's description: 1 at the widest height.
    along_row : bool
        Whether it is a cuboid along its row, as clipped hedges are; the others are round in plan.

    Raises
    ------
    ValueError
        If its crowns would not be convex, or the tests of sight lines could not take it.
    """

    word: str
    square: tuple[float, float, float]
    along_row: bool = False

    def __post_init__(self) -> None:
        a, b, d = self.square
        convex = b * b >= 4.0 * a * d and min(a, a + b + d) >= 0.0
        if not convex or abs(self.square_at(1.0 - (self.widest or 0.0)) - 1.0) > 1e-9:
            raise ValueError(f"a {self.word} is not convex, or its greatest radius is not 1")
        if (d > 0.0 and not self.even) or (self.along_row and self.square != (1.0, 0.0, 0.0)):
            raise ValueError(f"sight lines are not tested against a {self.word}")

    @property
    def even(self) -> bool:
        """Whether the radius falls evenly from the foot of the crown to its tip."""
        return self.square == (0.0, 0.0, 1.0)

    @property
    def widest(self) -> float | None:
        """Share of the depth, from the foot, at which it is widest; None if as wide everywhere."""
        _, b, d = self.square
        if b == d == 0.0:
            return None
        if d >= 0.0:
            return 0.0 if b + d > 0.0 else 1.0
        return 1.0 - min(max(-b / (2.0 * d), 0.0), 1.0)

    def square_at(self, u):
        """Give s(u)^2; ``u`` may be an array."""
        a, b, d = self.square
        return a + (b + d * u) * u

    def shares_with(self, square):
        """Give the least and the greatest u at which s(u)^2 has a value from 0 to 1, which may be an array.

        They may lie outside 0 to 1: the crown ends there.
        """
        a, b, d = self.square
        if d:
            root = (b * b - 4.0 * d * (a - square)) ** 0.5 / (2.0 * abs(d))
            middle = -b / (2.0 * d)
            return (middle - root, middle + root) if d < 0.0 else (middle + root, 1.0 + 0.0 * root)
        if b:
            at = (square - a) / b
            return (at, 1.0 + 0.0 * at) if b > 0.0 else (0.0 * at, at)
        return 0.0 * square, 1.0 + 0.0 * square

    def surface(self, radius, depth):
        """Give f, l, n: inside, x^2 + y^2 + f w^2 + 2 l w + n < 0 with w = z - h; depths are above 0."""
        a, b, d = self.square
        share = radius / depth
        return -d * share * share, 0.5 * b * radius * share, -a * radius * radius

    def outline(self) -> list[tuple[float, float]]:
        """Half an outline, upwards: shares of the greatest radius, and of the depth from the foot."""
        corners = 2 if self.even or self.widest is None else OUTLINE_POINTS
        # Closer together at both ends, where a rounded crown bends.
        at = [0.5 * (1.0 + math.cos(math.pi * k / (corners - 1))) for k in range(corners)]
        return [(max(self.square_at(u), 0.0) ** 0.5, 1.0 - u) for u in at]


#: The shapes by their words.
SHAPES = {
    shape.word: shape
    for shape in (
        CrownShape("cone", (0.0, 0.0, 1.0)),
        CrownShape("column", (1.0, 0.0, 0.0)),
        CrownShape("paraboloid", (0.0, 1.0, 0.0)),
        CrownShape("ellipsoid", (0.0, 4.0, -4.0)),
        CrownShape("box", (1.0, 0.0, 0.0), along_row=True),
    )
}


def shape_of(shape: str | CrownShape) -> CrownShape:
    """Find a shape by its word; a record is given back.

    Raises
    ------
    InputError
        If there is no such shape.
    """
    if isinstance(shape, CrownShape):
        return shape
    if isinstance(shape, str) and shape in SHAPES:
        return SHAPES[shape]
    raise refuse(f"{shape!r} is not a crown shape", f"Write one of {', '.join(SHAPES)}")
