"""Roofs with a ridge, as upright sheets.

A ridge roof rises evenly from the eaves to a level ridge that runs along the middle of the longer
axis of the footprint's smallest rectangle. Over each half the roof is a plane, so a sight line
that passes through the solid crosses an outer wall below the roof, or the upright plane of the
ridge below the ridge: the walls, cut at the ridge and with sloping tops at the gables, and one
sheet under the ridge stop exactly what the solid stops, of sight lines with both ends outside.
"""

from __future__ import annotations

import numpy as np
import shapely
import shapely.ops


def ridge_sheets(footprint, eaves_z: float, ridge_z: float) -> list[tuple[np.ndarray, np.ndarray]]:
    """Cut a building with a ridge roof into sheets.

    Parameters
    ----------
    footprint : Polygon or MultiPolygon
        In metres; a part of several gets its own ridge.
    eaves_z, ridge_z : float
        Heights of the eaves and of the ridge.

    Returns
    -------
    list of (coords, top)
        Chains of points, (points, 2), and the height of the sheet's top at each.
    """
    sheets = []
    for part in shapely.get_parts(footprint):
        if part.geom_type != "Polygon" or part.area <= 0.0:
            continue
        middle, along, half = ridge_axis(part)
        across = np.array([-along[1], along[0]])
        reach = part.length
        axis = shapely.LineString([middle - reach * along, middle + reach * along])

        def roof(xy, middle=middle, across=across, half=half):
            share = np.clip(1.0 - np.abs((xy - middle) @ across) / half, 0.0, 1.0)
            return eaves_z + share * (ridge_z - eaves_z)

        for ring in (part.exterior, *part.interiors):
            coords = _cut_at(shapely.get_coordinates(ring), middle, across)
            sheets.append((coords, roof(coords)))
        under = shapely.intersection(part, axis)
        for piece in shapely.get_parts(under):
            if piece.geom_type == "LineString":
                coords = shapely.get_coordinates(piece)
                sheets.append((coords, np.full(len(coords), ridge_z)))
    return sheets


def ridge_axis(part) -> tuple[np.ndarray, np.ndarray, float]:
    """Give a point of the ridge, its direction, and half the depth of the roof across it.

    Of a footprint as deep as it is wide the ridge runs the way of the rectangle's first edge.
    """
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(part))[:4]
    edges = np.array([corners[1] - corners[0], corners[2] - corners[1]])
    lengths = np.hypot(*edges.T)
    longer = int(lengths[1] > lengths[0])
    return corners.mean(axis=0), edges[longer] / lengths[longer], 0.5 * float(lengths[1 - longer])


def _cut_at(coords, middle, across) -> np.ndarray:
    """Put a vertex wherever a ring crosses the ridge's plane, so that tops are straight between."""
    away = (coords - middle) @ across
    out = [coords[0]]
    for k in range(len(coords) - 1):
        if away[k] * away[k + 1] < 0.0:
            share = away[k] / (away[k] - away[k + 1])
            out.append(coords[k] + share * (coords[k + 1] - coords[k]))
        out.append(coords[k + 1])
    return np.array(out)
