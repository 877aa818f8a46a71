"""GeoJSON objects to layers and back, with what is wrong said by feature."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely
from shapely.errors import ShapelyError

from screenplan.contracts import OUTPUTS
from screenplan.ground.errors import refuse
from screenplan.ground.texts import quoted
from screenplan.outputs.conform import conform
from screenplan.outputs.geojson import WGS84, write_geojson
from screenplan.processes.schemas import MOST_FEATURES, MOST_POSITIONS
from screenplan.running.descriptions import contract_read

#: The deepest value of a feature's properties, or of a table of rules, stands not half so deep.
DEEPEST = 20
#: Lists in each other of a MultiPolygon's coordinates.
MOST_LISTS = 4
#: Numbers beyond are no measure of anything.
LARGEST = 1e30
#: Names by which an older GeoJSON says that it is in WGS 84 after all.
WGS84_NAMES = {"urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:OGC::CRS84", "EPSG:4326",
               "urn:ogc:def:crs:EPSG::4326"}  # fmt: skip


def read_collection(name: str, value: Any) -> gpd.GeoDataFrame:
    """Read a FeatureCollection as a layer in WGS 84.

    Parameters
    ----------
    name : str
        The layer's name, for what is refused.
    value : object
        The parsed JSON.

    Returns
    -------
    GeoDataFrame
        One row a feature, its properties as columns; heights are left out.

    Raises
    ------
    InputError
        If it is no FeatureCollection, is in another reference system, is too large, or a geometry
        cannot be read.
    """
    features = value.get("features") if isinstance(value, Mapping) else None
    if not isinstance(features, list) or value.get("type") != "FeatureCollection":
        raise refuse(
            "the input is no GeoJSON FeatureCollection",
            'Send {"type": "FeatureCollection", "features": [...]}',
            layer=name,
        )
    _check_crs(value.get("crs"), name)
    _check_number(len(features), name)
    for row, feature in enumerate(features, start=1):
        if not isinstance(feature, Mapping) or feature.get("type") != "Feature":
            raise refuse("the entry is no GeoJSON feature", "Send features", layer=name, rows=[row])
    table = pd.DataFrame(
        [
            _read_values(feature.get("properties"), name, row)
            for row, feature in enumerate(features, start=1)
        ]
    )
    shapes = [
        _read_shape(feature.get("geometry"), name, row)
        for row, feature in enumerate(features, start=1)
    ]
    if sum(shapely.get_num_coordinates(shapes)) > MOST_POSITIONS:
        raise refuse(
            f"the layer has more than {MOST_POSITIONS} positions",
            "Send what lies near the parcel only",
            layer=name,
        )
    return gpd.GeoDataFrame(
        table.reindex(range(len(features))), geometry=gpd.GeoSeries(shapes, crs=WGS84)
    )


def read_rows(name: str, value: Any) -> pd.DataFrame:
    """Read a list of rows as a table.

    Raises
    ------
    InputError
        If it is no list of objects, or too long.
    """
    if not isinstance(value, list) or not all(isinstance(row, Mapping) for row in value):
        raise refuse("the input is no list of rows", "Send [{...}, ...]", layer=name)
    _check_number(len(value), name)
    columns = [column.name for column in contract_read(name).columns] if not value else None
    records = [_read_values(row, name, number) for number, row in enumerate(value, start=1)]
    return pd.DataFrame(records, columns=columns)


def write_result(name: str, result: pd.DataFrame) -> Any:
    """Write a layer as a FeatureCollection by RFC 7946, a table as a list of rows."""
    contract = OUTPUTS[name]
    if not contract.geometry:
        return list(conform(pd.DataFrame(result), contract).rows())
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"{name}.geojson"
        write_geojson(result, path, contract)
        return json.loads(path.read_text(encoding="utf-8"))


def check_json(value: Any) -> None:
    """Refuse JSON that no input can mean: nested too deep, or with numbers beyond all measure.

    Coordinates are looked at where they are read.

    Raises
    ------
    InputError
        With the name of the input.
    """
    waiting = [(str(name), part, 1) for name, part in value.items()]
    while waiting:
        name, content, depth = waiting.pop()
        if depth > DEEPEST:
            raise refuse(
                "lists or objects stand too deep in each other",
                f"Send the value plainly; {DEEPEST} deep is more than any input takes",
                key=name,
            )
        if isinstance(content, (int, float)) and not abs(content) <= LARGEST:
            raise refuse(
                f"{quoted(content)} is out of range", "Give a number that is measured", key=name
            )
        if isinstance(content, Mapping):
            inner = [part for key, part in content.items() if key != "coordinates"]
            waiting += [(name, part, depth + 1) for part in inner]
        elif isinstance(content, (list, tuple)):
            waiting += [(name, part, depth + 1) for part in content]


def _read_values(properties: Any, name: str, row: int) -> dict[str, Any]:
    """Take the values of one row: one value a column; lists in columns of others are left out."""
    if properties is None:
        return {}
    if not isinstance(properties, Mapping):
        raise refuse(
            f"the properties are {quoted(properties)}, no JSON object",
            "Send {NAME: VALUE, ...} or null",
            layer=name,
            rows=[row],
        )
    ours = {column.name for column in contract_read(name).columns}
    values = {}
    for key, value in properties.items():
        if not isinstance(value, (Mapping, list, tuple)):
            values[str(key)] = value
        elif key in ours:
            raise refuse(
                f"Column {key} holds {quoted(value)}, and not one value",
                "Send a text, a number, true, false or null",
                layer=name,
                rows=[row],
            )
    return values


def _check_number(rows: int, name: str) -> None:
    if rows > MOST_FEATURES:
        raise refuse(
            f"the layer has {rows} rows, and a request may bring {MOST_FEATURES}",
            "Send what lies near the parcel only",
            layer=name,
        )


def _check_crs(crs: Any, name: str) -> None:
    """Refuse the ``crs`` that GeoJSON had before RFC 7946, unless it says WGS 84."""
    if crs is None:
        return
    properties = crs.get("properties") if isinstance(crs, Mapping) else None
    said = properties.get("name") if isinstance(properties, Mapping) else crs
    if not isinstance(said, str) or said not in WGS84_NAMES:
        shown = said if isinstance(said, str) else quoted(said)
        raise refuse(
            f"the layer says that it is in {shown}, and GeoJSON is in WGS 84",
            "Transform it to longitude and latitude first",
            layer=name,
        )


def _read_shape(geometry: Any, name: str, row: int) -> shapely.Geometry | None:
    if geometry is None:
        return None
    where: dict[str, Any] = {"layer": name, "rows": [row]}
    try:
        _check_numbers(geometry["coordinates"])
        shape = shapely.force_2d(shapely.geometry.shape(geometry))
    except (
        ShapelyError,
        AttributeError,
        KeyError,
        IndexError,
        TypeError,
        ValueError,
        OverflowError,
    ):
        raise refuse(
            "the geometry is no GeoJSON geometry", "Send type and coordinates", **where
        ) from None
    if shape.is_empty:
        return None
    west, south, east, north = shape.bounds
    if not all(math.isfinite(bound) for bound in shape.bounds):
        raise refuse("a coordinate is no number", "Send longitudes and latitudes", **where)
    if west < -180 or east > 180 or south < -90 or north > 90:
        raise refuse(
            "the coordinates are no longitudes and latitudes",
            "Transform the layer to WGS 84, longitude first",
            **where,
        )
    return shape


def _check_numbers(coordinates: Any, depth: int = 1) -> None:
    """Raise a TypeError if anything but numbers stands in the coordinates; text would be taken for them."""
    if depth > MOST_LISTS:
        raise TypeError
    for entry in coordinates:
        if isinstance(entry, list):
            _check_numbers(entry, depth + 1)
        elif isinstance(entry, bool) or not isinstance(entry, (int, float)):
            raise TypeError
