"""Classes of a parcel's sides: front, rear and side, as a plan for many parcels and codes of fences name them.

A front is a side across which a road lies. The rear faces away from the longest front; all others are sides, and so
are those of a parcel at no road (common practice, no source: what a local code calls a rear yard may differ).
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from screenplan.contracts.county import FRONT, REAR, SIDE
from screenplan.site.compass import apart_deg
from screenplan.site.lots import Many
from screenplan.site.steady import EQUAL_M, steady_order

#: A side faces away from the front if the two directions differ by at least this.
AWAY_DEG = 120.0


def classes_of(sides: gpd.GeoDataFrame) -> np.ndarray:
    """Give the class of each side of a parcel, (sides,).

    Parameters
    ----------
    sides : GeoDataFrame
        By their contract.
    """
    return classes_of_each(Many.one(sides))


def classes_of_each(sides: Many) -> np.ndarray:
    """Give the class of each side of several lots, (sides,); see `classes_of`."""
    layer, lot = sides.layer, sides.lot
    facing, length = (layer[name].to_numpy(float) for name in ("facing_deg", "length_m"))
    front = (layer["across_kind"] == "road").to_numpy(bool)
    main_deg = np.full(sides.lots, np.nan)
    roads = np.flatnonzero(front)
    for own in np.split(roads, np.flatnonzero(np.diff(lot[roads])) + 1) if len(roads) else ():
        main = own[0] if len(own) == 1 else own[steady_order((-length[own], EQUAL_M), (facing[own], 1e-6))[0]]  # fmt: skip
        main_deg[lot[main]] = facing[main]
    # A lot at no road faces nowhere, and no side of it away from there.
    away = apart_deg(facing, main_deg[lot]) >= AWAY_DEG
    return np.select([front, away], [FRONT, REAR], SIDE).astype(object)
