"""Lines on which rows may stand: those of the sides, and others beside private places; and where a second row goes."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from screenplan.contracts.tables import has_rows
from screenplan.design.kinds import Option

#: Grown crowns keep this far off a private place: rounding only.
OFF_PLACE_M = 0.01
#: Edges beside a place shorter than this carry no line, metres.
SHORTEST_EDGE_M = 1.0
#: A bend of a place's outline that moves a line by less is none, metres.
BEND_M = 0.3
#: A line is taken for straight over so much of it, metres, where what lies beside it is looked for.
AHEAD_M = 0.01


def lines_of(lines, places, option: Option, subject, *, inner: bool):
    """Give lines as line, its ground, side, name, offset, and the side on which a second row stands: 1 for the left.

    Parameters
    ----------
    lines : GeoDataFrame or None
        Planting lines of the sides, by their contract.
    places : GeoDataFrame or None
        Private places.
    option : Option
        Whose half width keeps the lines off the places.
    subject : Geometry or None
    inner : bool
        Whether there are lines beside the places too.
    """
    if lines is not None:
        for row in lines.itertuples():
            inward = roomier_side(row.geometry, subject, option.row_m)
            yield row.geometry, row.side_id, row.side_id, row.line_id, row.offset_m, inward
    if inner and has_rows(places):
        for place, shape in zip(places["place_id"].astype(str), places.geometry, strict=True):
            for number, line in enumerate(_beside(shape, option.half_m + OFF_PLACE_M), 1):
                name = f"{place}-edge{number}"
                # Rings run anticlockwise, with the place on their left.
                yield line, name, name, name, float("nan"), -1.0


def roomier_side(line, subject, distance_m: float) -> float:
    """Tell on which side of a line there is more room to the boundary: 1 for the left, or where that is not known."""
    if subject is None or not distance_m:
        return 1.0
    left, right = (
        aside(line, np.linspace(0.0, line.length, 21), sign * distance_m) for sign in (1.0, -1.0)
    )
    depth = [
        np.where(shapely.intersects(points, subject), 1.0, -1.0)
        * shapely.distance(points, subject.boundary)
        for points in (left, right)
    ]
    return 1.0 if depth[0].mean() >= depth[1].mean() else -1.0


def aside(line, stations, distance_m: float) -> np.ndarray:
    """Give points beside a line at some stations, a distance to the left."""
    stations = np.asarray(stations, float)
    step = min(AHEAD_M, 0.5 * line.length)
    ends = (
        shapely.get_coordinates(line.interpolate(np.clip(stations + ahead, 0.0, line.length)))
        for ahead in (-step, step)
    )
    before, after = ends
    way = after - before
    way /= np.maximum(np.hypot(*way.T), 1e-12)[:, None]
    xy = shapely.get_coordinates(line.interpolate(stations))
    return shapely.points(xy + distance_m * np.column_stack([-way[:, 1], way[:, 0]]))


def _beside(place, distance_m: float) -> list[shapely.LineString]:
    """Give lines parallel to the edges of a place, a distance outside it."""
    outline = shapely.simplify(place, BEND_M) if place.area > 0 else place
    around = shapely.buffer(
        outline, distance_m + (BEND_M if place.area > 0 else 0.0),
        join_style="mitre", mitre_limit=2.0, quad_segs=2,
    )  # fmt: skip
    found = []
    for part in shapely.get_parts(around):
        if part.geom_type != "Polygon":
            continue
        xy = shapely.get_coordinates(orient(part).exterior)
        found += [
            shapely.LineString(edge)
            for edge in np.stack([xy[:-1], xy[1:]], axis=1)
            if np.hypot(*(edge[1] - edge[0])) >= SHORTEST_EDGE_M
        ]
    return found
