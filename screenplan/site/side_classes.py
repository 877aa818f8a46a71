"""Classes of a parcel's sides: front, rear and side, as a plan for many parcels and codes of fences name them.

A front is a side across which a road lies. The rear faces away from the longest front; all others are sides, and so
are those of a parcel at no road (common practice, no source: what a local code calls a rear yard may differ).
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from screenplan.contracts.county import FRONT, REAR, SIDE
from screenplan.site.compass import apart_deg
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
    facing = sides["facing_deg"].to_numpy(float)
    found = np.full(len(sides), SIDE, dtype=object)
    front = (sides["across_kind"] == "road").to_numpy(bool)
    found[front] = FRONT
    if front.any():
        places = np.flatnonzero(front)
        lengths = sides["length_m"].to_numpy(float)[places]
        main = places[steady_order((-lengths, EQUAL_M), (facing[places], 1e-6))[0]]
        away = np.array([apart_deg(one, facing[main]) >= AWAY_DEG for one in facing])
        found[away & ~front] = REAR
    return found
