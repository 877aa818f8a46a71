"""Eyes, targets and the rays between them.

Eyes lie a set distance inside the room, at equal steps over the window's width and at a seated and
a standing height. Targets lie on a square grid over the place, at both heights of a head there.
A ray counts only if it crosses the window's opening; onlookers who are out of doors look through
none, and every ray of theirs counts. A place with a raised deck is level, and its heads are above
the deck. Whatever stops a ray stops it the other way as well.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

from screenplan.contracts.tables import identifiers, numbers
from screenplan.ground.faults import Faults
from screenplan.site.ragged import firsts, numbered
from screenplan.views.obstacles import top_heights
from screenplan.views.positions import positions_in_each
from screenplan.views.samples import Samples, stand_on_each
from screenplan.views.stems import CLEAR_OF_LINE_M, Stems, off_lines
from screenplan.views.together import Ends, pairs_of, rays_of

#: Eye and target are the same point when nearer than this.
COINCIDENT_M = 1e-3
#: Positions in a place at most, about; each has a seated and a standing head.
MOST_TARGETS = 100
#: Spacing of the first sample over that of the second, denser one.
FINER = 1.5
#: Heads that nobody gave a height.
SEATED_M, STANDING_M = 1.2, 1.6


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


def by_subject(layer, subject=None) -> dict[int, shapely.Geometry]:
    """Unite the shapes of each subject; by default all are one's."""
    subject = np.zeros(len(layer), int) if subject is None else np.asarray(subject)
    shapes = layer.geometry.to_numpy()
    return {
        int(number): shapely.union_all(shapes[subject == number]) for number in np.unique(subject)
    }
