"""Sight at drives and corners: what must stay clear, and which plants grow into it.

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

import geopandas as gpd
import numpy as np
import shapely
import shapely.ops

from screenplan.contracts import SIGHT_AREAS, SIGHT_PLANTS
from screenplan.contracts.findings import FAILS, PASSES, ROAD_SIGHT, UNKNOWN, Finding
from screenplan.contracts.tables import has_rows, identifiers, layer_of, numbers
from screenplan.effects.growing import TOUCH_M, earliest, first_years, meet
from screenplan.effects.telling import first_to_grow, how_many_grow
from screenplan.ground.said import FOOT_M
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.effects import Road
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, planned_stand
from screenplan.planting.zones import subject_of
from screenplan.rules.limit_kinds import Emerging, Limit, SightTriangle, Stopping
from screenplan.rules.limits import limit_named, limit_of
from screenplan.site.drives import drives_of
from screenplan.site.ownership import outline_known

#: One mile an hour in km/h, exact: 5280 ft of 0.3048 m.
MPH_KMH = 1.609344
#: 1.47 of the formulas: feet a second in a mile an hour, as printed.
FT_S_PER_MPH = 1.47
#: 1.075 of the stopping formula, as printed.
BRAKING = 1.075
#: A drive meets the boundary if it ends so near to it.
MOUTH_REACH_M = 1.0
#: A boundary this near to a road's edge is its frontage.
FRONTAGE_M = 15.0
#: What is built stands in such an area along so much of it, metres: what only ends at its rim does not.
STANDS_IN_M = 4.0 * TOUCH_M
#: Speed at which a rounded-up distance is still the lower one: rounding only.
ROUND_SLACK = 1e-9


@dataclass(frozen=True)
class _Area:
    """One area that must stay clear, and the band of heights in it."""

    kind: str
    at: str
    outline: shapely.Geometry
    rule: Limit
    clear_from_m: float
    clear_to_m: float
    distance_m: float
    is_minimum: bool


def stopping_distance(speed_kmh: float, rule: Stopping) -> float:
    """Give the stopping sight distance at a speed, metres, rounded up as published.

    Parameters
    ----------
    speed_kmh : float
        Speed of the traffic.
    rule : Stopping
        The limit by which it is worked out.
    """
    v = speed_kmh / MPH_KMH
    a = rule.deceleration_m / FOOT_M
    feet = FT_S_PER_MPH * v * rule.reaction_s + BRAKING * v * v / a
    step = rule.round_up_to_m / FOOT_M
    if step > 0:
        feet = math.ceil(feet / step - ROUND_SLACK) * step
    return feet * FOOT_M


def emerging_distance(speed_kmh: float, gap_s: float) -> float:
    """Distance that traffic runs in a gap, metres: 1.47 V t."""
    return FT_S_PER_MPH * speed_kmh / MPH_KMH * gap_s * FOOT_M


def draw_sight_triangles(
    parcels: gpd.GeoDataFrame,
    plants: gpd.GeoDataFrame,
    roads: gpd.GeoDataFrame | None = None,
    keep_outs: gpd.GeoDataFrame | None = None,
    sides: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Draw what must stay clear for sight at the road, and list the plants that grow into it.

    Parameters
    ----------
    parcels, plants, roads, keep_outs, sides : GeoDataFrame
        Layers in the local frame. Drives are keep-outs of the kind ``driveway``.
    plan : Options, optional
        Of it [road] and [growth].

    Returns
    -------
    sight_areas, sight_plants : GeoDataFrame
        Both empty without roads.

    Notes
    -----
    A plant stands in the way once its crown reaches over the area in plan and fills a part of the
    band that must be clear there. Heights count from the ground at its foot.
    """
    at_drive = limit_named(limits, plan.road.drive, SightTriangle, Road.key("drive"), place="drive")
    at_corner = limit_named(
        limits, plan.road.corner, SightTriangle, Road.key("corner"), place="corner"
    )
    areas: list[_Area] = []
    if has_rows(roads) and outline_known(parcels):
        subject, _ = subject_of(parcels)
        for mouth in _mouths(subject, keep_outs, roads):
            areas += _drive_triangles(mouth, at_drive)
            areas += _along_road(mouth, roads, limits)
        areas += _corner_triangles(sides, at_corner)
    stand = planned_stand(plants, plan, species_table)
    records, inside = [], []
    for number, area in enumerate(areas, 1):
        name = f"sight-{number}"
        found = list(_plants_in(name, area, plants, stand))
        inside += found
        years = (
            earliest({k: row[k] for k in ("year_low", "year", "year_high")}) for row, _ in found
        )
        when = [year for year in years if year is not None]
        records.append(
            {
                "area_id": name,
                "kind": area.kind,
                "at": area.at,
                "distance_m": area.distance_m,
                "clear_from_m": area.clear_from_m,
                "clear_to_m": None if math.isinf(area.clear_to_m) else area.clear_to_m,
                "is_minimum": area.is_minimum,
                "plants": len(found),
                "first_year": min(when, default=None),
                "rule": area.rule.key,
                "reason": area.rule.reason,
                "source": area.rule.source,
                "status": area.rule.status,
            }
        )
    return (
        layer_of(SIGHT_AREAS, records, [area.outline for area in areas], parcels.crs),
        layer_of(SIGHT_PLANTS, [row for row, _ in inside], [at for _, at in inside], parcels.crs),
    )


