"""Windows as openings: the plane of the facade, the eyes behind it, what may be seen through it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from screenplan.contracts.tables import identifiers, numbers
from screenplan.ground.faults import Faults
from screenplan.site.floors import floors_of
from screenplan.site.terrain import ground_at
from screenplan.views.obstacles import plan_xy

#: A window point may lie this far from its own building's wall (survey of windows by eye or phone).
WALL_REACH_M = 1.0
#: Walls this much farther than the nearest are still candidates; the one that faces best is taken.
WALL_CHOICE_M = 0.3
#: A stated direction this far from the wall's own cannot be meant.
FACING_SLACK_DEG = 45.0
#: Rays start this far outside the facade, so that rounding does not put them into it.
NUDGE_M = 1e-3
#: Sill above the floor of the room, where the floor's height is not given (common practice).
SILL_ABOVE_FLOOR_M = 0.9
#: Depths to which a crooked facade may stand before a wide window's plane.
CROOKED_M = (0.0, 0.02, 0.05, 0.1, 0.2, 0.4)


#: Openings in upright planes, as columns: the middle of the opening in plan, on the outer face of its
#: wall; the unit vector straight out; from the middle to a jamb; heights of the sill, the head and
#: the floor of the room; distance from the plane within which the own facade does not count.
OPENING = np.dtype(
    [
        ("x", float), ("y", float), ("out", float, 2), ("half_width_m", float), ("sill_z", float),
        ("head_z", float), ("floor_z", float), ("nudge_m", float),
    ]
)  # fmt: skip


def openings_of(
    windows, buildings=None, terrain=None, *, eye_standing_m: float = 1.6
) -> np.recarray:
    """Turn windows into openings, (windows,) by `OPENING`.

    Parameters
    ----------
    windows : GeoDataFrame
        Layer of the contract.
    buildings : GeoDataFrame, optional
        The walls in which they are. A window takes the plane of its building's nearest wall that
        faces its way.
    terrain : Terrain, optional
        Ground heights; by default level ground at height 0.
    eye_standing_m : float
        Height of the highest eye above the floor, for the check against the ground.

    Raises
    ------
    InputError
        By row: a missing place, sill or size, a direction that is unknown or points into the
        building, a window inside its building, and one under the ground.
    """
    x, y = plan_xy(windows.geometry).T
    lost = ~(np.isfinite(x) & np.isfinite(y))
    sill = numbers(windows, "sill_m", np.nan)
    height, width = numbers(windows, "height_m", 1.2), numbers(windows, "width_m", 1.2)
    facing = numbers(windows, "facing_deg", np.nan)
    floor = numbers(windows, "floor_m", np.nan)
    faults = Faults("windows")
    faults.note(lost, "a window has no place", "Give it a point on its wall")
    faults.note(~np.isfinite(sill), "a window has no sill height", "Give sill_m")
    faults.note(
        ~((height > 0.0) & np.isfinite(height) & (width > 0.0) & np.isfinite(width)),
        "a window's opening has no size",
        "Give height_m and width_m above 0",
    )
    faults.raise_any()
    ground = ground_at(terrain, np.column_stack([x, y]))
    owner = _owners(windows, buildings)
    datum, shapes = ground.copy(), {}
    if buildings is not None and len(buildings):
        datums = floors_of(buildings, terrain)
        datum = np.where(owner >= 0, datums[owner], ground)
        outlines = buildings.geometry.to_numpy()
        shapes = {row: outlines[row] for row in np.unique(owner[owner >= 0])}
    faces = {row: _faces(outline) for row, outline in shapes.items()}
    planes = [_plane(x[row], y[row], facing[row], faces.get(owner[row])) for row in range(len(x))]
    said = np.array([plane if isinstance(plane, str) else "" for plane in planes], object)
    for what, mend in _PLANE_FAULTS.items():
        faults.note(said == what, what, mend)
    sill_z = datum + sill
    floor = np.where(np.isnan(floor), np.maximum(sill_z - SILL_ABOVE_FLOOR_M, datum), floor)
    buried = (sill_z + height <= ground) | (floor + eye_standing_m <= ground)
    faults.note(
        buried,
        "a window, or every eye behind it, lies under the ground",
        "Check sill_m and floor_m, and the building's floor_m against the terrain",
    )
    faults.raise_any()
    openings = np.recarray(len(windows), OPENING)
    for row, plane in enumerate(planes):
        openings[row] = (
            *plane, 0.5 * width[row], sill_z[row], sill_z[row] + height[row], floor[row],
            _nudge(plane, 0.5 * width[row], shapes.get(owner[row])),
        )  # fmt: skip
    return openings


_NO_FACING = "a window has neither a direction nor a building whose wall gives it one"
_INSIDE = f"a window lies more than {{{WALL_REACH_M:g} m}} from the walls of its building"
_INWARDS = "a window's direction is not that of its wall"
_PLANE_FAULTS = {
    _NO_FACING: "Give facing_deg, or building_id",
    _INSIDE: "Move its point to the outer face of the wall, or correct building_id",
    _INWARDS: "Correct facing_deg, or leave it out to take the wall's",
}


def _owners(windows, buildings) -> np.ndarray:
    """Row of each window's building: as stated, or the one whose wall it lies on; -1 for none."""
    owner = np.full(len(windows), -1, np.int64)
    if buildings is None or not len(buildings):
        return owner
    rows = {name: row for row, name in enumerate(identifiers(buildings, "building_id"))}
    stated = (
        windows["building_id"].to_numpy(dtype=object)
        if "building_id" in windows.columns
        else np.full(len(windows), None, object)
    )
    walls = buildings.geometry.boundary.to_numpy()
    tree = shapely.STRtree(walls)
    points = windows.geometry.to_numpy()
    for row, name in enumerate(stated):
        known = not pd.isna(name) and str(name) != ""
        if known and str(name) in rows:
            owner[row] = rows[str(name)]
            continue
        near = tree.query_nearest(points[row], max_distance=NEAR_WALL_M)
        if len(near):
            owner[row] = near[0]
    return owner


