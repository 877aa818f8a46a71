"""What is seen of the lots of a county, as arrays: the years in which their views close, and how tall their rows must be.

The rays are those of the steps ``needed`` and ``views`` of a plan, laid and followed once, and by the same functions;
what only drawings and sheets need, such as where the last open rays pass, is not worked out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely

from screenplan.contracts.tables import has_rows
from screenplan.plan import Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, planned_stand
from screenplan.site.lots import Lots, Many
from screenplan.site.ragged import firsts, numbered
from screenplan.site.terrain import Terrain
from screenplan.views.crossing import PlanLines
from screenplan.views.crowns import CrownTable, one_growth
from screenplan.views.grown import crowns_of, runs_of, years_to_rest
from screenplan.views.kernel import Runs
from screenplan.views.lit import lit_each
from screenplan.views.needed_height import cross_rays, joined, most_needed
from screenplan.views.obstacles import Obstacles, lay_obstacles
from screenplan.views.sight import Sight, lay_sight
from screenplan.views.timeline import Scene, close_each, shares_of, years_closed
from screenplan.views.together import PORTION, Ends

#: Layers that lie around the lots and stand in the way of rays.
STANDING = ("buildings", "existing_screens")


@dataclass(frozen=True, eq=False)
class Seen:
    """The views of lots, and what their planting lines must be.

    Parameters
    ----------
    sight : Sight
        Who looks at what; views are its pairs.
    lot : ndarray of int, (views,)
        The lot whose place is looked at, ascending.
    rays : ndarray of int, (views,)
        Rays that pass the opening; a view without any is none.
    open_now : ndarray, (views,)
        Open share on the day of planting.
    year_closed : ndarray, (views,)
        First year from which it stays closed at typical growth; infinite if it does not in the years looked at.
    is_open : ndarray of bool, (views,)
        Whether it is a view that is open on the day of planting.
    needed_m : ndarray, (lines,)
        The greatest height that each planting line must have.
    """

    sight: Sight
    lot: np.ndarray
    rays: np.ndarray
    open_now: np.ndarray
    year_closed: np.ndarray
    is_open: np.ndarray
    needed_m: np.ndarray

    @property
    def windows(self) -> np.ndarray:
        """The window of each view, by its number, (views,)."""
        return self.sight.pairs[:, 0]

    def looks(self, views: np.ndarray) -> np.ndarray:
        """Give the windows of some views and the middles of all heads in the places, (views, 2, 2).

        A middle that hangs on the outline alone, for a drawing, may jump where a corner moves by a hair.
        """
        observer, place = self.sight.pairs[views].T
        heads = self.sight.targets.coarse
        middles = np.zeros((0, 2))
        if len(views):
            sums = np.add.reduceat(heads.xyz[:, :2], heads.first[:-1])
            middles = (sums / heads.counts[:, None])[place]
        ends = [self.sight.observers.middle[observer], middles]
        return np.stack(ends, axis=1).reshape(-1, 2, 2)


def see_each(
    lots: Lots,
    layers: Mapping[str, Many],
    *,
    plan: Options,
    target_spacing_m: np.ndarray,
    terrain: Terrain,
    species_table: Mapping[str, Species],
) -> Seen:
    """Lay the sight of each lot and follow it; a lot's plants stand in the way of its own views alone.

    Parameters
    ----------
    lots : Lots
        Of what lies around them buildings, each with an identifier, and existing screens.
    layers : mapping of str to Many
        Windows, private places, planting lines and plants of the lots, and onlookers if there are any. A window that
        looks at several lots is a row of each.
    plan : Options
        Of it [growth] and [views].
    target_spacing_m : ndarray, (lots,)
        Distance between the points of the places that are looked at.
    terrain : Terrain
        Level ground, or what covers all that is looked at.
    species_table : mapping

    Raises
    ------
    InputError
        By row as the steps ``needed`` and ``views`` say, rows being those of the layers of all lots.
    """
    around = {name: lots.around.get(name) for name in STANDING}
    given = {name: many.layer for name, many in layers.items()}
    subjects = {name: many.lot for name, many in layers.items()}
    spacing = target_spacing_m[subjects["private_places"]]
    sight = lay_sight(given | around, plan.views, terrain, subjects, spacing)
    views, lines = len(sight.pairs), layers["planting_lines"]
    found = _Found(
        sight.targets.subject[sight.pairs[:, 1]], np.zeros(views, int), np.zeros(views), np.full(views, np.inf),
        np.zeros(len(lines.lot)),
    )  # fmt: skip
    if views:
        stand = planned_stand(given["plants"], plan, species_table, subject=subjects["plants"])
        for some, mine, planted in _portions(lots, sight, found.lot, stand):
            _follow(found, some, mine, planted, lines, plan, terrain)
    seen = found.rays > 0
    return Seen(
        sight, found.lot, found.rays, found.now, np.where(seen, found.closed, np.inf),
        seen & (found.now > plan.views.threshold), found.needed,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Found:
    """What is found of the views, and of the lines; see `Seen`."""

    lot: np.ndarray
    rays: np.ndarray
    now: np.ndarray
    closed: np.ndarray
    needed: np.ndarray


@dataclass(frozen=True, eq=False)
class _Planted:
    """The plants of lots that start alike, at typical growth.

    Parameters
    ----------
    runs : Runs
    crowns : CrownTable
    own : ndarray of int, (lots, 2)
        The first run of each lot, and the one after its last.
    """

    runs: Runs
    crowns: CrownTable
    own: np.ndarray

    @classmethod
    def of(cls, stand: Stand, lots: int) -> _Planted:
        """Put the plants of some lots, of so many lots in all, into runs."""
        stand = stand.in_years(years_to_rest(stand))
        crowns = one_growth(crowns_of(stand), TYPICAL)
        runs = runs_of(stand, crowns)
        lot = stand.subject[stand.order[runs.order[runs.first[:-1]]]]
        ends = np.searchsorted(lot, np.arange(lots + 1))
        return cls(runs, crowns, np.column_stack([ends[:-1], ends[1:]]))


@dataclass(frozen=True, eq=False)
class _Some:
    """Some views: their numbers, the ends of their rays, and what stands between."""

    views: np.ndarray
    ends: Ends
    obstacles: Obstacles


def _portions(
    lots: Lots, sight: Sight, lot: np.ndarray, stand: Stand
) -> Iterator[tuple[_Some, np.ndarray, _Planted]]:
    """Part the views into those of lots that start alike, some lots at a time, so that memory stays flat.

    Lots with other kinds of plants are followed for other years, as each is by itself.

    Yields
    ------
    some : _Some
    mine : ndarray of int
        The lots.
    planted : _Planted
    """
    ends, boxes = sight.ends(upright=True), _boxes_of(sight)
    far = _look_far(lots, boxes, lot)
    views = np.bincount(lot, minlength=len(lots))
    begin = firsts(views)
    most = np.bincount(lot, weights=ends.most, minlength=len(lots))
    for kinds, alike in _alike(stand, len(lots)):
        group = np.zeros(len(lots), bool)
        group[alike] = True
        planted = _Planted.of(stand.only(group[stand.subject], kinds), len(lots))
        looked = alike[views[alike] > 0]
        near = looked[~far[looked]]
        part = np.cumsum(most[near]) // PORTION
        for mine in [
            *(near[part == number] for number in np.unique(part)),
            *looked[far[looked]][:, None],
        ]:
            of, number = numbered(views[mine])
            numbers = begin[mine][of] + number
            if far[mine[0]]:
                stands = _within_reach(lots, int(mine[0]), sight)
            else:
                west, south = boxes[numbers, :2].min(axis=0).tolist()
                east, north = boxes[numbers, 2:].max(axis=0).tolist()
                stands = sight.obstacles.within((west, south, east, north))
            yield _Some(numbers, ends.of(numbers), stands), mine, planted


def _alike(stand: Stand, lots: int) -> list[tuple[tuple[int, ...], np.ndarray]]:
    """Group lots by how their plants start, in the order in which each tells it: the starts, and the lots."""
    starts: list[dict[int, None]] = [{} for _ in range(lots)]
    for lot, start in zip(stand.subject.tolist(), stand.start.tolist(), strict=True):
        starts[lot][start] = None
    groups: dict[tuple[int, ...], list[int]] = {}
    for lot, some in enumerate(starts):
        groups.setdefault(tuple(some), []).append(lot)
    return [(kinds, np.array(some)) for kinds, some in groups.items()]


def _look_far(lots: Lots, boxes: np.ndarray, lot: np.ndarray) -> np.ndarray:
    """Tell in which lots a ray may meet what lies beyond the lot's reach, (lots,).

    Of all others a ray meets the same things among those around all lots as among those within its lot's reach.
    """
    far = np.zeros(len(lots), bool)
    if np.isinf(lots.reach_m) or not len(lot):
        return far
    some, begin = np.unique(lot, return_index=True)
    boxes = shapely.box(
        *np.minimum.reduceat(boxes[:, :2], begin).T, *np.maximum.reduceat(boxes[:, 2:], begin).T
    )
    for name in STANDING:
        if has_rows(lots.around.get(name)):
            shapes = lots.around[name].geometry.to_numpy()
            at, row = shapely.STRtree(shapes).query(boxes)
            reached = shapely.dwithin(shapes[row], lots.outlines[some[at]], lots.reach_m)
            far[some[at[~reached]]] = True
    return far


def _boxes_of(sight: Sight) -> np.ndarray:
    """Give the boxes in which the rays of views stay: west, south, east and north, (views, 4)."""
    observer, place = sight.pairs.T
    eyes, heads = sight.observers.eyes[False, False].extents(), sight.targets.coarse.extents()
    # The eyes for a place that is a single position stand nearer to the jambs than these do.
    half = np.nan_to_num(sight.observers.openings["half_width_m"])[:, None]
    low = np.minimum((eyes[0] - half)[observer], heads[0][place])
    high = np.maximum((eyes[1] + half)[observer], heads[1][place])
    return np.hstack([low, high])


def _within_reach(lots: Lots, lot: int, sight: Sight) -> Obstacles:
    """Lay what stands within the reach of one lot."""
    own = {}
    for name in STANDING:
        if lots.around.get(name) is not None:
            of, row = lots.near(name)
            own[name] = lots.around[name].iloc[row[of == lot]]
    return lay_obstacles(
        own.get("buildings"), own.get("existing_screens"), sight.ground, sight.within
    )


def _follow(
    found: _Found,
    some: _Some,
    mine: np.ndarray,
    planted: _Planted,
    lines: Many,
    plan: Options,
    terrain: Terrain,
) -> None:
    """Follow the rays of the views of some lots; enter what is found."""
    views, threshold = plan.views, plan.views.threshold
    lot = found.lot[some.views]
    dim = threshold if views.leaves == "translucent" else None
    scene = Scene(some.obstacles, planted.runs, planted.crowns, dim, planted.own[lot])
    rays, light = np.zeros(len(lot), int), np.zeros(len(lot))
    opened = np.zeros((len(lot), 1, 2, scene.years))
    rows = np.flatnonzero(np.isin(lines.lot, mine))
    shapes, of = lines.shapes[rows], lines.lot[rows]
    corners = PlanLines.of([shapely.get_coordinates(line) for line in shapes])
    edges = np.searchsorted(of[corners.line], np.column_stack([lot, lot + 1]))
    met = []
    for (first, last), lit in lit_each(some.ends, some.obstacles):
        rays[first:last] += lit.passed
        if not len(lit.light):
            continue
        begin = np.flatnonzero(np.diff(lit.rays.view, prepend=-1))
        view = first + lit.rays.view[begin]
        number = np.repeat(np.arange(len(view)), np.diff(begin, append=len(lit.light)))
        light[view] += np.bincount(number, weights=lit.light)
        opened[view] += close_each(
            number, (0, len(view)), lit.rays.origin, lit.rays.target, lit.light,
            replace(scene, own=planted.own[lot[view]]),
        )[1]  # fmt: skip
        met.append(cross_rays(lit.rays, lit.light, corners, terrain, edges=edges[view[number]]))
    found.rays[some.views], found.now[some.views] = rays, light / np.maximum(rays, 1)
    is_lit = light > 0.0
    shares = shares_of(opened[is_lit], rays[is_lit])[:, 0].max(axis=1)
    closed = np.zeros(len(lot))
    closed[is_lit] = years_closed(shares, threshold, plan.growth.years)
    found.closed[some.views] = closed
    found.needed[rows] = most_needed(shapely.length(shapes), joined(met), views)
