"""Ground over which a driver must see, at drives and corners and along the road: what must stay clear, and of what heights.

Published examples of sight triangles are limits by name. Beside them stand two distances along
the road by its speed V (mph in the source) and a time t:

    stopping  1.47 V t + 1.075 V² / a, rounded up: the least distance in which others can stop
    emerging  1.47 V t: the gap that a driver who leaves the drive needs, longer than the first

The area that must be clear for a distance lies between the driver's eye, set back from the road's
edge in the middle of the drive, and the road's centre line as far as that distance each way.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
import shapely.ops

from screenplan.contracts.tables import has_rows, identifiers, numbers
from screenplan.ground.said import FOOT_M, KMH_PER_MPH
from screenplan.plan import Options
from screenplan.plan.effects import Road
from screenplan.rules.limit_kinds import Emerging, Limit, SightTriangle, Stopping
from screenplan.rules.limits import limit_named, limit_of
from screenplan.site.drives import drives_of
from screenplan.site.ownership import outline_known, subject_outline

#: 1.47 of the formulas: feet a second in a mile an hour, as printed.
FT_S_PER_MPH = 1.47
#: 1.075 of the stopping formula, as printed.
BRAKING = 1.075
#: A drive meets the boundary if it ends so near to it.
MOUTH_REACH_M = 1.0
#: A boundary this near to a road's edge is its frontage.
FRONTAGE_M = 15.0
#: What stands along the rim of such ground stands in it too: so near, metres.
RIM_M = 0.005
#: What is built stands in such ground along so much of it, metres: what only ends at its rim does not.
STANDS_IN_M = 4.0 * RIM_M
#: Speed at which a rounded-up distance is still the lower one: rounding only.
ROUND_SLACK = 1e-9


@dataclass(frozen=True)
class SightArea:
    """One area that must stay clear, and the band of heights in it.

    Parameters
    ----------
    kind : {"drive", "corner", "stopping", "emerging"}
    at : str
        The drive, or the two sides that meet.
    outline : Polygon or MultiPolygon
    rule : Limit
    clear_from_m, clear_to_m : float
        Nothing stands between these heights above the ground; the second may be infinite.
    distance_m : float
        Along the road.
    is_minimum : bool
        Whether it is the least distance, in which others can only just stop.
    """

    kind: str
    at: str
    outline: shapely.Geometry
    rule: Limit
    clear_from_m: float
    clear_to_m: float
    distance_m: float
    is_minimum: bool

    @property
    def place(self) -> str:
        """Where it is, in words."""
        return _place(self.kind, self.at)


def stopping_distance(speed_kmh: float, rule: Stopping) -> float:
    """Give the stopping sight distance at a speed, metres, rounded up as published.

    Parameters
    ----------
    speed_kmh : float
        Speed of the traffic.
    rule : Stopping
        The limit by which it is worked out.
    """
    v = speed_kmh / KMH_PER_MPH
    a = rule.deceleration_m / FOOT_M
    feet = FT_S_PER_MPH * v * rule.reaction_s + BRAKING * v * v / a
    step = rule.round_up_to_m / FOOT_M
    if step > 0:
        feet = math.ceil(feet / step - ROUND_SLACK) * step
    return feet * FOOT_M


def emerging_distance(speed_kmh: float, gap_s: float) -> float:
    """Distance that traffic runs in a gap, metres: 1.47 V t."""
    return FT_S_PER_MPH * speed_kmh / KMH_PER_MPH * gap_s * FOOT_M


def find_sight_areas(
    layers: Mapping[str, Any], plan: Options, limits: Mapping[str, Limit] | None = None
) -> list[SightArea]:
    """Give the ground over which a driver must see.

    Parameters
    ----------
    layers : mapping
        Parcels, and roads, keep-outs and sides if there are any. Drives are keep-outs of the kind ``driveway``.
    plan : Options
        Of it [road].
    limits : mapping, optional
        By default the shipped limits.

    Returns
    -------
    list of SightArea
        None without roads, or where the outline is not known.

    Raises
    ------
    InputError
        If there is no sight triangle of a name that the plan gives.
    """
    at_drive = limit_named(limits, plan.road.drive, SightTriangle, Road.key("drive"), place="drive")
    at_corner = limit_named(
        limits, plan.road.corner, SightTriangle, Road.key("corner"), place="corner"
    )
    parcels, roads = layers["parcels"], layers.get("roads")
    if not (has_rows(roads) and outline_known(parcels)):
        return []
    areas: list[SightArea] = []
    for mouth in _mouths(subject_outline(parcels), layers.get("keep_outs"), roads):
        areas += _drive_triangles(mouth, at_drive)
        areas += _along_road(mouth, roads, limits)
    return [*areas, *_corner_triangles(layers.get("sides"), at_corner)]


def with_rim(outlines: Any) -> Any:
    """Give the ground of sight areas with its rim, on which nothing tall may stand either."""
    return shapely.buffer(outlines, RIM_M)


def stands_in(line: shapely.Geometry, outlines: np.ndarray) -> np.ndarray:
    """Tell in which of such grounds something stands that is built along a line, (outlines,) of bool.

    One along the rim, such as on the boundary, stands in it too.
    """
    return shapely.length(shapely.intersection(with_rim(outlines), line)) > STANDS_IN_M


@dataclass(frozen=True)
class _Mouth:
    """Where a drive leaves the parcel: its two edges on the boundary, and the way in."""

    name: str
    edges: np.ndarray  # (2, 2)
    inward: np.ndarray
    road: int

    @property
    def middle(self) -> np.ndarray:
        return self.edges.mean(axis=0)


def _mouths(subject, keep_outs, roads) -> Iterator[_Mouth]:
    drives = drives_of(keep_outs)
    if not drives:
        return
    names = identifiers(keep_outs, "keep_out_id")
    outline = shapely.boundary(subject)
    half = numbers(roads, "width_m", 6.0) / 2.0
    for row, shape in drives.items():
        at_line = shapely.intersection(
            outline, shapely.buffer(shape, MOUTH_REACH_M, join_style="mitre")
        )
        if at_line.is_empty:
            continue
        gaps = shapely.distance(roads.geometry.to_numpy(), at_line) - half
        road = int(np.argmin(gaps))
        if gaps[road] > FRONTAGE_M:
            continue
        parts = shapely.get_parts(shapely.line_merge(at_line))
        part = parts[np.argmin(shapely.distance(parts, roads.geometry.iloc[road]))]
        # The reach about the drive is not part of it: the edges are where its own sides meet the line, or end before it.
        ends = shapely.get_coordinates([shape, shapely.intersection(part, shape)])
        stations = [_station_on(part, x, y) for x, y in ends]
        near = [s for s, gap in stations if gap <= MOUTH_REACH_M]
        low, high = (min(near), max(near)) if near else (0.0, part.length)
        ends = shapely.line_interpolate_point(part, [low, high])
        edges = shapely.get_coordinates(ends)
        middle = edges.mean(axis=0)
        local = shapely.intersection(shape, shapely.Point(middle).buffer(max(high - low, 3.0) * 2))
        centre = shapely.get_coordinates(shapely.intersection(local, subject).centroid)
        if not len(centre) or not np.hypot(*(centre[0] - middle)) > 0:
            continue
        inward = (centre[0] - middle) / np.hypot(*(centre[0] - middle))
        yield _Mouth(names[row], edges, inward, road)


def _station_on(line, x: float, y: float) -> tuple[float, float]:
    """Station of the point of a line nearest to a place, and how far it is."""
    point = shapely.Point(x, y)
    return float(shapely.line_locate_point(line, point)), float(shapely.distance(line, point))


def _drive_triangles(mouth: _Mouth, rule: SightTriangle) -> Iterator[SightArea]:
    along = mouth.edges[1] - mouth.edges[0]
    length = np.hypot(*along)
    along = along / length if length > 0 else np.array([mouth.inward[1], -mouth.inward[0]])
    for edge, way in zip(mouth.edges, (-along, along), strict=True):
        corners = [edge, edge + rule.leg_m * way, edge + rule.depth_m * mouth.inward]
        yield SightArea(
            "drive", mouth.name, shapely.Polygon(corners), rule, rule.clear_from_m,
            rule.clear_to_m, rule.leg_m, False,
        )  # fmt: skip


def _along_road(mouth: _Mouth, roads, limits) -> Iterator[SightArea]:
    """Areas for stopping and for emerging, each way along the road."""
    stop, emerge = limit_of(limits, Stopping), limit_of(limits, Emerging)
    speed = numbers(roads, "speed_kmh", np.nan)[mouth.road]
    if emerge is None or not np.isfinite(speed) or speed <= 0:
        return
    line = shapely.line_merge(roads.geometry.iloc[mouth.road])
    line = max(
        shapely.get_parts(line), key=lambda part: -part.distance(shapely.Point(mouth.middle))
    )
    at = shapely.line_locate_point(line, shapely.Point(mouth.middle))
    to_road = shapely.get_coordinates(shapely.line_interpolate_point(line, at))[0]
    gap = np.hypot(*(mouth.middle - to_road))
    half = numbers(roads, "width_m", 6.0)[mouth.road] / 2.0
    # The eye stands so far behind the road's edge, in the middle of the drive.
    out = (mouth.middle - to_road) / gap if gap > 0 else mouth.inward
    edge = to_road + min(half, gap) * out
    eye = edge + emerge.eye_back_m * out
    reaches: list[tuple[str, Stopping | Emerging, tuple[float, float], bool]] = []
    if stop is not None:
        reaches.append(("stopping", stop, (stopping_distance(speed, stop),) * 2, True))
    gaps = tuple(emerging_distance(speed, gap) for gap in (emerge.gap_left_s, emerge.gap_right_s))
    # Traffic from either hand must be seen for the turn to the left, which takes longer.
    reaches.append(("emerging", emerge, (max(gaps),) * 2, False))
    for kind, rule, (before, after), is_minimum in reaches:
        for start, end in ((max(at - before, 0.0), at), (at, min(at + after, line.length))):
            if not end - start > 0.01:
                continue
            road = shapely.get_coordinates(shapely.ops.substring(line, start, end))
            outline = shapely.make_valid(shapely.Polygon([eye, *road]))
            parts = [part for part in shapely.get_parts(outline) if part.geom_type == "Polygon"]
            if parts:
                outline = parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
                yield SightArea(
                    kind, mouth.name, outline, rule, rule.eye_m, math.inf,
                    before if kind == "stopping" else max(gaps), is_minimum,
                )  # fmt: skip


def _corner_triangles(sides, rule: SightTriangle) -> Iterator[SightArea]:
    """Triangles where two sides of the parcel that both face a road meet."""
    if not has_rows(sides):
        return
    faces = (sides["across_kind"] == "road").to_numpy()
    for side in range(len(sides)):
        next_side = (side + 1) % len(sides)
        if side == next_side or not (faces[side] and faces[next_side]):
            continue
        before = shapely.get_coordinates(sides.geometry.iloc[side])
        after = shapely.get_coordinates(sides.geometry.iloc[next_side])
        if np.hypot(*(before[-1] - after[0])) > MOUTH_REACH_M:
            continue
        corner = after[0]
        legs = [
            corner + reach * (towards - corner) / np.hypot(*(towards - corner))
            for towards, reach in ((before[-2], rule.leg_m), (after[1], rule.depth_m))
        ]
        yield SightArea(
            "corner", f"{sides['side_id'].iloc[side]} and {sides['side_id'].iloc[next_side]}",
            shapely.Polygon([corner, *legs]), rule, rule.clear_from_m,
            rule.clear_to_m, rule.leg_m, False,
        )  # fmt: skip


def named_ground(kind: str, at: str) -> str:
    """Name an area that must stay clear, in words."""
    place = _place(kind, at)
    leaves = f"what lies before the eye of a driver who leaves {place}, within the"
    return {
        "drive": f"the sight triangle at {place}",
        "corner": f"the sight triangle at {place}",
        "stopping": f"{leaves} distance in which others can only just stop",
        "emerging": f"{leaves} gap that is needed to emerge",
    }[kind]


def _place(kind: str, at: str) -> str:
    """Name a corner or a drive, which may have no more of a name than a number."""
    if kind == "corner":
        return f"the corner of {at}"
    return f"the {at}" if "drive" in at.lower() else f"drive {at}"
