"""Eyes, targets and the rays between them.

Eyes lie a set distance inside the room, at equal steps over the window's width and at a seated and
a standing height. Targets lie on a square grid over the place, at both heights of a head there.
A ray counts only if it crosses the window's opening; onlookers who are out of doors look through
none, and every ray of theirs counts. A place with a raised deck is level, and its heads are above
the deck. Whatever stops a ray stops it the other way as well. The grid is laid along the place's longest
edge and centred, so that a site that is turned, moved or mirrored gives the same rays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
import shapely
from numba import njit

from screenplan.contracts.tables import identifiers, numbers
from screenplan.ground.faults import Faults
from screenplan.site.ragged import first_most, firsts, numbered, turned
from screenplan.site.steady import EQUAL_M, first_clockwise_each
from screenplan.site.terrain import ground_at
from screenplan.views.obstacles import top_heights
from screenplan.views.together import Ends, pairs_of, rays_of

#: Eye and target are the same point when nearer than this.
COINCIDENT_M = 1e-3
#: Nobody sits this near to the stems of a row: such targets are left out.
CLEAR_OF_LINE_M = 0.5
#: A place that is longer by less, which no tape reads, has no further row of positions for it.
READ_M = 1e-3
#: A corner that lies so near to the straight line past it does not part an edge, metres: outlines that were cut or drawn
#: otherwise have such.
STRAIGHT_M = 0.01
#: A place has at least this many positions of its own, however small, if it is a polygon.
FEWEST_POSITIONS = 4
#: Positions in a place at most, about; each has a seated and a standing head.
MOST_TARGETS = 100
#: Spacing of the first sample over that of the second, denser one.
FINER = 1.5
#: Heads that nobody gave a height.
SEATED_M, STANDING_M = 1.2, 1.6


class Samples(NamedTuple):
    """Points of several rows, row by row.

    Attributes
    ----------
    xyz : ndarray, (points, 3)
    first : ndarray of int, (rows + 1,)
        Where each row's points begin.
    """

    xyz: np.ndarray
    first: np.ndarray

    @classmethod
    def of(cls, rows) -> Samples:
        """Put the points of rows, each (n, 3), one after the other."""
        first = np.concatenate([[0], np.cumsum([len(points) for points in rows])]).astype(np.int64)
        return cls(np.concatenate([np.zeros((0, 3)), *rows]), first)

    def row(self, number: int) -> np.ndarray:
        """Give the points of one row, (n, 3)."""
        return self.xyz[self.first[number] : self.first[number + 1]]

    @property
    def counts(self) -> np.ndarray:
        """How many points each row has, (rows,)."""
        return np.diff(self.first)

    def extents(self) -> tuple[np.ndarray, np.ndarray]:
        """Give how far the points of each row reach in plan, low and high, (rows, 2) each; the other way round of none."""
        some, xy = self.counts > 0, self.xyz[:, :2]
        low, high = np.full((len(some), 2), np.inf), np.full((len(some), 2), -np.inf)
        if some.any():
            first = self.first[:-1][some]
            low[some], high[some] = np.minimum.reduceat(xy, first), np.maximum.reduceat(xy, first)
        return low, high

    def upright(self) -> np.ndarray:
        """Give the points with those of a row that are above each other next to each other, (points, 3)."""
        row = np.repeat(np.arange(len(self.counts)), self.counts)
        return self.xyz[np.lexsort((*self.xyz.T[::-1], row))]

    def only(self, stay: np.ndarray) -> Samples:
        """Give the points that stay, (points,) of bool; every row stays, if with no point."""
        return Samples(self.xyz[stay], np.concatenate([[0], np.cumsum(stay)])[self.first])

    def followed_by(self, other: Samples) -> Samples:
        """Give these rows and then those of others."""
        first = np.concatenate([self.first, other.first[1:] + len(self.xyz)])
        return Samples(np.concatenate([self.xyz, other.xyz]), first)


@dataclass(frozen=True, eq=False)
class Targets:
    """The private places, sampled: a row each.

    Parameters
    ----------
    ids : list of str
    subject : ndarray of int, (places,)
    middle : ndarray, (places, 2)
        A point of each, for the drawing.
    coarse, dense : Samples
        Heads of the sample, and of a second, denser one.
    """

    ids: list[str]
    subject: np.ndarray
    middle: np.ndarray
    coarse: Samples
    dense: Samples

    @cached_property
    def single(self) -> np.ndarray:
        """Whether each place is a single position in plan, (places,) of bool."""
        low, high = self.coarse.extents()
        return (low == high).all(axis=1)

    def off(self, lines: Stems) -> Targets:
        """Give the heads that are not among the stems of their subject's lines (`off_lines`)."""
        both = [off_lines(samples, lines, self.subject) for samples in (self.coarse, self.dense)]
        if both[0] is self.coarse and both[1] is self.dense:
            return self
        gone = np.any([samples.counts == 0 for samples in both], axis=0)
        Faults("private_places", (gone, *_ON_LINE)).raise_any()
        return replace(self, coarse=both[0], dense=both[1])


