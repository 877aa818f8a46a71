"""Where light is counted: windows, gardens, panels and beds, the plants of the row, a grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.contracts.tables import has_rows, identifiers, numbers, texts
from screenplan.effects.hedge_height import garden_of
from screenplan.site.ownership import is_subject
from screenplan.site.steady import natural_key
from screenplan.views.openings import openings_of

#: Points of a window: at a quarter and three quarters of its width and height.
QUARTERS = (0.25, 0.75)
#: Height above the ground at which light on a garden is counted, metres.
LOW_M = 0.1
#: At most so many plants of a row stand for it.
MOST_PLANTS = 12
UP = (0.0, 0.0, 1.0)


@dataclass(frozen=True)
class Target:
    """Something that light falls on.

    Parameters
    ----------
    kind, name, owner : str
        ``window``, ``garden``, ``panel``, ``bed``, ``row``; its identifier; its parcel or empty.
    geometry : Geometry
        For the drawing.
    points, normals : ndarray, (n, 3)
        Where light is counted, and the planes there.
    """

    kind: str
    name: str
    owner: str
    geometry: shapely.Geometry
    points: np.ndarray
    normals: np.ndarray


def windows_in_light(windows, buildings, terrain, parcels) -> list[Target]:
    """Windows of the neighbours, each as four points just outside its glass."""
    if not has_rows(windows):
        return []
    subjects = set(parcels.loc[is_subject(parcels), "parcel_id"].astype(str))
    owners = dict(zip(identifiers(buildings, "building_id"), texts(buildings, "parcel_id"), strict=True)) if has_rows(buildings) else {}  # fmt: skip
    openings = openings_of(windows, buildings, terrain)
    across, up = (part.ravel() for part in np.meshgrid(QUARTERS, QUARTERS))
    out_x, out_y = openings.out.T[:, :, None]
    x, y, half, sill_z, head_z, nudge = (
        openings[name][:, None]
        for name in ("x", "y", "half_width_m", "sill_z", "head_z", "nudge_m")
    )
    u = (2.0 * across - 1.0) * half
    points = np.stack(
        [
            x + nudge * out_x - u * out_y,
            y + nudge * out_y + u * out_x,
            sill_z + up * (head_z - sill_z),
        ],
        axis=-1,
    )
    normals = np.column_stack([openings.out, np.zeros(len(openings))])
    names, houses = identifiers(windows, "window_id"), texts(windows, "building_id")
    found = []
    for row, shape in enumerate(windows.geometry):
        owner = owners.get(houses[row], "")
        if not owner or owner not in subjects:
            normal = np.tile(normals[row], (len(across), 1))
            found.append(Target("window", names[row], owner, shape, points[row], normal))
    return found


def sun_places_in_light(sun_places, terrain, cell_m: float) -> list[Target]:
    """Panels, beds and whatever else the owner wants sun on, as tilted planes."""
    if not has_rows(sun_places):
        return []
    height = numbers(sun_places, "height_m", LOW_M)
    tilt = np.radians(numbers(sun_places, "tilt_deg", 0.0))
    facing = np.radians(numbers(sun_places, "facing_deg", 180.0))
    kinds, found = texts(sun_places, "kind", "bed"), []
    for row, name in enumerate(identifiers(sun_places, "sun_place_id")):
        shape = sun_places.geometry.iloc[row]
        xy = (
            np.array([[shape.x, shape.y]])
            if shape.geom_type == "Point"
            else grid_in(shape, min(cell_m, max(np.sqrt(shape.area / 4.0), 0.05)))[0]
        )
        normal = (
            np.sin(tilt[row]) * np.sin(facing[row]),
            np.sin(tilt[row]) * np.cos(facing[row]),
            np.cos(tilt[row]),
        )
        # A tilted plane rises away from where it faces, about its given height in the middle.
        away = (xy - xy.mean(axis=0)) @ np.array([-np.sin(facing[row]), -np.cos(facing[row])])
        ground = terrain.height_at(*xy.T)
        base = ground if tilt[row] == 0 else np.full(len(xy), ground.mean())
        z = base + height[row] + away * np.tan(min(tilt[row], np.radians(80.0)))
        found.append(
            Target(
                kinds[row], name, "", shape, np.column_stack([xy, z]), np.tile(normal, (len(xy), 1))
            )
        )
    return found


def gardens_in_light(parcels, buildings, screens, terrain, *, reach_m, cell_m):
    """Ground of the subject and its neighbours near what is planted and built, as a grid of cells.

    Parameters
    ----------
    parcels, buildings : GeoDataFrame
    screens : sequence of Geometry
        The planting lines, and the lines of what is built first.
    terrain : Terrain
    reach_m, cell_m : float

    Returns
    -------
    gardens : list of Target
        One for each parcel with a cell; their points are the cells in it.
    grid : tuple of (columns, rows) ndarray of int
        Place of each cell, west to east and south to north, in the order of the gardens' points.
    """
    if not len(screens):
        return [], (np.zeros(0, int), np.zeros(0, int))
    near = shapely.buffer(shapely.union_all(screens), reach_m)
    found, columns, rows = [], [], []
    named = zip(identifiers(parcels, "parcel_id"), parcels.geometry, strict=True)
    for name, parcel in sorted(named, key=lambda entry: natural_key(entry[0])):
        garden = shapely.intersection(garden_of(parcel, buildings), near)
        xy, (i, j) = grid_in(garden, cell_m, fixed=True)
        if not len(xy):
            continue
        z = terrain.height_at(*xy.T) + LOW_M
        found.append(
            Target(
                "garden", name, name, garden, np.column_stack([xy, z]), np.tile(UP, (len(xy), 1))
            )
        )
        columns.append(i)
        rows.append(j)
    if not found:
        return [], (np.zeros(0, int), np.zeros(0, int))
    return found, (np.concatenate(columns), np.concatenate(rows))


def rows_in_light(planting_lines, plants) -> list[Target]:
    """Plants of each row, at the middle of their height when planted, without their own shade."""
    found = []
    points = plants.geometry.to_numpy()
    half = numbers(plants, "stock_height_m", 1.0) / 2.0 + numbers(plants, "ground_m", 0.0)
    for line in planting_lines.itertuples():
        mine = np.flatnonzero((plants["line_id"] == line.line_id).to_numpy())
        if not len(mine):
            continue
        mine = mine[
            np.unique(np.linspace(0, len(mine) - 1, min(len(mine), MOST_PLANTS)).astype(int))
        ]
        xy = shapely.get_coordinates(points[mine])
        found.append(
            Target(
                "row", str(line.line_id), "", line.geometry, np.column_stack([xy, half[mine]]),
                np.tile(UP, (len(mine), 1)),
            )
        )  # fmt: skip
    return found


def grid_in(shape, cell_m: float, *, fixed: bool = False):
    """Middles of square cells inside a shape, and their places in the grid.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
    cell_m : float
        Size of a cell.
    fixed : bool
        True for cells of the frame's own grid, so that shapes side by side share it; else the grid
        begins at the shape, and a shape without a cell gives one point in it.
    """
    if shape.is_empty:
        return np.zeros((0, 2)), (np.zeros(0, int), np.zeros(0, int))
    west, south, east, north = shape.bounds
    x0, y0 = (0.0, 0.0) if fixed else (west, south)
    i = np.arange(np.floor((west - x0) / cell_m), np.ceil((east - x0) / cell_m) + 1).astype(int)
    j = np.arange(np.floor((south - y0) / cell_m), np.ceil((north - y0) / cell_m) + 1).astype(int)
    i, j = (part.ravel() for part in np.meshgrid(i, j))
    x, y = x0 + (i + 0.5) * cell_m, y0 + (j + 0.5) * cell_m
    inside = shapely.contains_xy(shape, x, y)
    if not inside.any() and not fixed:
        point = shape.representative_point()
        return np.array([[point.x, point.y]]), (np.zeros(1, int), np.zeros(1, int))
    return np.column_stack([x, y])[inside], (i[inside], j[inside])