#: A window that names no building belongs to the wall on which it lies.
NEAR_WALL_M = 0.1


def _plane(x, y, facing, faces):
    """Point on the wall and unit vector out, or what is wrong; ``faces`` are the ends of the walls (`_faces`)."""
    stated = None
    if np.isfinite(facing):
        angle = np.radians(facing)
        stated = np.array([np.sin(angle), np.cos(angle)])
    if faces is None:
        return _NO_FACING if stated is None else (float(x), float(y), tuple(map(float, stated)))
    point = np.array([x, y])
    start, end = faces
    along = end - start
    length = np.hypot(along[:, 0], along[:, 1])
    along = along / length[:, None]
    s = np.clip(((point - start) * along).sum(axis=1), 0.0, length)
    foot = start + s[:, None] * along
    gap = np.hypot(*(foot - point).T)
    if gap.min() > WALL_REACH_M:
        return _INSIDE
    out = np.column_stack([along[:, 1], -along[:, 0]])  # the building is on the left
    near = np.flatnonzero(gap <= gap.min() + WALL_CHOICE_M)
    if stated is None:
        # At a corner the longer wall carries the window.
        tied = near[gap[near] <= gap.min() + NUDGE_M]
        best = tied[np.argmax(length[tied])]
    else:
        fit = out[near] @ stated
        best = near[np.argmax(fit - 1e-6 * gap[near])]
        if out[best] @ stated < np.cos(np.radians(FACING_SLACK_DEG)):
            return _INWARDS
    return float(foot[best, 0]), float(foot[best, 1]), tuple(map(float, out[best]))


def _faces(outline):
    """Give the ends of all edges of a footprint, the building on the left of the way."""
    starts, ends = [], []
    for part in shapely.get_parts(outline):
        part = shapely.normalize(shapely.force_2d(part)).reverse()
        for ring, solid_left in [
            (part.exterior, True),
            *((hole, False) for hole in part.interiors),
        ]:
            xy = shapely.get_coordinates(ring)
            if ring.is_ccw != solid_left:
                xy = xy[::-1]
            starts.append(xy[:-1])
            ends.append(xy[1:])
    start, end = np.concatenate(starts), np.concatenate(ends)
    apart = np.hypot(*(end - start).T) > 0.0
    return start[apart], end[apart]


def _nudge(plane, half_width, outline) -> float:
    """Distance before the plane at which the whole opening is clear of its own building, if it has one."""
    if outline is None:
        return NUDGE_M
    x, y, (ox, oy) = plane
    for depth in CROOKED_M:
        cx, cy = x + (depth + NUDGE_M) * ox, y + (depth + NUDGE_M) * oy
        sheet = shapely.LineString(
            [
                (cx - half_width * oy, cy + half_width * ox),
                (cx + half_width * oy, cy - half_width * ox),
            ]
        )
        if shapely.intersection(sheet, outline).length < NUDGE_M:
            return depth + NUDGE_M
    return NUDGE_M