def _plants_in(name: str, area: _Area, plants, stand: Stand) -> Iterator[tuple[dict, object]]:
    over = meet(stand, area.outline).holds
    band = (stand.height > area.clear_from_m) & (stand.clear < area.clear_to_m)
    for plant in np.flatnonzero((over & band).any(axis=(1, 2))):
        plant_id = int(plants["plant_id"].iloc[plant])
        yield (
            {
                "sight_plant_id": f"{plant_id} {name}",
                "plant_id": plant_id,
                "area_id": name,
                "kind": area.kind,
                "limit_m": area.clear_from_m,
                **first_years((over & band)[plant]),
            },
            stand.points[plant],
        )


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
        # The reach about the drive is not part of it: the edges are where its own sides meet the line.
        stations = [outline_station(part, x, y) for x, y in shapely.get_coordinates(shape)]
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


def outline_station(line, x: float, y: float) -> tuple[float, float]:
    """Station of the point of a line nearest to a place, and how far it is."""
    point = shapely.Point(x, y)
    return float(shapely.line_locate_point(line, point)), float(shapely.distance(line, point))


def _drive_triangles(mouth: _Mouth, rule: SightTriangle) -> Iterator[_Area]:
    along = mouth.edges[1] - mouth.edges[0]
    length = np.hypot(*along)
    along = along / length if length > 0 else np.array([mouth.inward[1], -mouth.inward[0]])
    for edge, way in zip(mouth.edges, (-along, along), strict=True):
        corners = [edge, edge + rule.leg_m * way, edge + rule.depth_m * mouth.inward]
        yield _Area(
            "drive", mouth.name, shapely.Polygon(corners), rule, rule.clear_from_m,
            rule.clear_to_m, rule.leg_m, False,
        )  # fmt: skip


def _along_road(mouth: _Mouth, roads, limits) -> Iterator[_Area]:
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
                yield _Area(
                    kind, mouth.name, outline, rule, rule.eye_m, math.inf,
                    before if kind == "stopping" else max(gaps), is_minimum,
                )  # fmt: skip


def _corner_triangles(sides, rule: SightTriangle) -> Iterator[_Area]:
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
        yield _Area(
            "corner", f"{sides['side_id'].iloc[side]} and {sides['side_id'].iloc[next_side]}",
            shapely.Polygon([corner, *legs]), rule, rule.clear_from_m,
            rule.clear_to_m, rule.leg_m, False,
        )  # fmt: skip


