"""Crown shapes: one record each, from which all follows that is asked of a shape.

A crown stands upright on a stem, from the clear stem c up to its height h, with the depth D = h - c.
At the share u = (h - z) / D of its depth below the tip its radius is R s(u), where R is the greatest
one. Most shapes give s by three numbers:

    s(u)^2 = a + b u + d u^2        0 at the tip <= u <= 1 at the foot of the crown

From them follow the radius at a height, how far up two neighbours meet, the outline, whether a crown
holds another (`screenplan.planting.shapes`), and what the compiled tests of sight lines take
(`screenplan.views.solids`). Another shape is another record here.

**Crowns with an exponent** have s(u) = u^p with p from 0 to 1: 0 is a column, 1/2 a paraboloid, 1 a
cone, which are taken exactly. Of any other, s(u)^2 is taken in `PIECES` straight pieces a + b u, the
least of them where p < 1/2 (then u^2p is concave), the greatest where p > 1/2. Each piece is a
paraboloid, and all these have the same leading term along a sight line, so that hit and chord have
closed forms. This is the shape of the crown wherever it is asked for, so that all answers agree.

The pieces join points on both sides of the true radius. A piece between two points of it, apart by v in
u, is off in s^2 by v^2 / 8 times the second derivative of u^2p, and in s by as much over 2 u^p:
|p (2 p - 1)| u^(p - 2) v^2 / 8. With u = x^(2 / p), which makes s = x^2, a step of w in x is the step
v = (2 / p) u^(1 - p / 2) w in u, and all that depends on u cancels: the error is |1 / p - 2| w^2 / 2.
So the points lie at even steps of x, and they lie half of that error off the true radius, outside it
where p < 1/2 and inside where p > 1/2, so that the pieces are as far off on the other side:

    error e = |1 / p - 2| w^2 / 4, as a share of R

What this leaves out, of higher order, is less than w e, so that e (1 + w) bounds it. At the foot the radius is R itself; the last step is shorter, sqrt(3) / 2 of the others, because there
the piece has one end off the true radius only. The steps begin at the tip where p > 1/2. Where p < 1/2
they begin at u = `TIP`, and the first piece goes on as it is above that: a blunt crown ends in a small
level disc, and its radius is told to within e R at heights that are told to within `TIP` of its depth
(0.3 mm of a crown that is 3 m deep). The greatest bound of all p is 0.0050, at p = 0.15, and it is
0.0033 at p = 0.3: 7.5 mm and 5 mm of a crown that is 3 m wide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache, reduce
from itertools import pairwise

from screenplan.ground.errors import refuse

#: Points of an outline from the tip of a rounded crown to its foot.
OUTLINE_POINTS = 20
#: Word of the crowns that have an exponent.
POWER = "power"
#: Straight pieces in which the square of the radius of a crown with an exponent is taken.
PIECES = 8
#: Share of the depth below the tip at which the pieces of a blunt crown begin.
TIP = 1e-4
#: Exponents of which one of the shapes with three numbers is exact.
_EXACT = {0.0: (1.0, 0.0, 0.0), 0.5: (0.0, 1.0, 0.0), 1.0: (0.0, 0.0, 1.0)}
#: Exponents that differ by less are the same: rounding only.
SAME_EXPONENT = 1e-6
#: The last step in x, as a share of the others: one end of its piece is not moved off.
_LAST_STEP = math.sqrt(3.0) / 2.0


@dataclass(frozen=True)
class CrownShape:
    """What is known of one crown shape.

    Parameters
    ----------
    word : str
        Its name in plans and layers.
    square : tuple of 3 floats
        The numbers a, b, d of the module's description: 1 at the widest height. Of a crown that is
        stacked from pieces they are those of the paraboloid that each piece changes: 0, 1, 0.
    along_row : bool
        Whether it is a cuboid along its row, as clipped hedges are; the others are round in plan.
    exponent : float, optional
        The exponent p of the radius, where there is one.
    pieces : tuple of pairs of floats
        Of a stacked crown the numbers a, b of its pieces, from the tip down; else empty.

    Raises
    ------
    ValueError
        If its crowns would not be convex, or the tests of sight lines could not take it.
    """

    word: str
    square: tuple[float, float, float]
    along_row: bool = False
    exponent: float | None = None
    pieces: tuple[tuple[float, float], ...] = ()

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
    def takes_least(self) -> bool:
        """Whether a stacked crown is where all its paraboloids are, not where any is."""
        return bool(self.pieces) and self.pieces[0][1] > self.pieces[-1][1]

    @property
    def widest(self) -> float | None:
        """Share of the depth, from the foot, at which it is widest; None if as wide everywhere."""
        _, b, d = self.square
        if b == d == 0.0:
            return None
        if d >= 0.0:
            return 0.0 if b + d > 0.0 else 1.0
        return 1.0 - min(max(-b / (2.0 * d), 0.0), 1.0)

    @property
    def knots(self) -> tuple[float, ...]:
        """Shares of the depth at which the pieces of a stacked crown meet, both ends included."""
        pieces = self.pieces
        inner = [(c - a) / (b - d) for (a, b), (c, d) in pairwise(pieces)]
        return (0.0, *inner, 1.0)

    def square_at(self, u):
        """Give s(u)^2; ``u`` may be an array."""
        if self.pieces:
            return _outermost((a + b * u for a, b in self.pieces), least=self.takes_least)
        a, b, d = self.square
        return a + (b + d * u) * u

    def shares_with(self, square):
        """Give the least and the greatest u at which s(u)^2 has a value from 0 to 1, which may be an array.

        They may lie outside 0 to 1: the crown ends there.
        """
        if self.pieces:
            least = not self.takes_least
            first = _outermost(((square - a) / b for a, b in self.pieces), least=least)
            return first, 1.0 + 0.0 * first
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
        """Give f, l, n: inside, x^2 + y^2 + f w^2 + 2 l w + n < 0 with w = z - h; depths are above 0.

        Of a stacked crown the piece a, b makes of these f, b l and a n.
        """
        if self.pieces:
            return 0.0 * radius, 0.5 * radius * radius / depth, -radius * radius
        a, b, d = self.square
        share = radius / depth
        return -d * share * share, 0.5 * b * radius * share, -a * radius * radius

    def outline(self) -> list[tuple[float, float]]:
        """Half an outline, upwards: shares of the greatest radius, and of the depth from the foot."""
        corners = 2 if self.even or self.widest is None else OUTLINE_POINTS
        if self.pieces:
            at = self._outline_of_pieces()
        else:
            # Closer together at both ends, where a rounded crown bends.
            at = [0.5 * (1.0 + math.cos(math.pi * k / (corners - 1))) for k in range(corners)]
        return [(max(float(self.square_at(u)), 0.0) ** 0.5, 1.0 - u) for u in at]

    def _outline_of_pieces(self) -> list[float]:
        """Shares of the depth from the foot up: even steps of x, where each piece bends alike."""
        exponent = self.exponent
        assert exponent is not None  # pieces are made of one
        ends = [share ** (0.5 * exponent) for share in self.knots]
        steps = 3
        return [
            (low + (high - low) * k / steps) ** (2.0 / exponent)
            for low, high in reversed(list(pairwise(ends)))
            for k in range(steps, 0, -1)
        ] + [0.0]


def _outermost(values, *, least: bool):
    """Give the least or the greatest of several numbers, or of arrays at each place."""
    import numpy as np  # here, because whoever only names shapes needs no arrays

    return reduce(np.minimum if least else np.maximum, values)


def error_share(exponent: float) -> float:
    """Bound of the error of the radius of a crown with that exponent, as a share of the greatest one.

    The module's description derives it; heights are told to within `TIP` of the crown's depth.

    Examples
    --------
    >>> [round(error_share(p), 4) for p in (0.0, 0.2, 0.3, 0.5, 0.7, 1.0)]
    [0.0, 0.0047, 0.0033, 0.0, 0.0026, 0.0]
    """
    return 0.0 if _exact(exponent) else _error(exponent) * (1.0 + _step(exponent))


def _error(exponent: float) -> float:
    return abs(1.0 / exponent - 2.0) / 4.0 * _step(exponent) ** 2


def _exact(exponent: float) -> tuple[float, float, float] | None:
    near = (square for p, square in _EXACT.items() if abs(exponent - p) <= SAME_EXPONENT)
    return next(near, None)


def _step(exponent: float) -> float:
    return (1.0 - _begin(exponent)) / (PIECES - 1 + _LAST_STEP)


def _begin(exponent: float) -> float:
    return TIP ** (0.5 * exponent) if exponent < 0.5 else 0.0


@lru_cache(maxsize=4096)
def power_shape(exponent: float) -> CrownShape:
    """Give the shape of crowns whose radius is R u^p.

    Parameters
    ----------
    exponent : float
        p, from 0 for a column through 1/2 for a paraboloid to 1 for a cone.

    Raises
    ------
    InputError
        If the exponent is not from 0 to 1.

    Examples
    --------
    A crown of the exponent 0.3 has 0.9 of its greatest radius where u = 0.9^(1 / 0.3), to within the
    bound.

    >>> blunt = power_shape(0.3)
    >>> error = float(blunt.square_at(0.9 ** (1 / 0.3)) ** 0.5) - 0.9
    >>> abs(error) <= error_share(0.3), power_shape(0.5).square_at(0.25)
    (True, 0.25)
    """
    p = float(exponent)
    if not 0.0 <= p <= 1.0:
        raise refuse(
            f"the exponent {exponent} of a crown's profile is not from 0 to 1",
            "Write 0 for a column, 0.5 for a paraboloid, 1 for a cone, or what lies between",
        )
    if square := _exact(p):
        return CrownShape(POWER, square, exponent=p)
    begin, step = _begin(p), _step(p)
    x = [*(begin + step * k for k in range(PIECES)), 1.0]
    off = [math.copysign(_error(p), 0.5 - p)] * PIECES + [0.0]
    if p > 0.5:
        off[0] = 0.0
    points = [(at ** (2.0 / p), (at * at + moved) ** 2) for at, moved in zip(x, off, strict=True)]
    slopes = [(above - square) / (far - u) for (u, square), (far, above) in pairwise(points)]
    pieces = tuple(
        (square - slope * u, slope) for (u, square), slope in zip(points, slopes, strict=False)
    )
    return CrownShape(POWER, (0.0, 1.0, 0.0), exponent=p, pieces=pieces)


#: The shapes that have no exponent, by their words.
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


def shape_words() -> tuple[str, ...]:
    """Give the words for crown shapes, with and without an exponent."""
    return (*SHAPES, POWER)


def is_along_row(word: str) -> bool:
    """Tell whether crowns of a word are cuboids along their row, whatever their exponent."""
    return word in SHAPES and SHAPES[word].along_row


def shape_of(shape: str | CrownShape, exponent: float | None = None) -> CrownShape:
    """Find a shape by its word; a record is given back.

    Parameters
    ----------
    shape : str or CrownShape
    exponent : float, optional
        Needed by the crowns that have one, passed over by the others; NaN is none.

    Raises
    ------
    InputError
        If there is no such shape, or its exponent is not given.
    """
    if isinstance(shape, CrownShape):
        return shape
    if isinstance(shape, str) and shape in SHAPES:
        return SHAPES[shape]
    if not (isinstance(shape, str) and shape == POWER):
        words = ", ".join(shape_words())
        raise refuse(f"{shape!r} is not a crown shape", f"Write one of {words}")
    if exponent is None or math.isnan(exponent):
        raise refuse(
            f"a crown of the shape {POWER} has no exponent",
            "Write the exponent of its profile, such as 0.5 for a paraboloid",
        )
    return power_shape(float(exponent))
