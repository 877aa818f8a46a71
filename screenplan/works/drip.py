"""The rows for whoever lays a drip line along them: lengths, levels, plants and emitters.

A line runs from the first new plant of a row to the last, through every one between them. Emitters stand at the
plants. Which flow and which pressure the line needs is left to who lays it.
"""

from __future__ import annotations

from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import DRIP_LINES
from screenplan.contracts.tables import layer_of, with_notes
from screenplan.plan import DEFAULTS, Options
from screenplan.site.terrain import Terrain, ground_at


def lay_drip_lines(
    plants: gpd.GeoDataFrame, *, plan: Options = DEFAULTS, terrain: Terrain | None = None
) -> gpd.GeoDataFrame:
    """Draw a line through the new plants of each row.

    Parameters
    ----------
    plants : GeoDataFrame
        In local-frame metres; those that stand already get no water.
    plan : Options, optional
        Of it [works] emitters; one at each plant if it names none.
    terrain : Terrain, optional
        Without it no level is told, and lengths are level ones.

    Returns
    -------
    GeoDataFrame
        One row for each planting line with two new plants or more, by the contract ``drip_lines``.
    """
    each = plan.works.emitters or 1
    records, shapes, alone = [], [], []
    new = plants.loc[~plants["existing"].to_numpy(bool)].sort_values("station_m", kind="stable")
    for line_id, row in new.groupby("line_id", sort=False):
        if len(row) < 2:
            alone.append(str(line_id))
            continue
        xy = shapely.get_coordinates(row.geometry.to_numpy())
        gaps = np.hypot(*np.diff(xy, axis=0).T)
        slope = gaps.sum() if terrain is None else terrain.slope_length(*xy.T)[-1]
        records.append(
            {
                "line_id": str(line_id), "length_m": gaps.sum(), "slope_m": slope,
                "plants": len(row), "emitters": each * len(row), "spacing_m": float(np.median(gaps)),
                "widest_m": gaps.max(), **_levels(terrain, xy),
            }
        )  # fmt: skip
        shapes.append(shapely.LineString(xy))
    return with_notes(layer_of(DRIP_LINES, records, shapes, plants.crs), list(_told(alone)))


def _levels(terrain: Terrain | None, xy: np.ndarray) -> dict[str, float]:
    """Give the levels of the ground at the plants; none without a terrain."""
    if terrain is None:
        return {}
    levels = ground_at(terrain, xy)
    return {
        "first_level_m": levels[0], "last_level_m": levels[-1], "rise_m": levels[-1] - levels[0],
        "lowest_level_m": levels.min(), "highest_level_m": levels.max(),
    }  # fmt: skip


def _told(alone: list[str]) -> Iterator[str]:
    if alone:
        yield f"A row of one plant needs no drip line: {', '.join(alone)}"
