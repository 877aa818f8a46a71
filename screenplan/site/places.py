"""Private places: those that are given, or one on the garden side of the house."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import PRIVATE_PLACES
from screenplan.contracts.tables import layer_of_columns, with_notes
from screenplan.ground.errors import InputError, Problem
from screenplan.ground.said import said
from screenplan.plan import DEFAULTS, Options
from screenplan.site.compass import apart_deg, bearing_deg, unit_vector
from screenplan.site.facades import NOT_LIVED_IN, SHORTEST_WALL_M
from screenplan.site.ownership import outline_known, parcels_of, sound, subject_id, subject_outline
from screenplan.site.shaping import column_or
from screenplan.site.steady import EQUAL_M, steady_order
from screenplan.site.walls import Walls, walls_of

#: What is left of a place beside the buildings in it must be at least this large.
LEAST_PLACE_M2 = 0.5
#: A derived place has room for a table (common practice, no source) ...
ROOM_M2 = 12.0
#: ... or at least for a few chairs; a smaller one is none.
LEAST_DERIVED_M2 = 4.0
#: Walls that face within this of the garden's direction are on the garden side.
GARDEN_SIDE_DEG = 60.0
#: Areas that differ by less are equal.
EQUAL_M2 = 0.5
#: A road farther from the house than this does not tell front from back.
ROAD_TELLS_M = 100.0
#: How far before a wall the open ground counts when there is no road.
GROUND_BEFORE_M = 200.0


def lay_places(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    roads: gpd.GeoDataFrame | None = None,
    private_places: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
) -> gpd.GeoDataFrame:
    """Complete the private places that are given, or derive one.

    From a given place the buildings in it are cut out, but for those that are no taller than its
    deck: a roof terrace stands on its building. With none given, the derived one is a strip
    along the subject's main house (its largest building that is lived in, else its largest) on
    the garden side: before the walls that face away from the nearest road or, where no road is
    within 100 m, before the wall with the most open ground in front of it. Where no building
    stands on the subject it is the middle of the parcel: what is farther from its outline than
    half the radius of the largest circle within. A side without room for a table (12 m²) gives
    way to the next; on a parcel that is built upon all over there is no derived place.

    Parameters
    ----------
    parcels : GeoDataFrame
        Contract ``parcels``, in metres.
    buildings, roads, private_places : GeoDataFrame, optional
        By their contracts, in metres; an empty layer of places counts as none.
    plan : Options, optional
        Of it [places].

    Returns
    -------
    GeoDataFrame
        Contract ``private_places``; given ones keep their index, areas before points, as they
        come back from files. What is doubtful stands in ``attrs["notes"]``.

    Raises
    ------
    InputError
        With every place that has no outline or lies inside a building.
    """
    if private_places is not None and len(private_places):
        laid = _complete(private_places, buildings, parcels.crs)
        laid = laid.iloc[np.argsort(laid.geom_type.to_numpy() == "Point", kind="stable")]
        return with_notes(laid, notes_on_places(parcels, buildings, private_places))
    if not plan.places.derive:
        return with_notes(
            _shape([], [], parcels.crs),
            ["there are no private places: none are given and deriving them is switched off"],
        )
    if not outline_known(parcels):
        return with_notes(
            _shape([], [], parcels.crs),
            ["there are no private places: none are given, and the parcel's outline is not known"],
        )
    found = _derive(parcels, buildings, roads, plan.places.depth)
    if found is None:
        return with_notes(
            _shape([], [], parcels.crs),
            [
                "there are no private places: none are given, and the parcel has no open ground for one"
            ],
        )
    place, name = found
    laid = _shape([place], [{"place_id": "derived-1", "name": name, "derived": True}], parcels.crs)
    return with_notes(laid, notes_on_places(parcels, buildings))


def notes_on_places(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    private_places: gpd.GeoDataFrame | None = None,
) -> tuple[str, ...]:
    """Tell what is doubtful about the places: outside the subject, cut, or derived.

    Parameters
    ----------
    parcels, buildings, private_places : GeoDataFrame
        As `lay_places` takes them.
    """
    if private_places is None or len(private_places) == 0:
        return ("the private place is derived: nobody has said where people sit",)
    known = outline_known(parcels)
    subject = subject_outline(parcels) if known else shapely.Polygon()
    laid = _complete(private_places, buildings, parcels.crs)
    notes = []
    for before, after, number in zip(
        private_places.geometry, laid.geometry, laid["place_id"], strict=True
    ):
        if known and not shapely.intersects(subject, after):
            notes.append(f"place {number} is outside the subject parcel")
        elif known and not shapely.covers(shapely.buffer(subject, 1e-6), after):
            notes.append(f"place {number} is in part outside the subject parcel")
        if before.area - after.area > 1e-6:
            notes.append(
                f"buildings take {{{before.area - after.area:.1f} m²}} of place {number}, "
                "which is cut to the rest"
            )
    return tuple(map(said, notes))


def _shape(geometry: list, rows: list[dict], crs) -> gpd.GeoDataFrame:
    columns = {
        column.name: [row.get(column.name, column.default) for row in rows]
        for column in PRIVATE_PLACES.columns
    }
    return layer_of_columns(PRIVATE_PLACES, columns, geometry, crs)


def _complete(places: gpd.GeoDataFrame, buildings, crs) -> gpd.GeoDataFrame:
    numbers = [
        str(row if name is None else name)
        for row, name in enumerate(column_or(places, "place_id"), start=1)
    ]
    columns = {
        column.name: column_or(places, column.name, column.default)
        for column in PRIVATE_PLACES.columns
    }
    if buildings is None:
        footprints, heights = np.empty(0, dtype=object), np.empty(0)
    else:
        footprints = sound(buildings.geometry.to_numpy())
        heights = column_or(buildings, "height_m", np.nan).astype(float)
    problems = [
        Problem(
            f"the identifier {name} stands there {len(rows)} times",
            "Give each place its own place_id",
            layer="private_places",
            rows=[int(row) + 1 for row in rows],
        )
        for name, rows in pd.Series(numbers).groupby(pd.Series(numbers)).groups.items()
        if len(rows) > 1
    ]
    geometry, rows = [], []
    for row, (place, number) in enumerate(zip(places.geometry, numbers, strict=True)):
        try:
            deck = float(columns["deck_m"][row] or 0.0)
            taller = ~(heights <= deck) if deck > 0.0 else np.ones(len(footprints), dtype=bool)
            geometry.append(_free_of(place, footprints[taller]))
        except _TakenError as taken:
            problems.append(
                Problem(
                    f"place {number} {taken}",
                    "Draw it where people sit or stand, outside the buildings",
                    layer="private_places",
                    rows=[row + 1],
                )
            )
            continue
        values = {name: column[row] for name, column in columns.items()}
        values |= {
            "place_id": number,
            "name": values["name"] or f"private place {number}",
            "derived": False,
        }
        rows.append(values)
    if problems:
        raise InputError(problems)
    laid = _shape(geometry, rows, crs)
    laid.index = places.index
    return laid


class _TakenError(Exception):
    """Nothing is left of a place; the text follows its name."""


def _free_of(place, footprints: np.ndarray):
    """Cut the buildings out of a place."""
    if place is None or place.is_empty:
        raise _TakenError("has no outline")
    place = shapely.force_2d(place)
    if place.geom_type == "Point":
        if shapely.contains(footprints, place).any():
            raise _TakenError("is inside a building")
        return place
    touching = footprints[shapely.intersects(footprints, place)]
    rest = _polygons(shapely.difference(place, shapely.union_all(touching)))
    if rest.area < min(LEAST_PLACE_M2, 0.5 * place.area):
        raise _TakenError("is inside a building")
    return rest


def _polygons(geometry):
    """Keep the areas of a geometry, without slivers."""
    parts = [part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon"]
    if len(parts) > 1:
        parts = [part for part in parts if part.area > 0.01 * LEAST_PLACE_M2]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def _derive(parcels, buildings, roads, depth_m: float):
    """Find the likeliest private place and its name, or None where all is built upon."""
    subject = subject_outline(parcels)
    if buildings is None or len(buildings) == 0:
        return _middle(subject), "middle of the parcel"
    footprints = sound(buildings.geometry.to_numpy())
    near = footprints[shapely.intersects(footprints, subject)]
    solid = shapely.union_all(near)
    open_ground = shapely.difference(subject, solid)
    house = _main_house(footprints, buildings, parcels)
    if house is not None:
        walls = walls_of(house)
        best = None
        for chosen in _garden_sides(walls, house, open_ground, roads):
            strip = _largest(
                shapely.intersection(_strip_before(walls, chosen, depth_m), open_ground)
            )
            if strip is not None and (best is None or strip.area > best.area + EQUAL_M2):
                best = strip
            if best is not None and best.area >= ROOM_M2:
                break
        if best is not None and best.area >= LEAST_DERIVED_M2:
            return best, "garden side of the house"
    rest = _largest(open_ground)
    if rest is None or rest.area < LEAST_DERIVED_M2:
        return None
    return _middle(rest), "middle of the parcel"


def _middle(ground):
    circle = shapely.maximum_inscribed_circle(ground)
    return _largest(shapely.buffer(ground, -0.5 * circle.length))


def _main_house(footprints: np.ndarray, buildings, parcels):
    on = parcels_of(buildings, parcels) == subject_id(parcels)
    if not on.any():
        return None
    kinds = column_or(buildings, "kind", "house")
    lived_in = np.array([str(kind).strip().lower() not in NOT_LIVED_IN for kind in kinds])
    candidates = on & lived_in if (on & lived_in).any() else on
    houses = footprints[candidates]
    x, y = shapely.get_coordinates(shapely.centroid(houses)).T
    order = steady_order((-shapely.area(houses), EQUAL_M2), (-y, EQUAL_M), (x, EQUAL_M))
    return houses[order[0]]


def _garden_sides(walls: Walls, house, open_ground, roads):
    """Give sets of walls, the likeliest garden side first, for one of them to have room before it."""
    facing = walls.facing_deg
    long = walls.length_m >= min(SHORTEST_WALL_M, walls.length_m.max())
    road = _way_to_road(house, roads)
    if road is not None:
        yield np.flatnonzero(long & (apart_deg(facing, road + 180.0) <= GARDEN_SIDE_DEG))
    before = [
        shapely.intersection(
            _before_wall(walls, wall, GROUND_BEFORE_M, wide=True), open_ground
        ).area
        if long[wall]
        else -1.0
        for wall in range(len(walls))
    ]
    # Before opposite walls of a house in the middle of its lot lies the same ground.
    for best in steady_order((np.negative(before), EQUAL_M2), (np.arange(len(walls)), 0.0)):
        if long[best]:
            yield np.flatnonzero(long & (apart_deg(facing, facing[best]) <= 1.0))


def _way_to_road(house, roads) -> float | None:
    if roads is None or len(roads) == 0:
        return None
    lines = shapely.shortest_line(house.centroid, roads.geometry.to_numpy())
    lengths = shapely.length(lines)
    nearest = int(np.argmin(lengths))
    if not 0.0 < lengths[nearest] <= ROAD_TELLS_M:
        return None
    start, end = shapely.get_coordinates(lines[nearest])
    return float(bearing_deg(*(end - start)))


def _before_wall(walls: Walls, wall: int, depth_m: float, wide: bool = False) -> shapely.Polygon:
    """Draw the ground before a wall, over its length or (wide) over its whole half-plane."""
    start, end = walls.start[wall], walls.end[wall]
    out = np.array(unit_vector(walls.facing_deg[wall]))
    if wide:
        along = (end - start) / walls.length_m[wall]
        start, end = start - depth_m * along, end + depth_m * along
    return shapely.Polygon([start, end, end + depth_m * out, start + depth_m * out])


def _strip_before(walls: Walls, chosen: np.ndarray, depth_m: float):
    return shapely.union_all([_before_wall(walls, int(wall), depth_m) for wall in chosen])


def _largest(geometry):
    parts = [part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon"]
    return max(parts, key=lambda part: part.area) if parts else None
