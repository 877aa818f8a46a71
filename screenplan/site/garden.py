"""The garden: the likeliest private place of a house, where nobody has said where people sit.

It is the largest usable open ground that belongs to the house. The ground round the house is told apart
by the way to the road: behind the house, to its left and right, and before it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity

from screenplan.ground.said import said
from screenplan.plan.site import Places
from screenplan.site.compass import bearing_deg, unit_vector
from screenplan.site.facades import SHORTEST_WALL_M, is_lived_in
from screenplan.site.ownership import parcels_of, sound, subject_id, subject_outline
from screenplan.site.shaping import column_or
from screenplan.site.steady import EQUAL_M, steady_order
from screenplan.site.walls import walls_of

#: A garden has room for people to move about, a circle as wide as this, where there is such ground ...
ROOMY_M = 5.0
#: ... and else for a table with chairs on both sides (both common practice, no source).
SITTING_M = 3.0
#: A place has room for a table (common practice, no source) ...
ROOM_M2 = 12.0
#: ... or at least for a few chairs; a smaller one is none.
LEAST_DERIVED_M2 = 4.0
#: Ground farther from the road is preferred to larger one if it is as large as this ...
GARDEN_M2 = 40.0
#: ... or has this share of the largest.
SHARE_OF_LARGEST = 0.5
#: Shares of the strip along the line that is kept clear, tried in turn where there is no room.
STRIPS = (1.0, 0.75, 0.5, 0.25, 0.0)
#: Areas that differ by less are equal.
EQUAL_M2 = 0.5
#: A road farther from the house than this does not tell front from back.
ROAD_TELLS_M = 100.0

_BEHIND, _LEFT, _RIGHT, _BEFORE = "behind", "left", "right", "before"
_NAMES = {
    _BEHIND: "garden behind the house",
    _LEFT: "garden beside the house",
    _RIGHT: "garden beside the house",
    _BEFORE: "garden before the house",
}


@dataclass(frozen=True)
class Garden:
    """A place that was derived.

    Parameters
    ----------
    place : Polygon
    name : str
    why : str
        Why it was chosen and how to change it; with quantities in braces.
    """

    place: shapely.Polygon
    name: str
    why: str


def find_garden(parcels, buildings, roads, option: Places) -> Garden | None:
    """Find the likeliest private place, or None where no open ground is left.

    Parameters
    ----------
    parcels, buildings, roads : GeoDataFrame
        As `screenplan.site.places.lay_places` takes them.
    option : Places
        How far from the house the place reaches, and how far it keeps off the line.
    """
    subject = subject_outline(parcels)
    if buildings is None or len(buildings) == 0:
        return _middle(subject, option, "no house stands on the parcel")
    footprints = sound(buildings.geometry.to_numpy())
    solid = shapely.union_all(footprints[shapely.intersects(footprints, subject)])
    house = main_house(footprints, buildings, parcels)
    if house is None:
        open_ground = largest(_cut(shapely.difference, subject, solid))
        return _middle(open_ground, option, "no house stands on the parcel")
    away = _away_from_road(house, roads)
    for width_m, strip_m in _ladder(option.edge):
        free = _cut(shapely.difference, shapely.buffer(subject, -strip_m), solid)
        found = _beside(house, free, away, option.depth, width_m)
        if found is not None:
            part, place, others = found
            why = _tell(part, place, others, away is not None, option, strip_m)
            return Garden(place, _NAMES[part] if away is not None else "garden of the house", why)
    open_ground = largest(_cut(shapely.difference, subject, solid))
    return _middle(
        open_ground, option, f"beside the house no ground {{{SITTING_M:g} m}} wide is open"
    )


def usable(ground, width_m: float):
    """Keep the largest part of the ground in which there is room: all of it is near where a circle fits.

    Parameters
    ----------
    ground : Geometry
    width_m : float
        Diameter of the circle, metres. Each spot of what is left lies within 0.71 times as much of
        the middle of one that fits: square corners stay, narrow strips go.

    Returns
    -------
    Polygon or None
    """
    ground = _areas(ground)
    # A file may be out by so much: ground that is just wide enough must not come and go.
    middles = shapely.buffer(ground, (EQUAL_M - width_m) / 2.0)
    near = _cut(shapely.intersection, shapely.buffer(middles, width_m * math.sqrt(0.5)), ground)
    # Nor must slivers between a wall and a line that runs as it does.
    core = shapely.buffer(near, -EQUAL_M, join_style="mitre")
    return largest(
        _cut(shapely.intersection, shapely.buffer(core, EQUAL_M, join_style="mitre"), _areas(near))
    )


def ground_round(house, away: tuple[float, float], depth_m: float) -> dict[str, shapely.Geometry]:
    """Part the ground round a house, as seen with the back to the road.

    Parameters
    ----------
    house : Polygon or MultiPolygon
    away : (float, float)
        The direction away from the road, of length 1.
    depth_m : float
        How far the ground reaches from the house's rectangle in this direction, metres.

    Returns
    -------
    dict of str to Geometry
        Behind, left, right and before. A nook of the house belongs to the part to which it opens,
        behind or before; the corners of the frame go with these two.
    """
    turn_deg = float(bearing_deg(*away))
    turned = affinity.rotate(house, turn_deg, origin=(0, 0))
    west, south, east, north = turned.bounds
    within = shapely.box(west, south, east, north)
    across = (west - depth_m, east + depth_m)
    parts = {
        _BEHIND: shapely.union(
            shapely.box(across[0], north, across[1], north + depth_m),
            _cut(shapely.difference, within, _passed(turned, south - north)),
        ),
        _LEFT: shapely.box(across[0], south, west, north),
        _RIGHT: shapely.box(east, south, across[1], north),
        _BEFORE: shapely.union(
            shapely.box(across[0], south - depth_m, across[1], south),
            _cut(shapely.difference, within, _passed(turned, north - south)),
        ),
    }
    return {name: affinity.rotate(part, -turn_deg, origin=(0, 0)) for name, part in parts.items()}


def main_house(footprints: np.ndarray, buildings, parcels):
    """Find the subject's largest building that is lived in, else its largest; None if it has none."""
    on = parcels_of(buildings, parcels) == subject_id(parcels)
    if not on.any():
        return None
    lived_in = is_lived_in(column_or(buildings, "kind", "house"))
    candidates = on & lived_in if (on & lived_in).any() else on
    houses = footprints[candidates]
    x, y = shapely.get_coordinates(shapely.centroid(houses)).T
    order = steady_order((-shapely.area(houses), EQUAL_M2), (-y, EQUAL_M), (x, EQUAL_M))
    return houses[order[0]]