def eyes_behind(
    opening: np.record, *, inside_m: float, heights_m: tuple[float, ...], across: int
) -> np.ndarray:
    """Eye points behind one window, (eyes, 3); see `eyes_behind_each`."""
    one = opening.reshape(1).view(np.recarray)
    return eyes_behind_each(one, inside_m=inside_m, heights_m=heights_m, across=across).xyz


def eyes_behind_each(
    openings: np.recarray, *, inside_m: float, heights_m: tuple[float, ...], across: int
) -> Samples:
    """Eye points behind windows, as many behind each.

    Parameters
    ----------
    openings : recarray, (windows,)
        The windows, by `OPENING`.
    inside_m : float
        Distance of the eye from the outer face of the wall.
    heights_m : tuple of float
        Heights above the floor of the room.
    across : int
        Number of positions over the width, at the middles of equal parts.
    """
    share, height = (
        part.ravel()
        for part in np.meshgrid(
            (np.arange(across) + 0.5) / across * 2.0 - 1.0, np.unique(heights_m), indexing="ij"
        )
    )
    x, y, floor = (openings[name][:, None] for name in ("x", "y", "floor_z"))
    (ox, oy), u = openings["out"].T[:, :, None], share * openings["half_width_m"][:, None]
    xyz = np.stack([x - inside_m * ox - u * oy, y - inside_m * oy + u * ox, floor + height], axis=2)
    return Samples(xyz.reshape(-1, 3), np.arange(len(openings) + 1, dtype=np.int64) * len(share))


def move_to_ends(opening: np.record, eyes) -> np.ndarray:
    """Give eyes of the same heights at both ends of the window's width, (eyes, 3)."""
    along = np.array([-opening.out[1], opening.out[0]])
    middle = eyes[:, :2].mean(axis=0)
    heights = np.unique(eyes[:, 2])
    spots = middle + opening.half_width_m * np.array([[-1.0], [1.0]]) * along
    return np.column_stack([np.repeat(spots, len(heights), axis=0), np.tile(heights, len(spots))])


def rays_through(opening: np.record | None, eyes, targets) -> tuple[np.ndarray, np.ndarray]:
    """Rays from all eyes to all targets that cross the opening; all rays where there is none.

    Returns
    -------
    origin, target : ndarray, (rays, 3)
        Each ray begins just outside the facade, where it leaves the own wall behind, or at the
        eye where there is no opening.
    """
    _, origin, target = rays_of(Ends.of_one(opening, eyes, targets))
    return origin, target


def positions_in_view(opening: np.record | None, eyes, targets) -> tuple[int, int]:
    """Count the positions in plan of the eyes and of the targets between which a ray passes.

    Behind a window that is looked through at a slant most eyes may see nothing of a place, and
    little of a place may be seen by any.
    """
    if opening is None:
        return _spots(eyes), _spots(targets)
    eye, head = pairs_of(Ends.of_one(opening, eyes, targets))
    return _spots(eyes[np.unique(eye)]), _spots(targets[np.unique(head)])


def _spots(points) -> int:
    """Count positions in plan."""
    x, y = np.asarray(points)[:, :2].T
    order = np.lexsort((x, y))
    x, y = x[order], y[order]
    return int(len(x) > 0) + int(((x[1:] != x[:-1]) | (y[1:] != y[:-1])).sum())


