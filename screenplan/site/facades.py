"""Windows worked out from footprints: where a neighbour's house could look at the subject."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import WINDOWS
from screenplan.contracts.tables import layer_of_columns
from screenplan.plan import Options
from screenplan.site.compass import compass_name, unit_vector
from screenplan.site.floors import floors_of, storeys_of
from screenplan.site.ownership import parcels_of, sound, subject_id, subject_outline
from screenplan.site.shaping import column_or
from screenplan.site.steady import EQUAL_M, natural_key
from screenplan.site.walls import Walls, exposed_stretches, walls_of

#: Kinds of building from which nobody is taken to look out.
NOT_LIVED_IN = frozenset(
    {"shed", "garage", "carport", "barn", "greenhouse", "deck", "porch", "roof", "ruin"}
)
#: A shorter stretch of wall gets no window.
SHORTEST_WALL_M = 2.0
#: One does not look out more nearly along the wall than this: from 1 m inside, an opening of 1.2 m
#: lets one see 50° to either side of straight out at most (arithmetic), which is 40° to the wall.
GRAZING_DEG = 30.0
#: Points of the subject that are looked for, at this distance along its outline and across it.
TARGET_STEP_M = 4.0
MOST_TARGETS = 400


def derive_windows(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame,
    terrain,
    plan: Options,
) -> gpd.GeoDataFrame:
    """Put windows into the walls that look towards the subject, storey by storey.

    Every building that is lived in, does not stand on the subject and is within reach gets them:
    also one whose parcel is not in the layer. Along a stretch of straight wall of 2 m or more
    that no other building adjoins they are evenly spaced, no farther apart than ``windows.spacing`` but
    for the 5 cm by which a file may be out. A window stays if some point of the subject within ``windows.reach`` lies before its wall, at more
    than 30° to it, and is not hidden by the building itself. They are numbered round each building,
    as `screenplan.site.walls.walls_of` gives its walls: the names follow the site, and neither the
    order of the file nor its system.

    Parameters and result are those of `screenplan.site.windows.lay_windows`.
    """
    subject = subject_outline(parcels)
    owner = parcels_of(buildings, parcels)
    footprints = sound(buildings.geometry.to_numpy())
    ids = building_names(buildings)
    kinds = column_or(buildings, "kind", "house")
    floors = floors_of(buildings, terrain)
    like, storey_height_m = plan.windows, plan.site.storey_height
    storeys = storeys_of(buildings, storey_height_m)
    near = (owner != subject_id(parcels)) & (shapely.distance(footprints, subject) <= like.reach)
    near &= is_lived_in(kinds)
    targets = _points_of(subject)

    columns: dict[str, list] = {column.name: [] for column in WINDOWS.columns}
    points = []
    for item in sorted(np.flatnonzero(near), key=lambda item: natural_key(ids[item])):
        places = _places_along(
            walls_of(footprints[item]), footprints, item, targets, like.spacing, like.reach
        )
        for storey in range(storeys[item]):
            on_wall: dict[str, int] = {}
            for number, at, facing in places:
                wall = f"{compass_name(facing)} wall"
                on_wall[wall] = on_wall.get(wall, 0) + 1
                columns["window_id"].append(f"{ids[item]}-w{number}-s{storey}")
                columns["name"].append(f"{_storey_name(storey)} {on_wall[wall]}, {wall}")
                columns["building_id"].append(ids[item])
                columns["storey"].append(storey)
                columns["sill_m"].append(storey * storey_height_m + like.sill)
                columns["height_m"].append(like.height)
                columns["width_m"].append(like.width)
                columns["facing_deg"].append(facing)
                columns["floor_m"].append(floors[item] + storey * storey_height_m)
                columns["derived"].append(True)
                columns["set_apart"].append(None)
                points.append(shapely.Point(at))
    return layer_of_columns(WINDOWS, columns, points, parcels.crs)


def is_lived_in(kinds) -> np.ndarray:
    """Tell of each kind of building whether people are taken to live there: of sheds and garages not."""
    plain = [str(kind).strip().lower() for kind in kinds]
    return np.array(
        [not {kind, kind.removesuffix("s")} & NOT_LIVED_IN for kind in plain], dtype=bool
    )


def building_names(buildings: gpd.GeoDataFrame) -> list[str]:
    """Give each building's identifier, or ``b`` and its row number where it has none."""
    given = column_or(buildings, "building_id")
    return [f"b{row}" if name is None else str(name) for row, name in enumerate(given, start=1)]


