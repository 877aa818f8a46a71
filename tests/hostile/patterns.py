"""Kinds of geometries at which geometry libraries have stumbled, drawn by lot.

A geometry is a mapping as in GeoJSON, in metres about the middle of the site, or None. Two keys are
ours: ``then`` says what befalls the coordinates once they are in the file's system (`SWAPPED`,
`WRAPPED`, `RAW`), and the types with arcs are those of simple features.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

#: What befalls coordinates in the file's system: the axes change places; longitudes go on at the other
#: side of the antimeridian; they were in that system all along.
SWAPPED, WRAPPED, RAW = "swapped", "wrapped", "raw"
Shape = dict[str, Any] | None
Ring = list[tuple[float, ...]]


def polygon(*rings: Ring, **more) -> Shape:
    """A polygon of a shell and holes, as they are."""
    return {"type": "Polygon", "coordinates": [list(ring) for ring in rings], **more}


def parts(*polygons: Shape) -> Shape:
    """Several polygons in one."""
    return {"type": "MultiPolygon", "coordinates": [shape["coordinates"] for shape in polygons]}


def closed(xy) -> Ring:
    """A ring of these corners, closed."""
    ring = [tuple(float(value) for value in point) for point in xy]
    return [*ring, ring[0]]


def box(x, y, wide, deep) -> Ring:
    """A rectangle from its south-western corner, anticlockwise."""
    return closed([(x, y), (x + wide, y), (x + wide, y + deep), (x, y + deep)])


def circle(radius: float, count: int, x=0.0, y=0.0) -> Ring:
    """A circle of so many corners."""
    turns = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return closed(np.column_stack([x + radius * np.cos(turns), y + radius * np.sin(turns)]))


def _size(rng) -> float:
    return float(rng.uniform(5, 30))


def _little(rng) -> float:
    """From a rounding error to a decimetre."""
    return float(10.0 ** rng.uniform(-12, -1))


# ---- rings that meet themselves ----------------------------------------------------------------


def bow_tie(rng):
    s, lean = _size(rng), rng.uniform(0.2, 1.0)
    return polygon(closed([(-s, -s), (s, s * lean), (s, -s), (-s, s)]))


def pinched(rng):
    s, neck = _size(rng), float(rng.choice([0.0, _little(rng), -_little(rng)]))
    return polygon(closed([(-s, -s), (s, -s), (neck, 0), (s, s), (-s, s), (-neck, 0)]))


def touches_an_edge(rng):
    s, gap = _size(rng), float(rng.choice([0.0, _little(rng), -_little(rng)]))
    return polygon(closed([(-s, -s), (s, -s), (s, s), (0.0, -s + gap), (-s, s)]))


def hole_by_its_own_ring(rng):
    s, h = _size(rng), 0.4
    return polygon(closed([(-s, -s), (s, -s), (s, s), (0, s), (-h * s, 0), (0, -h * s), (h * s, 0), (0, s), (-s, s)]))  # fmt: skip


def goes_round_twice(rng):
    ring = circle(_size(rng), int(rng.integers(3, 9)))
    return polygon(ring[:-1] + ring)


def pentagram(rng):
    count, step = [(5, 2), (7, 3), (9, 4), (8, 3)][rng.integers(4)]
    ring = circle(_size(rng), count)[:-1]
    return polygon(closed([ring[(step * k) % count] for k in range(count)]))


def spike(rng):
    s, far = _size(rng), float(rng.choice([1.0, 40.0, 5000.0]))
    base = float(rng.choice([0.0, _little(rng)]))
    return polygon(closed([(-s, -s), (s, -s), (s, 0), (s + far, 0), (s, base), (s, s), (-s, s)]))


def gore(rng):
    s, base = _size(rng), float(rng.choice([0.0, _little(rng)]))
    return polygon(closed([(-s, -s), (s, -s), (s, 0), (-s / 2, 0), (s, base), (s, s), (-s, s)]))


def there_and_back(rng):
    s = _size(rng)
    return polygon(closed([(-s, 0), (s, 0), (0, 0), (s / 2, 0)]))


def spiral(rng):
    turns = np.linspace(0, float(rng.uniform(2, 9)) * np.pi, 200)
    out = np.column_stack([turns * np.cos(turns), turns * np.sin(turns)]) + 1.0
    return polygon(closed([*out, *(out[::-1] * 1.05)]))


def comb(rng):
    teeth, wide = int(rng.integers(3, 40)), float(rng.choice([_little(rng), 0.01, 0.4]))
    ring = [(-20.0, -10.0), (20.0, -10.0)]
    for x in np.linspace(19, -19, teeth):
        ring += [(x + wide, 0.0), (x + wide, 12.0), (x, 12.0), (x, 0.0)]
    return polygon(closed(ring))


# ---- vertices ----------------------------------------------------------------------------------


def doubled_vertices(rng):
    ring = circle(_size(rng), int(rng.integers(3, 12)))
    return polygon([point for point in ring for _ in range(int(rng.integers(1, 5)))])


def nearly_doubled_vertices(rng):
    off = _little(rng)
    ring = circle(_size(rng), int(rng.integers(3, 12)))[:-1]
    return polygon(closed([corner for x, y in ring for corner in ((x, y), (x + off, y - off))]))


def collinear(rng):
    s, count = _size(rng), int(rng.integers(2, 200))
    along = np.linspace(-s, s, count) + rng.normal(size=count) * float(rng.choice([0.0, 0.01]))
    return polygon(closed([*((x, -s) for x in along), (s, s), (-s, s)]))


def zigzag(rng):
    s, deep = _size(rng), _little(rng)
    along = np.linspace(-s, s, 101)
    return polygon(closed([*((x, -s + deep * (k % 2)) for k, x in enumerate(along)), (s, s), (-s, s)]))  # fmt: skip


def thousands_of_vertices(rng):
    count = int(rng.integers(1000, 4000))
    turns = np.linspace(0, 2 * np.pi, count, endpoint=False)
    radii = 22 + float(rng.choice([0.0, 0.001, 0.05])) * rng.normal(size=count).cumsum() / 8
    return polygon(closed(np.column_stack([radii * np.cos(turns), radii * np.sin(turns)])))


def rounded(rng):
    s, r, count = _size(rng), float(rng.uniform(0.1, 5)), int(rng.integers(2, 60))
    ring = []
    for x, y, start in ((s, s, 0), (-s, s, 1), (-s, -s, 2), (s, -s, 3)):
        turns = (start + np.linspace(0, 1, count)) * np.pi / 2
        ring += [(x + r * np.cos(turn), y + r * np.sin(turn)) for turn in turns]
    return polygon(closed(ring))


def snowflake(rng):
    points = np.array(circle(_size(rng), 3))
    for _ in range(int(rng.integers(1, 5))):
        ends = np.diff(points, axis=0)
        tips = points[:-1] + ends / 2 + np.column_stack([ends[:, 1], -ends[:, 0]]) * 0.288
        points = np.vstack([np.stack([points[:-1], points[:-1] + ends / 3, tips, points[:-1] + ends * 2 / 3], 1).reshape(-1, 2), points[-1:]])  # fmt: skip
    return polygon([tuple(point) for point in points.tolist()])


# ---- rings that are none -----------------------------------------------------------------------


def unclosed(rng):
    return polygon(circle(_size(rng), int(rng.integers(3, 9)))[:-1])


def nearly_closed(rng):
    ring, off = circle(_size(rng), int(rng.integers(3, 9))), _little(rng)
    return polygon([*ring[:-1], (ring[0][0] + off, ring[0][1])])


def too_few(rng):
    return polygon(circle(_size(rng), 5)[: int(rng.integers(1, 4))])


def all_one_point(rng):
    return polygon([(1.0, 2.0)] * int(rng.integers(1, 6)))


def sliver(rng):
    return polygon(box(-20, 0, 40, 10.0 ** float(rng.uniform(-9, 0.3))))


def leaning_sliver(rng):
    off = 10.0 ** float(rng.uniform(-9, 0.3))
    return polygon(closed([(-20, -20), (20, 20), (20 - off, 20 + off), (-20 - off, -20 + off)]))


def tiny(rng):
    size = 10.0 ** float(rng.uniform(-9, 0))
    return polygon(box(3, 4, size, size))


def huge(rng):
    size = 10.0 ** float(rng.uniform(2.5, 8))
    return polygon(box(-size / 2, -size / 2, size, size))


def far(rng):
    off = 10.0 ** float(rng.uniform(2, 16))
    return polygon(box(off, -off * float(rng.integers(2)), 20, 20))


def stretched_far(rng):
    return polygon(
        closed([(-10, -10), (10, -10), (10.0 ** float(rng.uniform(3, 12)), 5), (-10, 10)])
    )


# ---- holes -------------------------------------------------------------------------------------


def donut(rng):
    s = _size(rng)
    return polygon(circle(s, 40), circle(s * float(rng.uniform(0.05, 0.999999)), 40)[::-1])


def hole_touches(rng):
    s, gap = _size(rng), float(rng.choice([0.0, _little(rng), -_little(rng)]))
    return polygon(box(-s, -s, 2 * s, 2 * s), closed([(0, -s + gap), (s / 3, 0), (-s / 3, 0)]))


def hole_along_the_shell(rng):
    s, gap = _size(rng), float(rng.choice([0.0, _little(rng), -_little(rng)]))
    return polygon(box(-s, -s, 2 * s, 2 * s), box(-s / 2, -s + gap, s, s / 2))


def hole_from_side_to_side(rng):
    s = _size(rng)
    return polygon(box(-s, -s, 2 * s, 2 * s), closed([(-s, 0), (0, -2), (s, 0), (0, 2)]))


def hole_outside(rng):
    s, off = _size(rng), float(rng.choice([2.0, 2.5, 100.0]))
    return polygon(box(-s, -s, 2 * s, 2 * s), box(off * s, 0, 3, 3))


def hole_across(rng):
    s = _size(rng)
    return polygon(box(-s, -s, 2 * s, 2 * s), box(s / 2, -s / 2, s, s))


def hole_is_the_shell(rng):
    ring = box(-10, -10, 20, 20)
    return polygon(ring, ring if rng.integers(2) else ring[::-1])


def hole_round_the_shell(rng):
    s = _size(rng)
    return polygon(box(-s, -s, 2 * s, 2 * s), box(-2 * s, -2 * s, 4 * s, 4 * s))


def hole_in_a_hole(rng):
    s = _size(rng)
    return polygon(box(-s, -s, 2 * s, 2 * s), box(-s / 2, -s / 2, s, s), box(-s / 4, -s / 4, s / 2, s / 2))  # fmt: skip


def holes_overlap(rng):
    s = _size(rng)
    return polygon(box(-s, -s, 2 * s, 2 * s), box(-s / 2, -s / 2, s / 2, s / 2), box(-s / 4, -s / 4, s / 2, s / 2))  # fmt: skip


def holes_touch(rng):
    s, gap = _size(rng), float(rng.choice([0.0, _little(rng)]))
    return polygon(box(-s, -s, 2 * s, 2 * s), box(-s / 2, -s / 2, s / 2, s / 2), box(gap, 0, s / 2, s / 2))  # fmt: skip


def chain_of_holes(rng):
    """Holes that touch in a ring: they cut the middle out."""
    s = 20.0
    turns = np.arange(8) * np.pi / 4
    around = [
        closed([(10 * np.cos(a), 10 * np.sin(a)), (13 * np.cos(b), 13 * np.sin(b)), (10 * np.cos(c), 10 * np.sin(c))])
        for a, b, c in zip(turns, turns + np.pi / 8, turns + np.pi / 4, strict=True)
    ]  # fmt: skip
    return polygon(box(-s, -s, 2 * s, 2 * s), *around[: int(rng.integers(2, 9))])


def degenerate_holes(rng):
    shell = box(-20, -20, 40, 40)
    holes = [[(0, 0)] * 4, [(0, 0), (5, 0), (0, 0)], [(0, 0), (5, 0), (9, 0), (0, 0)], [], box(1, 1, 1e-7, 1e-7), [(3, 3)]]  # fmt: skip
    return polygon(shell, *(holes[k] for k in rng.integers(len(holes), size=rng.integers(1, 4))))


def many_holes(rng):
    each = int(rng.integers(2, 12))
    spots = np.linspace(-18, 17, each)
    return polygon(box(-20, -20, 40, 40), *(box(x, y, 0.9, 0.9) for x in spots for y in spots))


# ---- parts -------------------------------------------------------------------------------------


def apart(rng):
    count = int(rng.integers(1, 8))
    return parts(*(polygon(box(*rng.uniform(-30, 30, 2), *rng.uniform(0.01, 12, 2))) for _ in range(count)))  # fmt: skip


def part_in_a_hole(rng):
    s = _size(rng)
    inner = s * float(rng.choice([0.4, 0.5, 0.50000001]))
    return parts(polygon(box(-s, -s, 2 * s, 2 * s), box(-s / 2, -s / 2, s, s)), polygon(box(-inner, -inner, 2 * inner, 2 * inner)))  # fmt: skip


def part_in_a_part(rng):
    s = _size(rng)
    return parts(polygon(box(-s, -s, 2 * s, 2 * s)), polygon(box(-s / 2, -s / 2, s, s)))


def parts_share_an_edge(rng):
    gap = float(rng.choice([0.0, _little(rng), -_little(rng)]))
    return parts(polygon(box(-20, -10, 20, 20)), polygon(box(gap, -10, 20, 20)))


def parts_touch(rng):
    gap = float(rng.choice([0.0, _little(rng), -_little(rng)]))
    return parts(polygon(box(-10, -10, 10, 10)), polygon(box(gap, gap, 10, 10)))


def the_same_twice(rng):
    disc = polygon(circle(_size(rng), int(rng.integers(3, 30))))
    return parts(disc, disc)


def chessboard(rng):
    count = int(rng.integers(2, 8))
    return parts(*(polygon(box(5 * x - 20, 5 * y - 20, 5, 5)) for x in range(count) for y in range(count) if (x + y) % 2))  # fmt: skip


def some_parts_are_none(rng):
    sound = polygon(box(-10, -10, 20, 20))
    none = [polygon(), polygon([]), polygon([(40, 0)] * 4), polygon(box(40, 0, 1e-6, 9))]
    return parts(sound, *(none[k] for k in rng.integers(4, size=rng.integers(1, 3))))


# ---- order, dimensions, types ------------------------------------------------------------------


def clockwise(rng):
    s = _size(rng)
    return polygon(box(-s, -s, 2 * s, 2 * s)[::-1], *([box(-1, -1, 2, 2)] if rng.integers(2) else []))  # fmt: skip


def with_heights(rng):
    ring = circle(_size(rng), int(rng.integers(4, 12)))
    odd = [0.0, 431.2, -9999.0, np.nan, 1e300]
    return polygon([(*point, odd[rng.integers(len(odd))]) for point in ring])


def with_measures(rng):
    ring = circle(_size(rng), 6)
    return polygon([(*point, 400.0, float(k)) for k, point in enumerate(ring)])


def no_number(rng):
    ring = circle(_size(rng), 6)
    ring[int(rng.integers(len(ring)))] = [(np.nan, 0.0), (0.0, np.nan), (np.nan, np.nan), (np.inf, 0.0), (0.0, -np.inf)][rng.integers(5)]  # fmt: skip
    return polygon(ring)


def all_no_numbers(rng):
    return polygon([(np.nan, np.nan)] * int(rng.integers(1, 6)))


def largest_numbers(rng):
    big = float(rng.choice([1e38, 1e155, 1.7e308]))
    return polygon(closed([(-big, -big), (big, -big), (big, big)]), then=RAW)


def nothing(rng):
    return [
        None,
        polygon(),
        polygon([]),
        {"type": "MultiPolygon", "coordinates": []},
        {"type": "GeometryCollection", "geometries": []},
        {"type": "LineString", "coordinates": []},
        {"type": "Point", "coordinates": []},
    ][rng.integers(7)]


def other_type(rng):
    line = [(-10.0, -3.0), (12.0, 4.0), (3.0, 15.0)]
    return [
        {"type": "Point", "coordinates": line[0]},
        {"type": "MultiPoint", "coordinates": line},
        {"type": "LineString", "coordinates": line},
        {"type": "LineString", "coordinates": closed(line)},
        {"type": "MultiLineString", "coordinates": [line, line[::-1]]},
    ][rng.integers(5)]


def collection(rng):
    pool = [polygon(box(-10, -10, 20, 20)), polygon(box(5, 5, 10, 10)), other_type(rng)]
    members = [pool[k] for k in rng.integers(3, size=rng.integers(1, 4))]
    return {"type": "GeometryCollection", "geometries": members}


def arcs(rng):
    s = _size(rng)
    ring = [(-s, 0.0), (0.0, s), (s, 0.0), (0.0, -s), (-s, 0.0)]
    return [
        {"type": "CurvePolygon", "coordinates": [ring]},
        {"type": "CurvePolygon", "coordinates": [ring, [(-1, 0.0), (0.0, 1), (1, 0.0), (0.0, -1), (-1, 0.0)]]},
        {"type": "CurvePolygon", "coordinates": [[(-s, 0.0), (0.0, 0.0), (s, 0.0), (0.0, 0.0), (-s, 0.0)]]},
        {"type": "CircularString", "coordinates": ring},
    ][rng.integers(4)]  # fmt: skip


# ---- places on earth ---------------------------------------------------------------------------


def swapped_axes(rng):
    return polygon(box(-10, -10, _size(rng), 20), then=SWAPPED)


def over_the_antimeridian(rng):
    s = _size(rng)
    return polygon(box(-s, -s, 2 * s, 2 * s), then=WRAPPED)


def at_the_origin(rng):
    size = float(rng.choice([1e-5, 1.0, 20.0]))
    return polygon(box(0.0, 0.0, size, size), then=RAW)


def round_the_world(rng):
    return polygon([box(-180, -90, 360, 180), box(-180, 60, 360, 30), box(170, -10, 20, 20)][rng.integers(3)], then=RAW)  # fmt: skip


def sound(rng):
    wide, deep = rng.uniform(8, 50, size=2)
    turn = rng.uniform(0, np.pi)
    xy = np.array(box(-wide / 2, -deep / 2, wide, deep)[:-1])
    turned = xy @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return polygon(closed(turned))


def _line(xy) -> Shape:
    return {"type": "LineString", "coordinates": [tuple(map(float, point)) for point in xy]}


def odd_line(rng):
    """Lines: of one point, doubled, crossing themselves, closed, far, or with no number."""
    there = rng.uniform(-30, 30, size=(int(rng.integers(2, 9)), 2))
    off = _little(rng)
    return [
        lambda: _line(there),
        lambda: _line(there[:1]),
        lambda: _line(there[[0, 0]]),
        lambda: _line([there[0], there[0] + off]),
        lambda: _line(np.repeat(there, 3, axis=0)),
        lambda: _line([*there, there[0]]),
        lambda: _line([there[0], there[1], there[0]]),
        lambda: _line([*there, (np.nan, 1.0)]),
        lambda: _line([there[0], there[1] * 1e7]),
        lambda: {"type": "MultiLineString", "coordinates": [there.tolist(), [there[0].tolist()] * 2, []]},
        lambda: {"type": "MultiLineString", "coordinates": [there.tolist(), there.tolist()]},
    ][rng.integers(11)]()  # fmt: skip


def odd_points(rng):
    """Points: one, several, the same twice, none, far, or no number."""
    return [
        {"type": "Point", "coordinates": (3.0, 4.0)},
        {"type": "MultiPoint", "coordinates": [(3.0, 4.0), (3.0, 4.0)]},
        {"type": "MultiPoint", "coordinates": [(3.0, 4.0), (9.0, -4.0), (1e9, 0.0)]},
        {"type": "MultiPoint", "coordinates": []},
        {"type": "Point", "coordinates": (np.nan, np.nan)},
        {"type": "Point", "coordinates": (3.0, np.inf)},
    ][rng.integers(6)]


#: By name; the sound one is there that not all rows of a layer are odd.
PATTERNS: dict[str, Callable[[np.random.Generator], Shape]] = {
    make.__name__.replace("_", " "): make
    for make in (
        bow_tie, pinched, touches_an_edge, hole_by_its_own_ring, goes_round_twice, pentagram, spike, gore, there_and_back,
        spiral, comb, doubled_vertices, nearly_doubled_vertices, collinear, zigzag, thousands_of_vertices, rounded, snowflake,
        unclosed, nearly_closed, too_few, all_one_point, sliver, leaning_sliver, tiny, huge, far, stretched_far, donut,
        hole_touches, hole_along_the_shell, hole_from_side_to_side, hole_outside, hole_across, hole_is_the_shell,
        hole_round_the_shell, hole_in_a_hole, holes_overlap, holes_touch, chain_of_holes, degenerate_holes, many_holes,
        apart, part_in_a_hole, part_in_a_part, parts_share_an_edge, parts_touch, the_same_twice, chessboard,
        some_parts_are_none, clockwise, with_heights, with_measures, no_number, all_no_numbers, largest_numbers, nothing,
        other_type, collection, arcs, swapped_axes, over_the_antimeridian, at_the_origin, round_the_world, sound, odd_line,
        odd_points,
    )
}  # fmt: skip