def positions_in(polygon, spacing_m: float, most: int) -> np.ndarray:
    """Positions on a centred square grid over a polygon, (positions, 2); see `positions_in_each`."""
    return positions_in_each(np.array([polygon], object), np.array([spacing_m]), most)[0]


def positions_in_each(
    polygons: np.ndarray, spacing_m: np.ndarray, most: int
) -> tuple[np.ndarray, np.ndarray]:
    """Positions on a centred square grid over each of some polygons.

    Parameters
    ----------
    polygons : ndarray of Polygon or MultiPolygon, (n,)
        The places.
    spacing_m : ndarray, (n,)
        Asked distance between neighbours; widened so that there are at most about ``most``, and
        narrowed so that there are a few.
    most : int
        Bound on the number of each.

    Returns
    -------
    xy : ndarray, (positions, 2)
        Those of one polygon after those of the other.
    count : ndarray of int, (n,)
        How many each has.
    """
    if not len(polygons):
        return np.zeros((0, 2)), np.zeros(0, np.int64)
    area = shapely.area(polygons)
    spacing = np.maximum(spacing_m, np.sqrt(area / most))
    spacing = np.minimum(spacing, np.sqrt(area / FEWEST_POSITIONS))
    along = _longest_edges(polygons)
    axes = np.stack([along, np.column_stack([-along[:, 1], along[:, 0]])], axis=1)
    low, high = _extents(polygons, axes)
    # Cells along and across.
    cells = np.maximum(np.ceil((high - low - READ_M) / spacing[:, None]), 1).astype(np.int64)
    of, number = numbered(cells.prod(axis=1))
    by = np.column_stack([number // cells[of, 1], number % cells[of, 1]])
    at = low[of] + (by + 0.5) / cells[of] * (high - low)[of]
    x, y = (at[:, 0] * axes[of, 0, k] + at[:, 1] * axes[of, 1, k] for k in range(2))
    shapely.prepare(polygons)
    inside = shapely.contains_xy(polygons[of], x, y)
    count = np.bincount(of[inside], minlength=len(polygons))
    # A thin place whose edges take more cells than its area keeps an even choice of them.
    step = np.where(count > 2 * most, -(-count // most), 1)
    whose, number = numbered(count)
    stays = number % step[whose] == 0
    found, whose = np.column_stack([x, y])[inside][stays], whose[stays]
    none = np.flatnonzero(count == 0)
    if len(none):
        points = shapely.get_coordinates(shapely.point_on_surface(polygons[none]))
        order = np.argsort(np.concatenate([whose, none]), kind="stable")
        whose = np.concatenate([whose, none])[order]
        found = np.concatenate([found, points])[order]
    return found, np.bincount(whose, minlength=len(polygons))


def _extents(polygons: np.ndarray, axes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give how far polygons reach along their axes, low and high, (n, 2) each, of axes (n, 2, 2)."""
    xy, of = shapely.get_coordinates(polygons, return_index=True)
    first = firsts(np.bincount(of, minlength=len(polygons)))
    parts = np.split(xy, first[1:])
    # A product for each, so that none hangs in its last digit on how many corners there are in all.
    ways = [
        np.concatenate([xy[:0, 0], *(part @ axis for part, axis in zip(parts, every, strict=True))])
        for every in (axes[:, 0], axes[:, 1])
    ]
    low, high = (
        np.column_stack([some.reduceat(way, first) for way in ways])
        for some in (np.minimum, np.maximum)
    )
    return low, high


def sample_places(
    places, outdoors: Outdoors, terrain=None, *, spacing_m: float | np.ndarray, subject=None
) -> Targets:
    """Sample the private places.

    Parameters
    ----------
    places : GeoDataFrame
        Layer of the contract.
    outdoors : Outdoors
        Positions that are not on it are left out.
    terrain : Terrain, optional
        Ground heights; by default level ground at height 0.
    spacing_m : float or ndarray, (places,)
        As in `positions_in_each`, of all or of each; at most `MOST_TARGETS` positions, about, are taken in each place.
    subject : ndarray of int, (places,), optional
        The subject of each place; by default one.

    Raises
    ------
    InputError
        By row: an empty place, one inside a building, a head height that is no number.
    """
    shapes = places.geometry.to_numpy()
    heights = np.column_stack(
        [numbers(places, "eye_seated_m", SEATED_M), numbers(places, "eye_standing_m", STANDING_M)]
    )
    decks = numbers(places, "deck_m", 0.0)
    lost = ~np.isfinite(shapely.bounds(shapes)).all(axis=1)  # missing, empty, or not a number
    faults = Faults(
        "private_places",
        (lost, *_EMPTY),
        (~np.isfinite(heights).all(axis=1) | (heights < 0.0).any(axis=1), *_HEIGHT),
        (~np.isfinite(decks) | (decks < 0.0), *_DECK),
    )
    subject = np.zeros(len(places), int) if subject is None else np.asarray(subject)
    spacing, there = np.broadcast_to(spacing_m, len(places)), np.flatnonzero(~lost)
    sampled, indoors = [], np.zeros(len(places), bool)
    for finer in (1.0, FINER):
        xy, count = _positions(shapes[there], spacing[there] / finer, int(MOST_TARGETS * finer**2))
        of = np.repeat(there, count)
        free = outdoors.is_free(xy, count, decks[there])
        xy, of = xy[free], of[free]
        count = np.bincount(of, minlength=len(places))
        indoors |= (count == 0) & ~lost
        sampled.append(stand_on_each(xy, count, shapes, heights, decks, terrain))
    if indoors.any():
        faults.note(indoors, *_INDOORS)
    faults.raise_any()
    middle = shapely.get_coordinates(shapely.point_on_surface(shapes))
    return Targets(identifiers(places, "place_id"), subject, middle, *sampled)


def _positions(shapes, spacing_m: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray]:
    """Give the position of each point, and those of `positions_in_each` of each other shape."""
    points = shapely.get_type_id(shapes) == shapely.GeometryType.POINT
    found, counts = positions_in_each(shapes[~points], spacing_m[~points], most)
    count = np.ones(len(shapes), np.int64)
    count[~points] = counts
    alone = np.repeat(points, count)
    xy = np.empty((len(alone), 2))
    xy[alone], xy[~alone] = shapely.get_coordinates(shapes[points]), found
    return xy, count


_EMPTY = ("a private place has no shape", "Draw it, or take the row out")
_HEIGHT = ("a head height is no number of 0 or more", "Give eye_seated_m and eye_standing_m")
_DECK = ("the height of a deck is no number of 0 or more", "Give deck_m, 0 on the ground")
_INDOORS = (
    "a private place lies inside a building",
    "Draw it outdoors, or take the building out if it is a deck or a canopy",
)
_ON_LINE = (
    f"a private place lies within {{{CLEAR_OF_LINE_M:g} m}} of a planting line all over",
    "Draw it where people are, away from the row",
)


class Outdoors:
    """Ground outside buildings.

    Parameters
    ----------
    buildings : GeoDataFrame, optional
        Layer of the contract.
    """

    def __init__(self, buildings=None):
        self._shapes = self._tops = np.zeros(0)
        if buildings is not None and len(buildings):
            self._shapes = buildings.geometry.to_numpy()
            self._tops = np.nan_to_num(top_heights(buildings))

    def of(self, xy, floor_m: float = 0.0) -> np.ndarray:
        """Give the positions that are not inside a building that is taller than the floor they are on."""
        return xy[self.is_free(xy, np.array([len(xy)]), np.array([floor_m]))]

    def is_free(self, xy: np.ndarray, count: np.ndarray, floor_m: np.ndarray) -> np.ndarray:
        """Tell which positions are in no building that is taller than the floor they are on.

        Parameters
        ----------
        xy : ndarray, (positions, 2)
            Those on one floor after those on the other.
        count : ndarray of int, (floors,)
            How many there are on each.
        floor_m : ndarray, (floors,)

        Returns
        -------
        ndarray of bool, (positions,)
        """
        free, some = np.ones(len(xy), bool), np.flatnonzero(count)
        if not len(some) or not len(self._shapes):
            return free
        # Of hundreds of houses few stand where the positions of a floor are.
        first = firsts(count)[some]
        low, high = np.minimum.reduceat(xy, first), np.maximum.reduceat(xy, first)
        floor, house = self._tree.query(shapely.box(*low.T, *high.T))
        taller = self._tops[house] > floor_m[some[floor]]
        floor, house = floor[taller], house[taller]
        pair, number = numbered(count[some][floor])
        at, house = first[floor][pair] + number, house[pair]
        (x, y), (west, south, east, north) = xy[at].T, self._bounds[house].T
        near = (west <= x) & (x <= east) & (south <= y) & (y <= north)
        at, house, x, y = at[near], house[near], x[near], y[near]
        shapely.prepare(self._shapes[np.unique(house)])
        free[at[shapely.contains_xy(self._shapes[house], x, y)]] = False
        return free

    @cached_property
    def _bounds(self) -> np.ndarray:
        return shapely.bounds(self._shapes)

    @cached_property
    def _tree(self) -> shapely.STRtree:
        return shapely.STRtree(self._shapes)


class Stems(NamedTuple):
    """Planting lines that keep people away.

    Attributes
    ----------
    shapes : ndarray of LineString, (lines,)
    subject : ndarray of int, (lines,)
        For whom each is planted.
    """

    shapes: np.ndarray
    subject: np.ndarray

    @classmethod
    def of(cls, lines, subject=None) -> Stems:
        """Take those of a layer; by default all are one subject's."""
        subject = np.zeros(len(lines), int) if subject is None else np.asarray(subject)
        return cls(lines.geometry.to_numpy(), subject)


def off_lines(samples: Samples, lines: Stems, subject) -> Samples:
    """Leave out the points that are no farther than `CLEAR_OF_LINE_M` from a planting line of their row's subject.

    Parameters
    ----------
    samples : Samples
    lines : Stems
    subject : ndarray of int, (rows,)
        The subject of each row.

    Returns
    -------
    Samples
        The same object if all stay.
    """
    point, line = _beside(samples, lines, np.asarray(subject))
    points = shapely.points(samples.xyz[point, :2])
    near = shapely.distance(lines.shapes[line], points) <= CLEAR_OF_LINE_M
    if not near.any():
        return samples
    far = np.ones(len(samples.xyz), bool)
    far[point[near]] = False
    return samples.only(far)


def _beside(samples: Samples, lines: Stems, subject: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Find the points, of rows of a subject each, and the subject's lines that may be as near as `CLEAR_OF_LINE_M`."""
    ends, line = shapely.get_coordinates(lines.shapes, return_index=True)
    edge = np.flatnonzero(line[1:] == line[:-1])
    edge = edge[np.argsort(lines.subject[line[edge]], kind="stable")]
    whose = lines.subject[line[edge]]
    own = np.column_stack([np.searchsorted(whose, subject, by) for by in ("left", "right")])
    sides = np.hstack([ends[edge], ends[edge + 1] - ends[edge]])
    of = np.repeat(np.arange(len(subject)), samples.counts)
    room = len(samples.xyz)
    while True:
        found = np.empty((2, room), np.int64)
        count = _list_near(samples.xyz, own[of], sides, CLEAR_OF_LINE_M + READ_M, found)
        if count <= room:
            break
        room = count
    return found[0, :count], line[edge[found[1, :count]]]


@njit(cache=True, error_model="numpy")
def _list_near(xyz, own, sides, reach_m, found):
    """List points and edges of their own that are so near in plan, as far as there is room; tell how many there are."""
    count = 0
    for point in range(len(xyz)):
        for k in range(own[point, 0], own[point, 1]):
            x, y = xyz[point, 0] - sides[k, 0], xyz[point, 1] - sides[k, 1]
            way_x, way_y = sides[k, 2], sides[k, 3]
            square = way_x * way_x + way_y * way_y
            share = min(max((x * way_x + y * way_y) / square, 0.0), 1.0) if square > 0.0 else 0.0
            x, y = x - share * way_x, y - share * way_y
            if x * x + y * y <= reach_m * reach_m:
                if count < found.shape[1]:
                    found[0, count], found[1, count] = point, k
                count += 1
    return count


def by_subject(layer, subject=None) -> dict[int, shapely.Geometry]:
    """Unite the shapes of each subject; by default all are one's."""
    subject = np.zeros(len(layer), int) if subject is None else np.asarray(subject)
    shapes = layer.geometry.to_numpy()
    return {
        int(number): shapely.union_all(shapes[subject == number]) for number in np.unique(subject)
    }


def stand_on(xy, shape, heights, raised_m: float, terrain) -> np.ndarray:
    """Put heads above the positions of one shape, (positions times heights, 3); see `stand_on_each`."""
    return stand_on_each(
        np.asarray(xy), np.array([len(xy)]), np.array([shape], object),
        np.array([heights], float), np.array([raised_m], float), terrain,
    ).xyz  # fmt: skip


def stand_on_each(
    xy: np.ndarray,
    count: np.ndarray,
    shapes: np.ndarray,
    heights: np.ndarray,
    raised_m: np.ndarray,
    terrain,
) -> Samples:
    """Put heads above positions: above all of a shape at its first height, then at the next.

    On the ground they follow it. A raised floor is level, at ``raised_m`` above the mean ground
    under the positions of its shape.

    Parameters
    ----------
    xy : ndarray, (positions, 2)
        Those of one shape after those of the other.
    count : ndarray of int, (shapes,)
        How many each has.
    shapes : ndarray, (shapes,)
    heights : ndarray, (shapes, heights)
        Of equal ones a head stands at one.
    raised_m : ndarray, (shapes,)
    terrain : Terrain or None
    """  # fmt: skip
    ground, of = ground_at(terrain, xy), np.repeat(np.arange(len(count)), count)
    decks = np.flatnonzero((raised_m > 0.0) & (count > 0)).tolist()
    for deck in decks if terrain is not None else ():
        if shapes[deck].geom_type in ("Polygon", "MultiPolygon"):
            ground[of == deck] = terrain.mean_under(shapes[deck])
    raised = raised_m[of] > 0.0
    ground[raised] = ground[raised] + raised_m[of][raised]
    heights = np.sort(heights, axis=1)
    other = np.ones(heights.shape, bool)
    other[:, 1:] = heights[:, 1:] != heights[:, :-1]
    row, height = np.nonzero(other)
    # A block of positions for each height of each shape.
    block, number = numbered(count[row])
    at = firsts(count)[row][block] + number
    heads = np.column_stack([xy[at], ground[at] + heights[row, height][block]])
    return Samples(heads, np.append(0, np.cumsum(count * other.sum(axis=1))).astype(np.int64))


def _longest_edges(polygons: np.ndarray) -> np.ndarray:
    """Direction of the longest edge of each outline, as unit vectors, (n, 2); corners on a straight edge do not part it."""
    parts, whose = shapely.get_parts(polygons, return_index=True)
    xy, ring = shapely.get_coordinates(_from_farthest(shapely.get_exterior_ring(parts)), return_index=True)  # fmt: skip
    edge = np.flatnonzero(ring[1:] == ring[:-1])
    edges, of = xy[edge + 1] - xy[edge], whose[ring[edge]]
    lengths, begin = np.hypot(*edges.T), firsts(np.bincount(of, minlength=len(polygons)))
    # Of several that are longest, the first clockwise from north, whichever way it was drawn.
    longest = lengths >= (np.maximum.reduceat(lengths, begin) - EQUAL_M)[of]
    edges, of = edges[longest], of[longest]
    order = np.argsort(np.tile(of, 2), kind="stable")
    both, count = np.vstack([edges, -edges])[order], 2 * np.bincount(of, minlength=len(polygons))
    found = both[firsts(count) + first_clockwise_each(both, np.zeros((len(polygons), 2)), count)]
    return found / np.hypot(*found.T)[:, None]


def _from_farthest(rings: np.ndarray) -> np.ndarray:
    """Begin closed rings at their corner farthest out, and leave out the corners that lie on a straight edge."""
    count = shapely.get_num_coordinates(rings) - 1
    closed, ring = shapely.get_coordinates(rings, return_index=True)
    xy = closed[np.append(ring[1:] == ring[:-1], False)]
    of, _ = numbered(count)
    middle = np.column_stack([np.bincount(of, weights=part) for part in xy.T]) / count[:, None]
    start = first_most(np.hypot(*(xy - middle[of]).T), count)
    # Each begins with its own corner, and ends with it.
    turn = turned(count, start)
    order = np.insert(turn, firsts(count) + count, turn[firsts(count)])
    whose = np.insert(of, firsts(count) + count, np.arange(len(rings)))
    return shapely.simplify(shapely.linestrings(xy[order], indices=whose), STRAIGHT_M)
