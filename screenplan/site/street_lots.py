"""One lot of a street: what a plan of it alone would read, out of what was read around all of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts.tables import texts
from screenplan.site.ownership import is_subject, subject_outlines

#: What lies on a lot is that lot's alone; everything else is seen by all lots within reach.
ON_A_LOT = ("private_places", "planting_line")
#: Slivers that are less than this share of a place lie on the other lot by rounding.
LEAST_SHARE = 1e-6


def lots_of(parcels: gpd.GeoDataFrame) -> list[str]:
    """Give the identifiers of the lots that are planned, in the layer's order."""
    return parcels.loc[is_subject(parcels), "parcel_id"].astype(str).to_list()


def layers_of(lot: str, layers: Mapping[str, Any], reach_m: float) -> dict[str, Any]:
    """Give what a plan of one lot has before it: rows keep their index.

    Parameters
    ----------
    lot : str
        Its identifier.
    layers : mapping
        What was read around all lots, by contract, in local-frame metres; all lots are marked as subjects.
    reach_m : float
        How far from a lot things are looked at, metres.

    Returns
    -------
    dict
        The parcels with this lot alone as subject, and what lies within reach. Private places, drawn lines and
        plants of rows that stand are those that lie on the lot.
    """
    parcels = layers["parcels"]
    ids, outlines = lots_of(parcels), subject_outlines(parcels)
    outline = outlines[ids.index(lot)]
    own = is_subject(parcels) & (parcels["parcel_id"].astype(str) == lot).to_numpy()
    found: dict[str, Any] = {}
    for name, layer in layers.items():
        if not isinstance(layer, gpd.GeoDataFrame):
            found[name] = layer
            continue
        keep = shapely.distance(layer.geometry.to_numpy(), outline) <= reach_m
        on_lots = np.full(len(layer), name in ON_A_LOT)
        if name == "existing_screens":
            on_lots |= np.array(texts(layer, "kind"), object) == "plant"
        if on_lots.any():
            whose = lying_on(layer.geometry.to_numpy(), outlines)
            keep &= ~on_lots | (whose == ids.index(lot))
        found[name] = layer.assign(is_subject=own)[keep] if name == "parcels" else layer[keep]
    return found


def lying_on(shapes: np.ndarray, outlines: np.ndarray) -> np.ndarray:
    """Tell on which lot most of each shape lies, (shapes,): its number, -1 for none."""
    if not len(shapes) or not len(outlines):
        return np.full(len(shapes), -1)
    shared = shapely.intersection(shapes[:, None], outlines)
    areas = shapely.area(shapes)[:, None]
    flat = np.where(shapely.length(shapes) > 0.0, shapely.length(shapes), 1.0)[:, None]
    on = np.where(
        areas > 0.0,
        shapely.area(shared) / np.where(areas > 0.0, areas, 1.0),
        np.where(shapely.length(shapes)[:, None] > 0.0, shapely.length(shared) / flat, ~shapely.is_empty(shared)),
    )  # fmt: skip
    return np.where(on.max(axis=1) > LEAST_SHARE, on.argmax(axis=1), -1)


def nearest_lot(shapes: np.ndarray, outlines: np.ndarray) -> np.ndarray:
    """Tell to which lot each shape is nearest by its middle, (shapes,): its number."""
    if not len(shapes):
        return np.zeros(0, int)
    return shapely.distance(shapely.point_on_surface(shapes)[:, None], outlines).argmin(axis=1)
