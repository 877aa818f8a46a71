"""Eyes, targets and the rays between them.

Eyes lie a set distance inside the room, at equal steps over the window's width and at a seated and
a standing height. Targets lie on a square grid over the place, at both heights of a head there.
A ray counts only if it crosses the window's opening; onlookers who are out of doors look through
none, and every ray of theirs counts. A place with a raised deck is level, and its heads are above
the deck. Whatever stops a ray stops it the other way as well. The grid is laid along the place's longest
edge and centred, so that a site that is turned, moved or mirrored gives the same rays.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
import shapely

from screenplan.contracts.tables import identifiers, numbers
from screenplan.ground.faults import Faults
from screenplan.site.steady import EQUAL_M, first_clockwise
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
        return np.array([_spots(self.coarse.row(row)) == 1 for row in range(len(self.ids))], bool)

    def off(self, lines: Mapping[int, shapely.Geometry]) -> Targets:
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
    """Positions on a centred square grid over a polygon, (positions, 2).

    Parameters
    ----------
    polygon : Polygon or MultiPolygon
        The place.
    spacing_m : float
        Asked distance between neighbours; widened so that there are at most about ``most``, and
        narrowed so that there are a few.
    most : int
        Bound on the number.
    """
    spacing = max(spacing_m, float(np.sqrt(polygon.area / most)))
    spacing = min(spacing, float(np.sqrt(polygon.area / FEWEST_POSITIONS)))
    along = _longest_edge(polygon)
    across = np.array([-along[1], along[0]])
    corners = shapely.get_coordinates(polygon)
    axes, counts = [], []
    for axis in (along, across):
        low, high = (corners @ axis).min(), (corners @ axis).max()
        count = max(int(np.ceil((high - low - READ_M) / spacing)), 1)
        axes.append(low + (np.arange(count) + 0.5) / count * (high - low))
        counts.append(count)
    u, v = (part.ravel() for part in np.meshgrid(*axes, indexing="ij"))
    x, y = (u * along[k] + v * across[k] for k in range(2))
    inside = shapely.contains_xy(polygon, x, y)
    if not inside.any():
        point = polygon.representative_point()
        return np.array([[point.x, point.y]])
    found = np.column_stack([x[inside], y[inside]])
    if len(found) > 2 * most:  # a thin place whose edges take more cells than its area
        found = found[:: -(-len(found) // most)]
    return found


def sample_places(
    places, outdoors: Outdoors, terrain=None, *, spacing_m: float, subject=None
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
    spacing_m : float
        As in `positions_in`; at most `MOST_TARGETS` positions, about, are taken in each place.
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
    sampled: tuple[list, list] = ([], [])
    for row, shape in enumerate(shapes):
        if lost[row]:
            continue
        kept = []
        for finer in (1.0, FINER):
            if shape.geom_type == "Point":
                xy = np.array([[shape.x, shape.y]])
            else:
                xy = positions_in(shape, spacing_m / finer, int(MOST_TARGETS * finer**2))
            outside = outdoors.of(xy, decks[row])
            if not len(outside):
                faults.note(row, *_INDOORS)
                break
            kept.append(stand_on(outside, shape, np.unique(heights[row]), decks[row], terrain))
        else:
            for sample, heads in zip(sampled, kept, strict=True):
                sample.append(heads)
    faults.raise_any()
    middle = shapely.get_coordinates([shape.representative_point() for shape in shapes])
    coarse, dense = map(Samples.of, sampled)
    return Targets(identifiers(places, "place_id"), subject, middle, coarse, dense)


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
        taken = np.zeros(len(xy), bool)
        if not len(xy) or not len(self._shapes):
            return xy
        # Of hundreds of houses few stand where the positions are.
        west, south, east, north = shapely.bounds(self._shapes).T
        (left, low), (right, high) = xy.min(axis=0), xy.max(axis=0)
        near = (west <= right) & (east >= left) & (south <= high) & (north >= low)
        for shape in self._shapes[near & (self._tops > floor_m)]:
            taken |= shapely.contains_xy(shape, xy[:, 0], xy[:, 1])
        return xy[~taken]


def off_lines(samples: Samples, lines: Mapping[int, shapely.Geometry], subject) -> Samples:
    """Leave out the points that are no farther than `CLEAR_OF_LINE_M` from a planting line of their row's subject.

    Parameters
    ----------
    samples : Samples
    lines : mapping
        The lines of each subject, united (`by_subject`).
    subject : ndarray of int, (rows,)
        The subject of each row.

    Returns
    -------
    Samples
        The same object if all stay.
    """
    of, far = np.repeat(subject, samples.counts), np.ones(len(samples.xyz), bool)
    for number, shape in lines.items():
        mine = np.flatnonzero(of == number)
        points = shapely.points(samples.xyz[mine, :2])
        far[mine] = shapely.distance(shape, points) > CLEAR_OF_LINE_M
    return samples if far.all() else samples.only(far)


def by_subject(layer, subject=None) -> dict[int, shapely.Geometry]:
    """Unite the shapes of each subject; by default all are one's."""
    subject = np.zeros(len(layer), int) if subject is None else np.asarray(subject)
    shapes = layer.geometry.to_numpy()
    return {
        int(number): shapely.union_all(shapes[subject == number]) for number in np.unique(subject)
    }


def stand_on(xy, shape, heights, raised_m: float, terrain) -> np.ndarray:
    """Put heads above positions, (positions times heights, 3).

    On the ground they follow it. A raised floor is level, at ``raised_m`` above the mean ground
    under the positions of its shape.
    """
    ground = ground_at(terrain, xy)
    if raised_m > 0.0:
        if terrain is not None and shape.geom_type in ("Polygon", "MultiPolygon"):
            ground = np.full(len(xy), terrain.mean_under(shape))
        ground = ground + raised_m
    return np.concatenate([np.column_stack([xy, ground + height]) for height in heights])


def _longest_edge(polygon) -> np.ndarray:
    """Direction of the longest edge of the outline, as a unit vector; corners on a straight edge do not part it."""
    edges = np.concatenate(
        [
            np.diff(_corners(shapely.get_coordinates(part.exterior)), axis=0)
            for part in shapely.get_parts(polygon)
        ]
    )
    lengths = np.hypot(*edges.T)
    # Of several that are longest, the first clockwise from north, whichever way it was drawn.
    longest = edges[lengths >= lengths.max() - EQUAL_M]
    both = np.vstack([longest, -longest])
    longest = both[first_clockwise(both, np.zeros(2))]
    return longest / np.hypot(*longest)


def _corners(ring: np.ndarray) -> np.ndarray:
    """Leave out the corners of a closed ring that lie on a straight edge; it begins at the corner farthest out."""
    xy = ring[:-1]
    first = int(np.hypot(*(xy - xy.mean(axis=0)).T).argmax())
    turned = np.vstack([xy[first:], xy[: first + 1]])
    return shapely.get_coordinates(shapely.simplify(shapely.linestrings(turned), STRAIGHT_M))