def judge_road_sight(
    roads, keep_outs, sight_areas, sight_plants, known: bool = True, new_screens=None
) -> Finding:
    """Tell whether a plant grows, or a new screen is built, into ground over which a driver must see."""
    name = "sight at the road"
    if not has_rows(roads):
        return Finding(name, UNKNOWN, "No roads are given", "a roads layer", ROAD_SIGHT)
    if not known:
        return Finding(name, UNKNOWN, "The parcel's outline is not known, and so not where a drive leaves it",
                       "a parcels layer", ROAD_SIGHT)  # fmt: skip
    if sight_areas is None or sight_plants is None:
        return Finding(
            name,
            UNKNOWN,
            "Sight was not looked at",
            "the layers sight_areas and sight_plants",
            ROAD_SIGHT,
        )
    if not has_rows(sight_areas):
        drives = keep_outs is not None and keep_outs["kind"].isin(["driveway", "drive"]).any()
        says = (
            "No drive of the parcel meets a road that is given" if drives else "No drive is given"
        )
        return Finding(name, UNKNOWN, f"{says}, and the parcel is at no corner of two roads",
                       "keep_outs of the kind driveway up to the boundary", ROAD_SIGHT)  # fmt: skip
    unknown = (
        not (sight_areas["kind"] == "stopping").any() and (sight_areas["kind"] == "drive").any()
    )
    built = _built_in(sight_areas, new_screens)
    if has_rows(sight_plants) or built:
        told, needs = [], []
        if has_rows(sight_plants):
            first = first_to_grow(sight_plants)
            area = sight_areas.loc[sight_areas["area_id"] == first["area_id"]].iloc[0]
            told.append(
                f"{how_many_grow(sight_plants)} into ground over which a driver must see: plant "
                f"{first['plant_id']} first, in year {int(first['first'])}, above {{{first['limit_m']:.2f} m}} in {_in_words(area)}"
            )
            needs.append("leaving these plants out, or a species that stays below that height")
        if built:
            piece, area = built[0]
            others = f"{len(built)} pieces stand" if len(built) > 1 else "1 piece stands"
            told.append(
                f"{others} of the new {piece['option']} where a driver must see: {piece['piece_id']}, "
                f"{{{piece['height_m']:.2f} m}} high and so above {{{area['clear_from_m']:.2f} m}}, in {_in_words(area)}"
            )
            needs.append("ending it before that ground, or building it lower there")
        return Finding(
            name, FAILS, f"{'. '.join(told)}. A child behind it would be seen too late",
            "; ".join(needs), ROAD_SIGHT,
        )  # fmt: skip
    says = f"No plant grows into any of the {len(sight_areas)} areas that must stay clear, at any growth"
    if has_rows(new_screens):
        says += ", and nothing new is built there"
    if unknown:
        return Finding(name, UNKNOWN, f"{says}; distances along the road were not looked at", "the road's speed_kmh", ROAD_SIGHT)  # fmt: skip
    return Finding(name, PASSES, says, caution=ROAD_SIGHT)


def _in_words(area) -> str:
    """Name an area that must stay clear."""
    return {
        "drive": f"the sight triangle at the {area['at']}",
        "corner": f"the sight triangle at the corner of {area['at']}",
        "stopping": f"what lies before the eye of a driver who leaves the {area['at']}, within the distance in which others can only just stop",
        "emerging": f"what lies before the eye of a driver who leaves the {area['at']}, within the gap that is needed to emerge",
    }[area["kind"]]  # fmt: skip


def _built_in(sight_areas, new_screens) -> list[tuple]:
    """Give each piece of a new screen that stands in such an area, taller than it may, with the first of its areas.

    One along the rim, such as on the boundary, stands in it too.
    """
    if not has_rows(new_screens):
        return []
    found, areas = [], shapely.buffer(sight_areas.geometry.to_numpy(), TOUCH_M)
    for _, piece in new_screens.iterrows():
        inside = shapely.length(shapely.intersection(areas, piece.geometry)) > STANDS_IN_M
        held = sight_areas.loc[inside & (sight_areas["clear_from_m"] < piece["height_m"]).to_numpy()]  # fmt: skip
        if len(held):
            found.append((piece, held.iloc[0]))
    return found
