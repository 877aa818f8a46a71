"""GeoJSON exactly as RFC 7946 has it, by GDAL's own driver."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import shapely
from pyproj import CRS

from screenplan.contracts import Contract
from screenplan.ground.errors import refuse
from screenplan.outputs.conform import Layout, conform
from screenplan.outputs.valid import valid_polygons
from screenplan.outputs.vector import check_arrival, explain_failure, write_layer

#: Longitude and latitude on WGS 84, the only reference system of RFC 7946 (its section 4).
WGS84 = CRS("OGC:CRS84")
#: 9 decimals of a degree are 0.1 mm; 7 would be 11 mm, too coarse for a tape.
COORDINATE_DECIMALS = 9
#: Decimals that GDAL is asked for. It takes a run of zeros or nines for rounding noise and cuts it off:
#: asked for 9, it writes 9.000000084 as 9.0, which is 9 mm away. Coordinates that are rounded before
#: keep their 9 decimals if it is asked for three more.
WRITTEN_DECIMALS = 12

#: GDAL's options. RFC7946 orders the rings, leaves out ``crs`` and cuts at the antimeridian;
#: without the last option a text such as "[1, 2]" would be written as a nested array.
#: GDAL adds one foreign member, ``xy_coordinate_resolution``, which section 6.1 allows.
OPTIONS: dict[str, str | int] = {
    "RFC7946": "YES",
    "COORDINATE_PRECISION": WRITTEN_DECIMALS,
    "WRITE_BBOX": "YES",
    "WRITE_NAME": "NO",
    "AUTODETECT_JSON_STRINGS": "NO",
}


def write_geojson(layer: geopandas.GeoDataFrame, path: str | Path, contract: Contract) -> int:
    """Write a layer as RFC 7946 GeoJSON.

    Parameters
    ----------
    layer : GeoDataFrame
        In WGS 84, with exactly the contract's columns (any order; per-year columns expanded).
    path : str or Path
        The file to write; one that exists is replaced.
    contract : Contract
        What the layer is.

    Returns
    -------
    int
        The number of features written.

    Raises
    ------
    InputError
        If the layer is not in WGS 84, breaks its contract, or cannot be written.
    """
    path = Path(path)
    layout = conform(layer, contract)
    if layout.geometries is None:
        raise refuse(
            "It is a table, and GeoJSON holds features", "Write it as CSV", layer=contract.name
        )
    # The axis order is not compared: a GeoDataFrame always holds longitude first.
    if layer.crs is None or not layer.crs.equals(WGS84, ignore_axis_order=True):
        known = "none" if layer.crs is None else layer.crs.name
        raise refuse(
            f"Its coordinate reference system is {known}, and GeoJSON needs WGS 84",
            "Transform the layer to EPSG:4326 first",
            layer=contract.name,
        )
    return write_geojson_layout(layout, path)


def write_geojson_layout(layout: Layout, path: Path) -> int:
    """Write a layer that keeps its contract, in WGS 84; see `write_geojson`."""
    with explain_failure(path, layout.contract.name):
        path.unlink(missing_ok=True)
    shapes = shapely.transform(
        np.array(layout.geometries, dtype=object), lambda xy: np.round(xy, COORDINATE_DECIMALS)
    )
    shapes = valid_polygons(
        shapes,
        grid=10.0**-COORDINATE_DECIMALS,
        multi="MultiPolygon" in layout.contract.geometry,
    )
    write_layer(
        replace(layout, geometries=list(shapes)),
        path,
        driver="GeoJSON",
        geometry="Unknown",
        crs_wkt=WGS84.to_wkt(),
        layer_options=OPTIONS,
    )
    with explain_failure(path, layout.contract.name):
        arrived = json.loads(path.read_bytes())["features"]
    check_arrival(layout, len(arrived), path, arrived[0]["properties"] if arrived else None)
    return len(layout)
