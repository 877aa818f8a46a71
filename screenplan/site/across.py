"""What lies across the sides of parcels, as it is met by looking straight out from many places along each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.site.lots import Lots
from screenplan.site.ownership import sound
from screenplan.site.probes import Edges, Nearby, Probes, find_nearest, find_points
from screenplan.site.ragged import numbered
from screenplan.site.shaping import column_or

#: A neighbour is across a side if its parcel begins within this distance outside it.
BAND_M = 3.0
#: It may overlap the subject by this much, as parcels digitised apart do.
OVERLAP_M = 0.5
#: A road is across a side if its centre line is within this distance and no parcel lies between.
ROAD_REACH_M = 20.0
#: What is looked across at shorter steps than this adds nothing.
PROBE_STEP_M = 0.5
#: At most this many places along a side are looked from.
MOST_PROBES = 400
#: What is seen from less than this share of a side is not across it.
LEAST_SHARE = 0.1


@dataclass(frozen=True, eq=False)
class Around:
    """What may lie across the sides of subjects: the parcels, theirs among them, and the roads.

    Parameters
    ----------
    land : ndarray of Geometry, (parcels,)
    land_ids : ndarray of object, (parcels,)
    own : ndarray of int, (subjects,)
        The parcel of each subject.
    roads : ndarray of Geometry, (roads,)
    road_names : ndarray of object, (roads,)
    """

    land: np.ndarray
    land_ids: np.ndarray
    own: np.ndarray
    roads: np.ndarray
    road_names: np.ndarray

    @classmethod
    def of(cls, lots: Lots) -> Around:
        """Take what lies around some lots, which are the subjects."""
        parcels, roads = lots.around["parcels"], lots.around.get("roads")
        land = sound(parcels.geometry.to_numpy())
        ids = parcels["parcel_id"].astype(str).to_numpy(dtype=object)
        lines, names = np.empty(0, dtype=object), np.empty(0, dtype=object)
        if roads is not None and len(roads):
            lines = roads.geometry.to_numpy()
            given = zip(column_or(roads, "name"), column_or(roads, "road_id", ""), strict=True)
            names = np.array([str(name or number or "road") for name, number in given], object)
        return cls(land, ids, lots.rows, lines, names)

    def called(self) -> list[tuple[str, str]]:
        """Give the name and the kind of each parcel, and then of each road."""
        names = [*self.land_ids.tolist(), *self.road_names.tolist()]
        kinds = ["parcel"] * len(self.land_ids) + ["road"] * len(self.road_names)
        return list(zip(names, kinds, strict=True))


def look_across(
    lines: np.ndarray, base_m: np.ndarray, subject: np.ndarray, around: Around
) -> list[tuple[str, str]]:
    """Look straight out from many places along sides, and name what is met most often across each.

    Parameters
    ----------
    lines : ndarray of LineString, (sides,)
        Each with its subject on the left.
    base_m : ndarray, (sides,)
        The length over which a direction is taken.
    subject : ndarray of int, (sides,)
        The subject of each, by its place in ``around.own``.
    around : Around
        What may lie there.

    Returns
    -------
    list of (str, str)
        The name and the kind: ``parcel``, ``road`` or ``unknown``.
    """
    length = shapely.length(lines)
    count = np.clip(np.ceil(length / PROBE_STEP_M), 8, MOST_PROBES).astype(int)
    side, number = numbered(count)
    s = (number + 0.5) * length[side] / count[side]
    half = base_m[side] / 2.0
    here, ahead, behind = (
        points_along(lines, side, at)
        for at in (s, np.minimum(s + half, length[side]), np.maximum(s - half, 0))
    )
    along = ahead - behind
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])

    land, own = Edges.of(around.land), around.own[subject]
    tree = shapely.STRtree(around.land)
    probes = Probes(here - OVERLAP_M * out, out, OVERLAP_M + BAND_M, side)
    first, _ = find_nearest(probes, land, Nearby.of(probes, tree, own))
    free = np.flatnonzero(first < 0)
    probes = Probes(here + OVERLAP_M * out, out, ROAD_REACH_M - OVERLAP_M, side).only(free)
    nobody = np.full(len(lines), -1)
    near = Nearby.of(probes, shapely.STRtree(around.roads), nobody)
    road, away = find_nearest(probes, Edges.of(around.roads), near)
    met = np.flatnonzero(road >= 0)
    free, road, away, probes = free[met], road[met], away[met], probes.only(met)
    # A road behind a parcel, or behind the subject's own ground, is not across a side.
    _, hidden = find_nearest(probes, land, Nearby.of(probes, tree, own))
    _, within = find_nearest(probes, *_own_ground(around, subject, probes))
    seen = np.minimum(hidden, within) > away
    first[free[seen]] = len(around.land) + road[seen]
    looked = first >= 0
    return _most_often(side[looked], first[looked], count, around.called())


def _own_ground(around: Around, subject: np.ndarray, probes: Probes) -> tuple[Edges, Nearby]:
    """Give to the probes of each side its subject's own ground, without what a neighbour that was digitised apart may overlap."""
    asked = np.unique(subject[probes.group])
    ground = Edges.of(shapely.buffer(around.land[around.own[asked]], -2.0 * OVERLAP_M))
    return ground, Nearby(np.arange(len(subject) + 1), np.searchsorted(asked, subject))


def points_along(lines: np.ndarray, of: np.ndarray, s: np.ndarray) -> np.ndarray:
    """Give points of lines at running distances, (points, 2): ``of`` says which line each is on."""
    first = np.append(0, np.cumsum(shapely.get_num_coordinates(lines)))
    return find_points(shapely.get_coordinates(lines), first, of, s)


def _most_often(
    side: np.ndarray, thing: np.ndarray, probes: np.ndarray, called: list[tuple[str, str]]
) -> list[tuple[str, str]]:
    """Name what is met most often across each side, of several the first by name.

    Parameters
    ----------
    side, thing : ndarray of int, (met,)
    probes : ndarray of int, (sides,)
        How many probes each side has.
    called : list of (str, str)
        Name and kind of each thing.
    """
    whats = sorted(set(called))
    number = {what: place for place, what in enumerate(whats)}
    of_thing = np.array([number[what] for what in called], dtype=int)
    both, often = np.unique(side * len(whats) + of_thing[thing], return_counts=True)
    side, what = np.divmod(both, max(len(whats), 1))
    order = np.lexsort((what, -often, side))
    order = order[np.diff(side[order], prepend=-1) > 0]
    order = order[often[order] >= LEAST_SHARE * probes[side[order]]]
    found = [("", "unknown")] * len(probes)
    for place, name in zip(side[order].tolist(), what[order].tolist(), strict=True):
        found[place] = whats[name]
    return found
