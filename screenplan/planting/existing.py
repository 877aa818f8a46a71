"""Plants that stand already: which of them belong to a row, and the line of an existing row."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import PLANTING_LINE
from screenplan.contracts.tables import layer_of
from screenplan.ground.errors import refuse
from screenplan.site.lots import Lots, Many

#: A standing plant belongs to a planting line that passes it within this.
EXISTING_WITHIN_M = 1.5


@dataclass(frozen=True)
class Standing:
    """One plant that stands.

    Parameters
    ----------
    screen_id : str
    point : Point
    height_m : float
        Today's height, metres.
    species : str, optional
        Key of its species, if it is known.
    line : int, optional
        Position of its planting line, None if no line passes within reach.
    station_m : float
        Running distance on that line, metres.
    """

    screen_id: str
    point: shapely.Point
    height_m: float
    species: str | None
    line: int | None
    station_m: float


def standing_plants(
    existing_screens: gpd.GeoDataFrame | None,
    planting_lines: gpd.GeoDataFrame,
) -> list[Standing]:
    """List the plants of existing rows and the planting line to which each belongs.

    Parameters
    ----------
    existing_screens : GeoDataFrame
        Rows of the kind ``plant`` are taken: points, or other shapes by their middle.
    planting_lines : GeoDataFrame

    Returns
    -------
    list of Standing
        In the order of the layer; those that no line passes within `EXISTING_WITHIN_M` have ``line`` None.
    """
    around = {} if existing_screens is None else {"existing_screens": existing_screens}
    return standing_plants_each(Lots(around, np.zeros(1, dtype=int)), Many.one(planting_lines))


def standing_plants_each(lots: Lots, planting_lines: Many) -> list[Standing]:
    """List the plants of existing rows near several lots, lot by lot; see `standing_plants`.

    A plant near two lots is listed for each.
    """
    screens = lots.around.get("existing_screens")
    if screens is None or not (screens["kind"] == "plant").any():
        return []
    lot, row = lots.near("existing_screens")
    plant = (screens["kind"] == "plant").to_numpy(bool)[row]
    lot, row = lot[plant], row[plant]
    points = shapely.force_2d(shapely.centroid(screens.geometry.to_numpy()[row]))
    of, line = planting_lines.beside(lot)
    away = shapely.distance(points[of], planting_lines.shapes[line])
    order = np.lexsort((line, away, of))
    some, first = np.unique(of[order], return_index=True)
    near = np.full(len(lot), -1)
    near[some] = np.where(away[order][first] <= EXISTING_WITHIN_M, line[order][first], -1)
    stations = shapely.line_locate_point(planting_lines.shapes[near], points) if len(of) else away
    ids, species, heights = (
        _values(screens, name, default)
        for name, default in (("screen_id", None), ("species", None), ("height_m", np.nan))
    )
    found = []
    for item, k in enumerate(row.tolist()):
        if not heights[k] > 0:
            raise refuse(
                "a standing plant has no height",
                "Give its height today",
                layer="existing_screens",
                rows=[k + 1],
            )
        own = None if near[item] < 0 else int(near[item])
        name = str(k + 1 if ids[k] is None else ids[k])
        station = 0.0 if own is None else float(stations[item])
        found.append(Standing(name, points[item], float(heights[k]), species[k], own, station))
    return found


def stands_as_row(existing_screens: gpd.GeoDataFrame | None) -> bool:
    """Tell whether two or more plants of an existing row are among the screens."""
    return existing_screens is not None and int((existing_screens["kind"] == "plant").sum()) > 1


def row_through(existing_screens: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Planting line through the plants of one existing row, from one end of it to the other.

    The plants are joined in the order in which they lie along the row's main direction, so a row
    that bends back on itself must be drawn by hand.

    Parameters
    ----------
    existing_screens : GeoDataFrame
        At least two rows of the kind ``plant``.

    Returns
    -------
    GeoDataFrame
        One line, as for a drawn planting line.

    Raises
    ------
    InputError
        If fewer than two plants stand apart.
    """
    plants = existing_screens[existing_screens["kind"] == "plant"]
    geometry = plants.geometry[~(plants.geometry.isna() | plants.geometry.is_empty)]
    xy = np.unique(shapely.get_coordinates(geometry.centroid.to_numpy()), axis=0)
    if len(xy) < 2:
        raise refuse(
            "an existing row needs at least two plants",
            "Mark each plant of the row as a point of the kind 'plant'",
            layer="existing_screens",
        )
    middle = xy - xy.mean(axis=0)
    direction = np.linalg.svd(middle, full_matrices=False)[2][0]
    # North or east first, whatever sign the decomposition took.
    direction *= 1.0 if tuple(np.round(direction, 9)) > (0.0, 0.0) else -1.0
    ordered = xy[np.argsort(middle @ direction, kind="stable")]
    line = shapely.LineString(ordered)
    return layer_of(PLANTING_LINE, [{"line_id": "existing"}], [line], existing_screens.crs)


def _values(layer: gpd.GeoDataFrame, name: str, default) -> list:
    if name not in layer.columns:
        return [default] * len(layer)
    return [default if pd.isna(value) else value for value in layer[name]]