def _storey_name(storey: int) -> str:
    return (
        ("ground-floor window", "upper window")[storey] if storey < 2 else f"storey-{storey} window"
    )


def _places_along(
    walls: Walls,
    footprints: np.ndarray,
    item: int,
    targets: np.ndarray,
    spacing_m: float,
    reach_m: float,
) -> list[tuple[int, np.ndarray, float]]:
    """Find where on its walls a building looks at the targets: numbers, points and directions.

    The numbers count all places round the building, also those that do not look: what one of
    them sees does not change what the others are called.
    """
    own = footprints[item]
    beside = np.flatnonzero(shapely.dwithin(footprints, own, 1.0))
    others = shapely.union_all(footprints[beside[beside != item]])
    outline = shapely.boundary(own)
    # Smaller by a hair, so that a line that leaves the wall does not touch it.
    solid = shapely.buffer(own, -0.02)
    shapely.prepare(solid)
    found, number = [], 0
    for start, end, facing, length in zip(
        walls.start, walls.end, walls.facing_deg, walls.length_m, strict=True
    ):
        if length < SHORTEST_WALL_M - EQUAL_M:
            continue
        along = (end - start) / length
        for low, high in exposed_stretches(start, end, others):
            if high - low < SHORTEST_WALL_M - EQUAL_M:
                continue
            count = max(1, math.ceil((high - low - EQUAL_M) / spacing_m))
            for s in low + (np.arange(count) + 0.5) * (high - low) / count:
                number += 1
                at = start + s * along
                # The face passes over small steps of the outline; the window is on the outline.
                at = shapely.get_coordinates(shapely.shortest_line(outline, shapely.Point(at)))[0]
                if _sees(at, float(facing), targets, solid, reach_m):
                    found.append((number, at, float(facing)))
    return found


def _sees(at: np.ndarray, facing: float, targets: np.ndarray, solid, reach_m: float) -> bool:
    way = targets - at
    away = np.hypot(way[:, 0], way[:, 1])
    before = way @ np.array(unit_vector(facing)) > away * math.sin(math.radians(GRAZING_DEG))
    before &= away <= reach_m
    if not before.any():
        return False
    ends = np.broadcast_to(at, (int(before.sum()), 2))
    lines = shapely.linestrings(np.stack([ends, targets[before]], axis=1))
    return bool((~shapely.intersects(solid, lines)).any())


def _points_of(subject) -> np.ndarray:
    """Spread points over the subject: along its outline and on a grid within."""
    outline = shapely.boundary(subject)
    step = max(TARGET_STEP_M, outline.length * 2.0 / MOST_TARGETS)
    rim = shapely.get_coordinates(
        [
            line.interpolate(s)
            for line in shapely.get_parts(outline)
            for s in np.arange(0, line.length, step)
        ]
    )
    west, south, east, north = subject.bounds
    step = max(TARGET_STEP_M, math.sqrt((east - west) * (north - south) * 2.0 / MOST_TARGETS))
    x, y = np.meshgrid(
        np.arange(west + step / 2, east, step), np.arange(south + step / 2, north, step)
    )
    inside = shapely.contains_xy(subject, x.ravel(), y.ravel())
    return np.vstack([rim, np.column_stack([x.ravel(), y.ravel()])[inside]])
