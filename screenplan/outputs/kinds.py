"""Layers of several kinds of geometry taken apart for files, and put together again."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas
import numpy as np
import pandas as pd

from screenplan.contracts import Contract, written_parts


def split_by_kind(
    layers: Mapping[str, pd.DataFrame], contracts: Mapping[str, Contract]
) -> dict[str, pd.DataFrame]:
    """Take layers apart into those that are written.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By contract name, in any reference system.
    contracts : mapping of str to Contract
        By name; a layer without a contract is handed on as it is.

    Returns
    -------
    dict of str to DataFrame
        By name as written (`screenplan.contracts.as_written`). Each row is in exactly one of the
        layers; one without a shape, or of a kind that the contract does not allow, in the first.
    """
    taken: dict[str, pd.DataFrame] = {}
    for name, layer in layers.items():
        parts = written_parts(contracts[name]) if name in contracts else {}
        if len(parts) < 2 or not isinstance(layer, geopandas.GeoDataFrame):
            taken[name] = layer
            continue
        types = layer.geometry.geom_type.where(~layer.geometry.is_empty)
        first, *others = parts
        own = {other: types.isin(parts[other].geometry).to_numpy() for other in others}
        left = ~np.logical_or.reduce(list(own.values()))
        taken |= {part: layer[rows] for part, rows in ({first: left} | own).items()}
    return taken


def join_kinds(parts: list[geopandas.GeoDataFrame]) -> geopandas.GeoDataFrame:
    """Put a layer together that `split_by_kind` took apart: areas, lines, points, in their order."""
    filled = [part for part in parts if len(part)] or parts[:1]
    return pd.concat(filled, ignore_index=True)
