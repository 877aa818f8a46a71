"""The few plants that are measured each year: always the same, spread over the rows of each kind.

Up to five of a kind stand in the middle of as many equal parts of its plants, in the order of their numbers, so that
neither end of a row, where plants have more light, is taken alone (custom, no source).
"""

from __future__ import annotations

import datetime as dt

import geopandas as gpd
import numpy as np

from screenplan.contracts import TO_MEASURE
from screenplan.contracts.tables import layer_of, records_of
from screenplan.plan import DEFAULTS, Options

#: So many plants of a kind are measured, and so many in all (custom, no source).
MOST_OF_A_KIND, MOST = 5, 12


def choose_to_measure(plants: gpd.GeoDataFrame, *, plan: Options = DEFAULTS) -> gpd.GeoDataFrame:
    """Choose the plants that are measured each year.

    Parameters
    ----------
    plants : GeoDataFrame
        Those that stand already are left out.
    plan : Options, optional
        Of it [calendar] planting.

    Returns
    -------
    GeoDataFrame
        Points in the order of their numbers. What is measured is empty; filled in, the layer is
        read as ``measured_plants``.
    """
    new = plants.loc[~plants["existing"].to_numpy(bool)].sort_values("plant_id", kind="stable")
    kinds = list(dict.fromkeys(new["species"]))
    each = max(1, min(MOST_OF_A_KIND, MOST // max(len(kinds), 1)))
    chosen: list[int] = []
    for kind in kinds[:MOST]:
        own = np.flatnonzero((new["species"] == kind).to_numpy(bool))
        chosen += own[middles(len(own), each)].tolist()
    rows = new.iloc[sorted(chosen)]
    planting = plan.calendar.planting
    year = None if planting is None else dt.date.fromisoformat(planting).year
    records = [row | {"planted_year": year} for row in records_of(rows)]
    return layer_of(TO_MEASURE, records, rows.geometry, plants.crs)


def middles(count: int, parts: int) -> list[int]:
    """Give the positions in the middle of so many equal parts of a list, or all of a short one.

    Examples
    --------
    >>> middles(30, 3), middles(2, 5)
    ([5, 15, 25], [0, 1])
    """
    if count <= parts:
        return list(range(count))
    return [(2 * k + 1) * count // (2 * parts) for k in range(parts)]