def largest(geometry):
    """Give the largest polygon of a geometry, None if it has none."""
    return max(_areas(geometry).geoms, key=lambda part: part.area, default=None)


def _areas(geometry) -> shapely.MultiPolygon:
    parts = [part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon"]
    return shapely.MultiPolygon(parts)


def _passed(shape, rise_m: float):
    """Give all ground that a shape passes when it is moved north."""
    pieces = [shape]
    for part in shapely.get_parts(shape):
        for ring in (part.exterior, *part.interiors):
            xy = shapely.get_coordinates(ring)
            edges = np.stack([xy[:-1], xy[1:]], axis=1)
            corners = np.concatenate([edges, edges + np.array([0.0, rise_m])], axis=1)
            pieces += list(shapely.convex_hull(shapely.multipoints(corners)))
    return shapely.union_all([piece for piece in pieces if piece.area > 0.0])


def _away_from_road(house, roads) -> tuple[float, float] | None:
    """Give the direction from the nearest road to the house; None where none tells front from back."""
    if roads is None or len(roads) == 0:
        return None
    lines = shapely.shortest_line(house.centroid, roads.geometry.to_numpy())
    lengths = shapely.length(lines)
    nearest = int(np.argmin(lengths))
    if not 0.0 < lengths[nearest] <= ROAD_TELLS_M:
        return None
    start, end = shapely.get_coordinates(lines[nearest])
    return tuple((start - end) / lengths[nearest])


def _ladder(strip_m: float) -> Iterator[tuple[float, float]]:
    """Give widths of the ground and of the strip along the line, for one of them to leave room."""
    yield ROOMY_M, strip_m
    for share in STRIPS:
        yield SITTING_M, share * strip_m


def _beside(house, free, away, depth_m: float, width_m: float):
    """Choose among the parts of the ground round the house: its name, the place, and all areas."""
    if away is None:
        return _most_open(house, free, depth_m, width_m)
    found = {
        name: usable(_cut(shapely.intersection, part, free), width_m)
        for name, part in ground_round(house, away, depth_m).items()
    }
    areas = {name: 0.0 if place is None else place.area for name, place in found.items()}
    enough = max(ROOM_M2, min(GARDEN_M2, SHARE_OF_LARGEST * max(areas.values())))
    side = _RIGHT if areas[_RIGHT] > areas[_LEFT] + EQUAL_M2 else _LEFT
    for name in (_BEHIND, side, _BEFORE):
        if areas[name] >= enough:
            return name, found[name], areas
    return None


def _most_open(house, free, depth_m: float, width_m: float):
    """Choose the ground before that wall of the house which has the most before it."""
    walls = walls_of(house)
    long = walls.length_m >= min(SHORTEST_WALL_M, walls.length_m.max())
    found = []
    for facing in walls.facing_deg[long]:
        part = ground_round(house, unit_vector(facing), depth_m)[_BEHIND]
        found.append(usable(_cut(shapely.intersection, part, free), width_m))
    areas = np.array([0.0 if place is None else place.area for place in found])
    best = steady_order((-areas, EQUAL_M2), (np.arange(len(found)), 0.0))[0]
    return (_BEHIND, found[best], {}) if areas[best] >= ROOM_M2 else None


def _tell(part, place, areas, by_road: bool, option: Places, strip_m: float) -> str:
    chosen = f"the {_NAMES[part] if by_road else 'side of the house with the most room'}"
    chosen += f", {{{place.area:.0f} m²}} of open ground"
    if not by_road:
        chosen += f", as no road within {{{ROAD_TELLS_M:g} m}} tells front from back"
    elif part == _BEHIND:
        chosen += " away from the nearest road"
    else:
        nearer = [_BEHIND] if part != _BEFORE else [_BEHIND, "beside"]
        room = {_BEHIND: areas[_BEHIND], "beside": max(areas[_LEFT], areas[_RIGHT])}
        there = " and ".join(f"{{{room[where]:.0f} m²}} {where} it" for where in nearer)
        chosen += f", as only {there} are usable"
    near = f"within {{{option.depth:g} m}} of the house"
    return _sentence(f"{chosen}, {near} and {_off_the_line(strip_m, option.edge)}")


def _off_the_line(strip_m: float, asked_m: float) -> str:
    off = f"{{{strip_m:.2g} m}} off the parcel's line, where the screen would stand"
    return off if strip_m >= asked_m else f"{off} ({{{asked_m:g} m}} would leave no room)"


def _sentence(chosen: str) -> str:
    return said(
        f"the private place is derived, because nobody has said where people sit: {chosen}. To change it, draw "
        "where people sit in a layer private_places, or set places.depth or places.edge"
    )


def _middle(ground, option: Places, why: str) -> Garden | None:
    """Give the middle of ground: what is farther from its outline than half the greatest distance."""
    if ground is None or ground.area < LEAST_DERIVED_M2:
        return None
    radius = shapely.maximum_inscribed_circle(ground).length
    room = math.sqrt(ROOM_M2 / math.pi)
    inset = max(0.5 * radius, min(option.edge, radius - room))
    left = shapely.buffer(ground, -inset)
    place = usable(left, SITTING_M) or largest(left)
    chosen = f"the middle of the parcel's open ground, {{{place.area:.0f} m²}}, as {why}, and {_off_the_line(inset, option.edge)}"
    return Garden(place, "middle of the parcel", _sentence(chosen))


def _cut(operation, ground, by):
    """Intersect ground with an area, or take it away from it.

    Where edges nearly meet, the cut before may have left a ring that crosses itself, or a hole beside the ground
    instead of in it: it is mended first.
    """
    try:
        return operation(ground, by)
    except shapely.errors.GEOSException:
        return operation(_mended(ground), _mended(by))


def _mended(ground):
    mended = shapely.make_valid(ground)
    # What keeps all edges may fail on those that nearly meet; what takes holes from shells does not.
    return (
        mended
        if mended.is_valid
        else shapely.make_valid(ground, method="structure", keep_collapsed=False)
    )
