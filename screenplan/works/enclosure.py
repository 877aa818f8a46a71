"""Where a fence can run: round the planting, along one side of it, or round each plant.

A fence keeps off every crown for the years that it must stand (high growth), stays inside the
parcel by a given distance, and keeps out of houses, drives, roads and whatever else is kept clear.
A wire may pass over a buried line; a post may not stand in its tolerance zone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely

from screenplan.ground.errors import InputError, refuse
from screenplan.ground.texts import first_few
from screenplan.plan.works import Fence
from screenplan.planting.footprints import Footprints
from screenplan.planting.neighbours import gaps_between
from screenplan.planting.zones import open_ground
from screenplan.site.ownership import outline_known, subject_outlines

#: Tolerance zone of a buried line on each side of its outside edge: 18 in in many states, 24 in in
#: Florida and New York (state one-call laws, read); the wider is taken.
BURIED_M = 0.6096
#: A wire keeps this far off houses, drives and the like, metres (common practice, no source).
OFF_THINGS_M = 0.1
#: A keep-out drawn as a line or point, such as a gate, is kept clear this far round it, metres.
THIN_M = 1.0
#: Strips nearer to each other than this are fenced as one, metres.
CLOSING_M = 1.0
#: An outline is straightened by up to so much, outwards, metres.
STRAIGHT_M = 0.1
#: A gap in a row is fenced through up to this many crown distances, plus `CLOSING_M`.
GAP_SHARE = 4.0
ROUNDING_M = 1e-6
#: Half the length of a line that stands for a lone plant, metres.
LONE_M = 0.01
#: A crown may touch the wire by this, metres: rounding.
ROOM_M = 1e-3
#: So many plants are named for which there is no room.
MOST_NAMED = 8


@dataclass(frozen=True)
class Ground:
    """Ground on which a fence may stand.

    Parameters
    ----------
    subject : Geometry
        The parcel.
    wire : Geometry
        Where wire may run.
    buried : Geometry
        Tolerance zones of buried lines, in which no post may stand.
    """

    subject: shapely.Geometry
    wire: shapely.Geometry
    buried: shapely.Geometry


def fence_ground(layers: Mapping[str, Any], boundary_m: float) -> Ground:
    """Find where wire may run and where posts may not stand; see `screenplan.works.fence.lay_fence`."""
    parcels, roads, utilities = (layers.get(name) for name in ("parcels", "roads", "utilities"))
    # Each lot of a street is fenced by itself: no wire crosses from one to the other.
    subjects = subject_outlines(parcels) if outline_known(parcels) else np.array([open_ground()])
    subject = subjects[0] if len(subjects) == 1 else shapely.multipolygons(subjects)
    closed = []
    for layer in (layers.get("buildings"), layers.get("keep_outs")):
        if layer is not None:
            closed += [
                shapely.buffer(shape, OFF_THINGS_M if shape.area > 0 else THIN_M)
                for shape in layer.geometry
            ]
    if roads is not None:
        width = pd.to_numeric(roads["width_m"]).fillna(6.0) if "width_m" in roads else 6.0
        half = np.broadcast_to(np.asarray(width, float) / 2.0, len(roads))
        closed += list(shapely.buffer(roads.geometry.to_numpy(), half + OFF_THINGS_M))
    insets = shapely.buffer(subjects, -boundary_m, join_style="mitre")
    wire = insets[0] if len(insets) == 1 else shapely.union_all(insets)
    wire = shapely.difference(wire, shapely.union_all(closed))
    zones = []
    if utilities is not None:
        for shape, position, diameter in zip(
            utilities.geometry, utilities["position"], utilities["diameter_m"], strict=True
        ):
            if position == "buried":
                edge = 0.0 if pd.isna(diameter) else float(diameter) / 2.0
                zones.append(shapely.buffer(shape, edge + BURIED_M))
    return Ground(subject, wire, shapely.union_all(zones))


def enclose(
    planting_lines, plants, ground: Ground, crown: Footprints, clearance_m: float
) -> list[shapely.Polygon]:
    """Draw a closed outline round the planting, one for each part of it.

    Parameters
    ----------
    planting_lines, plants : GeoDataFrame
    ground : Ground
    crown : Footprints
        Crowns in the last year of the fence.
    clearance_m : float
        Between crown and wire, metres.

    Raises
    ------
    InputError
        If there is no room, with the plants that are too near.
    """
    wide, beyond = _widths(crown, clearance_m)
    pieces = [
        shapely.buffer(line, wide, cap_style="square", join_style="mitre")
        for line in _to_crowns(chains(planting_lines, plants, wide + beyond), beyond, crown)
    ]
    needed = shapely.union_all(pieces)
    needed = _grow(_grow(needed, CLOSING_M), -CLOSING_M)
    needed = shapely.union_all(
        [shapely.Polygon(part.exterior) for part in shapely.get_parts(needed)]
    )
    outline = shapely.simplify(_grow(needed, STRAIGHT_M), STRAIGHT_M)
    rings = _parts(shapely.intersection(outline, ground.wire))
    corners = (
        shapely.points(np.concatenate([shapely.get_coordinates(ring) for ring in rings]))
        if rings
        else []
    )
    if not ground.buried.is_empty and shapely.intersects(corners, ground.buried).any():
        # A corner post in a tolerance zone: the fence ends before the line and begins after it.
        free = shapely.difference(ground.wire, shapely.buffer(ground.buried, OFF_THINGS_M))
        rings = _parts(shapely.intersection(outline, free))
    check_room(plants, crown, rings, [ring.exterior for ring in rings])
    points = plants.geometry.to_numpy()
    return [ring for ring in rings if shapely.contains(ring, points).any()]


def beside(
    planting_lines, plants, ground: Ground, crown: Footprints, clearance_m: float, inner: bool
) -> list[shapely.LineString]:
    """Draw a fence along one side of the rows: towards the boundary, or away from it."""
    wide, beyond = _widths(crown, clearance_m)
    rows = plants["row"].to_numpy(int)
    row = int(rows.max()) if inner else int(rows.min())
    found = []
    for line in chains(planting_lines, plants, wide + beyond, row):
        longer = _lengthen(line, wide + beyond, crown)
        both = [
            shapely.offset_curve(longer, side * wide, join_style="mitre") for side in (1.0, -1.0)
        ]
        both = [line for line in both if not line.is_empty]
        off = [
            float(shapely.distance(shapely.points(shapely.get_coordinates(
                shapely.line_interpolate_point(line, np.linspace(0.1, 0.9, 9), normalized=True))),
                ground.subject.boundary).mean())
            for line in both
        ]  # fmt: skip
        chosen = both[int(np.argmax(off) if inner else np.argmin(off))]
        for part in shapely.get_parts(shapely.intersection(chosen, ground.wire)):
            if part.geom_type == "LineString" and part.length > 2.0 * CLOSING_M:
                found.append(shapely.simplify(part, STRAIGHT_M / 2.0))
    if not found:
        raise refuse(
            "there is no room for a fence along that side of the rows",
            "Ask for the other side, for cages, or for fewer years (fence.years)",
            key=Fence.key("scheme"),
            kind="room",
        )
    check_room(plants, crown, None, found)
    return found


def check_room(plants, crown: Footprints, rings, wires) -> None:
    """Refuse a fence that crowns grow into before it may go.

    Raises
    ------
    InputError
        With the plants in question and the greatest crown there is room for.
    """
    points = plants.geometry.to_numpy()
    new = ~plants["existing"].to_numpy(bool)
    wire = shapely.union_all(list(wires)) if len(wires) else shapely.Point()
    room = shapely.distance(points, wire)
    room = np.where(np.isnan(room), 0.0, room)
    if rings is not None:
        inside = (
            shapely.contains(shapely.union_all(rings), points)
            if rings
            else np.zeros(len(points), bool)
        )
        room = np.where(inside, room, 0.0)
    touched = shapely.intersects(crown.areas(), wire) | (room == 0.0)
    short = new & np.where(crown.box, touched, room < crown.along - ROOM_M)
    if short.any():
        raise no_room(float(room[new].min()), plants["plant_id"].to_numpy()[short])


def no_room(room_m: float, plants: Sequence[int]) -> InputError:
    """Build the refusal of a fence that crowns reach too early."""
    return refuse(
        f"there is no room for the fence: the wire would stand {{{room_m:.2f} m}} from the stem of "
        f"plant {first_few(plants, MOST_NAMED)}, and the crown reaches it in the years that the fence must stand",
        "Let it stand fewer years (fence.years), lessen fence.clearance or fence.boundary, move "
        "the row (rows.offset), or take another scheme",
        key=Fence.key("scheme"),
        kind="room",
    )


def chains(planting_lines, plants, wide: float, row: int | None = None) -> list[shapely.Geometry]:
    """Join plants that follow each other to lines, broken at wide gaps; lone plants are points."""
    xy = shapely.get_coordinates(plants.geometry.to_numpy())
    rows = plants["row"].to_numpy(int)
    segments, joined = [], set()
    for gap in gaps_between(plants, planting_lines):
        if gap.width_m > GAP_SHARE * wide + CLOSING_M:
            continue
        if row is not None and not rows[gap.before] == rows[gap.after] == row:
            continue
        if math.hypot(*(xy[gap.before] - xy[gap.after])) < ROUNDING_M:
            continue
        segments.append(shapely.LineString([xy[gap.before], xy[gap.after]]))
        joined |= {gap.before, gap.after}
    lines = list(
        shapely.get_parts(shapely.line_merge(shapely.MultiLineString(segments), directed=True))
    )
    lines = [shapely.simplify(line, 0.001) for line in lines]
    alone = [
        shapely.Point(xy[position])
        for position in range(len(plants))
        if position not in joined and (row is None or rows[position] == row)
    ]
    return lines + alone


def _grow(shape: shapely.Geometry, distance: float) -> shapely.Geometry:
    return shapely.buffer(shape, distance, join_style="mitre", mitre_limit=2.0)


def _parts(shape: shapely.Geometry) -> list[shapely.Polygon]:
    return [
        shapely.Polygon(part.exterior)
        for part in shapely.get_parts(shape)
        if part.geom_type == "Polygon" and part.area > 0.1
    ]


def _widths(crown: Footprints, clearance_m: float) -> tuple[float, float]:
    """Distance of the wire from the rows, and how much farther it stands off their ends, metres."""
    longer = float(np.where(crown.box, crown.along - crown.across, 0.0).max(initial=0.0))
    return float((crown.across + clearance_m).max()), max(longer, 0.0)


def _to_crowns(lines, beyond: float, crown: Footprints) -> list[shapely.Geometry]:
    """Lengthen lines by what boxes reach farther along their row than across it."""
    # A lone box lies along its row, also one that is no longer than wide.
    return [_lengthen(line, beyond, crown) for line in lines] if crown.box.any() else lines


def _lengthen(line, by: float, crown: Footprints) -> shapely.LineString:
    """Lengthen a line at both ends; one of a lone plant lies along its row."""
    xy = shapely.get_coordinates(line)
    if line.geom_type == "Point" or line.length < ROUNDING_M:
        nearest = int(np.argmin(shapely.distance(crown.points, shapely.Point(xy[0]))))
        xy = xy[0] + LONE_M * np.array([[-1.0], [1.0]]) * crown.way[nearest]
    first, last = xy[0] - xy[1], xy[-1] - xy[-2]
    start = xy[0] + by * first / math.hypot(*first)
    end = xy[-1] + by * last / math.hypot(*last)
    return shapely.LineString([start, *xy[1:-1], end])
