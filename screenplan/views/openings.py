"""Windows as openings: the plane of the facade, the eyes behind it, what may be seen through it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd
import shapely

from screenplan.contracts.tables import identifiers, numbers
from screenplan.ground.faults import Faults
from screenplan.site.facades import lies_buried
from screenplan.site.floors import floors_of
from screenplan.site.ragged import first_most, firsts, numbered
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
#: Footprints of which the edges are kept: in a county many parcels are looked at from one house.
KEPT_FACES = 512
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
    # Windows above each other, and those that look at several lots, are laid on the wall once.
    first, of = _unlike(x, y, np.nan_to_num(facing, nan=-1.0), owner, width)
    foot, out, wrong = _planes(np.column_stack([x, y])[first], facing[first], owner[first], shapes)
    nudge = _nudges(foot, out, 0.5 * width[first], owner[first], shapes)[of]
    foot, out, wrong = foot[of], out[of], wrong[of]
    for what, mend in _PLANE_FAULTS.items():
        faults.note(wrong == what, what, mend)
    sill_z = datum + sill
    floor = np.where(np.isnan(floor), np.maximum(sill_z - SILL_ABOVE_FLOOR_M, datum), floor)
    buried = lies_buried(sill_z + height, floor + eye_standing_m, ground)
    faults.note(
        buried,
        "a window, or every eye behind it, lies under the ground",
        "Check sill_m and floor_m, and the building's floor_m against the terrain",
    )
    faults.raise_any()
    openings = np.recarray(len(windows), OPENING)
    openings["x"], openings["y"] = foot.T
    openings["out"], openings["half_width_m"] = out, 0.5 * width
    openings["sill_z"], openings["head_z"] = sill_z, sill_z + height
    openings["floor_z"] = floor
    openings["nudge_m"] = nudge
    return openings


def _unlike(*columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give a row of each kind, by what stands in its columns, and the kind of each row."""
    order = np.lexsort(columns)
    new = np.zeros(len(order), bool)
    new[:1] = True
    for column in columns:
        new[1:] |= np.diff(column[order]) != 0
    of = np.empty(len(order), np.int64)
    of[order] = np.cumsum(new) - 1
    return order[new], of


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
    if "building_id" in windows.columns:
        rows = {name: row for row, name in enumerate(identifiers(buildings, "building_id"))}
        named, names = pd.factorize(windows["building_id"].to_numpy(dtype=object))
        owner = np.array([*(rows.get(str(name), -1) for name in names), -1], np.int64)[named]
    lost = np.flatnonzero(owner < 0)
    if len(lost):
        tree = shapely.STRtree(buildings.geometry.boundary.to_numpy())
        at = windows.geometry.to_numpy()[lost]
        point, near = tree.query_nearest(at, max_distance=NEAR_WALL_M)
        # Of several that are equally near the first.
        for number, wall in sorted(zip(point.tolist(), near.tolist(), strict=True), reverse=True):
            owner[lost[number]] = wall
    return owner


#: A window that names no building belongs to the wall on which it lies.
NEAR_WALL_M = 0.1


def _planes(xy, facing, owner, shapes) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lay windows on walls.

    Parameters
    ----------
    xy : ndarray, (windows, 2)
    facing : ndarray, (windows,)
        Degrees, NaN where it is not stated.
    owner : ndarray of int, (windows,)
        The building of each.
    shapes : mapping of int to Polygon or MultiPolygon
        The outlines of the buildings that own some.

    Returns
    -------
    foot, out : ndarray, (windows, 2)
        The point on the wall, and the unit vector out.
    wrong : ndarray of str, (windows,)
        What is wrong; empty where nothing is.
    """
    stated = np.isfinite(facing)
    angle = np.radians(np.where(stated, facing, 0.0))
    asked = np.column_stack([np.sin(angle), np.cos(angle)])
    foot, out = xy.astype(float), asked.copy()
    housed = np.isin(owner, list(shapes))
    wrong = np.where(housed | stated, "", _NO_FACING).astype(object)
    if not shapes:
        return foot, out, wrong
    faces = {row: _faces(outline) for row, outline in shapes.items()}
    known = np.array(list(faces))
    first = dict(zip(known.tolist(), firsts([len(start) for start, _ in faces.values()]).tolist(), strict=True))  # fmt: skip
    start, end = (np.concatenate(part) for part in zip(*faces.values(), strict=True))
    mine = np.flatnonzero(housed)
    count = np.array([len(faces[row][0]) for row in owner[mine].tolist()], int)
    group, number = numbered(count)
    face = np.array([first[row] for row in owner[mine].tolist()], int)[group] + number
    if not len(group):
        return foot, out, wrong
    along, window = end[face] - start[face], mine[group]
    length = np.hypot(along[:, 0], along[:, 1])
    along = along / length[:, None]
    s = np.clip(((xy[window] - start[face]) * along).sum(axis=1), 0.0, length)
    feet = start[face] + s[:, None] * along
    gap = np.hypot(*(feet - xy[window]).T)
    ways = np.column_stack([along[:, 1], -along[:, 0]])  # the building is on the left
    least = np.minimum.reduceat(gap, firsts(count))
    fit = (ways * asked[window]).sum(axis=1)
    near = gap <= least[group] + WALL_CHOICE_M
    # At a corner the longer wall carries the window that states no direction.
    tied = near & (gap <= least[group] + NUDGE_M)
    worth = np.where(
        stated[window], np.where(near, fit - 1e-6 * gap, -np.inf), np.where(tied, length, -np.inf)
    )
    best = firsts(count) + first_most(worth, count)
    foot[mine], out[mine] = feet[best], ways[best]
    inwards = stated[mine] & (fit[best] < np.cos(np.radians(FACING_SLACK_DEG)))
    wrong[mine] = np.where(least > WALL_REACH_M, _INSIDE, np.where(inwards, _INWARDS, ""))
    return foot, out, wrong


@lru_cache(maxsize=KEPT_FACES)
def _faces(outline: shapely.Geometry) -> tuple[np.ndarray, np.ndarray]:
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


def _nudges(foot, out, half_width, owner, shapes) -> np.ndarray:
    """Distances before the planes at which the whole openings are clear of their own buildings, (windows,)."""
    nudge = np.full(len(foot), NUDGE_M)
    housed = np.flatnonzero(np.isin(owner, list(shapes)))
    left = housed
    outlines = np.array([shapes[row] for row in owner[left].tolist()], object)
    shapely.prepare(outlines)
    aside = half_width[:, None] * np.column_stack([-out[:, 1], out[:, 0]])
    for depth in CROOKED_M:
        if not len(left):
            break
        middle = foot[left] + (depth + NUDGE_M) * out[left]
        sheets = shapely.linestrings(np.stack([middle + aside[left], middle - aside[left]], axis=1))
        # Most walls are straight: their sheets touch nothing, and need no cutting.
        meets = np.flatnonzero(shapely.intersects(outlines, sheets))
        free = np.ones(len(left), dtype=bool)
        free[meets] = shapely.length(shapely.intersection(sheets[meets], outlines[meets])) < NUDGE_M
        nudge[left[free]] = depth + NUDGE_M
        left, outlines = left[~free], outlines[~free]
    return nudge
