"""Schemas of what goes into a process and comes out, in the dialect that the standard takes.

That is the schema object of OpenAPI 3.0: one type for each value, ``nullable`` beside it, and
``exclusiveMinimum`` as a boolean.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from screenplan.contracts import Column
from screenplan.running.descriptions import (
    LayerDescription,
    ParameterDescription,
)

#: Bounds of what one request may bring, so that no request keeps a server for hours. A parcel and its
#: neighbours have some hundreds.
MOST_FEATURES = 20_000
MOST_POSITIONS = 500_000

GEOJSON = "application/geo+json"
JSON = "application/json"

#: Types of the registry as JSON types; lengths are metres, volumes cubic metres.
JSON_TYPES = {
    "length": "number",
    "number": "number",
    "volume": "number",
    "integer": "integer",
    "text": "string",
    "texts": "string",  # how many, an input's maxOccurs says
    "choice": "string",
    "date": "string",
    "boolean": "boolean",
    "list": "array",
    "table": "object",
}


def layer_schema(layer: LayerDescription, *, incoming: bool) -> dict[str, Any]:
    """Give the schema of a layer: a GeoJSON FeatureCollection, or an array of rows if it is a table.

    Parameters
    ----------
    layer : LayerDescription
        The layer.
    incoming : bool
        Whether it goes in; of one that comes out every column is there.
    """
    row = row_schema(layer.columns, incoming=incoming)
    if not layer.geometry:
        return _bounded({"type": "array", "contentMediaType": JSON, "items": row}, incoming)
    geometry = {
        "type": "object",
        "nullable": True,
        "required": ["type", "coordinates"],
        "properties": {
            "type": {"type": "string", "enum": list(layer.geometry)},
            "coordinates": {"type": "array", "items": {}},
        },
    }
    feature = {
        "type": "object",
        "required": ["type", "geometry", "properties"],
        "properties": {
            "type": {"type": "string", "enum": ["Feature"]},
            "geometry": geometry,
            "properties": row,
        },
    }
    return {
        "type": "object",
        "format": "geojson-feature-collection",
        "contentMediaType": GEOJSON,
        "required": ["type", "features"],
        "properties": {
            "type": {"type": "string", "enum": ["FeatureCollection"]},
            "features": _bounded({"type": "array", "items": feature}, incoming),
        },
    }


def _bounded(schema: dict[str, Any], incoming: bool) -> dict[str, Any]:
    return {**schema, "maxItems": MOST_FEATURES} if incoming else schema


def row_schema(columns: Sequence[Column], *, incoming: bool) -> dict[str, Any]:
    """Give the schema of one row's values."""
    named = [column for column in columns if not column.per_year]
    needed = [
        column.name
        for column in named
        if not incoming or (column.required and column.default is None)
    ]
    schema: dict[str, Any] = {
        "type": "object",
        "properties": {column.name: column_schema(column) for column in named},
    }
    if needed:
        schema["required"] = needed
    by_year = [column for column in columns if column.per_year]
    if by_year:
        # OpenAPI 3.0 has no patterns for names: the reported years give these columns theirs.
        schema["description"] = "With one column for each reported year: " + "; ".join(
            f"{column.name}_yNN ({_with_unit(column.meaning, column.unit)})" for column in by_year
        )
    return schema


def column_schema(column: Column) -> dict[str, Any]:
    """Give the schema of one column's values."""
    schema: dict[str, Any] = {
        "type": JSON_TYPES[column.type],
        "description": _with_unit(column.meaning, column.unit),
    }
    if column.type == "date":
        schema["format"] = "date"
    if column.choices:
        schema["enum"] = list(column.choices)
    if column.low is not None:
        schema["minimum"] = column.low
    if column.high is not None:
        schema["maximum"] = column.high
    if not column.required:
        schema["nullable"] = True
        if column.choices:
            schema["enum"].append(None)
    if column.default is not None:
        schema["default"] = column.default
    return schema


def parameter_schema(parameter: ParameterDescription) -> dict[str, Any]:
    """Give the schema of a step's value."""
    schema: dict[str, Any] = {"type": JSON_TYPES[parameter.type]}
    if parameter.type == "choice":
        numbers = all(isinstance(choice, int) for choice in parameter.choices)
        schema |= {"type": "integer" if numbers else "string", "enum": list(parameter.choices)}
    elif parameter.type == "date":
        schema["format"] = "date"
    elif parameter.type == "list":
        schema["items"] = _item_schema(parameter)
    elif parameter.type == "table":
        schema["additionalProperties"] = {"type": "number"}
    for end, bound, is_open in (
        ("minimum", parameter.low, parameter.low_open),
        ("maximum", parameter.high, parameter.high_open),
    ):
        if bound is not None:
            schema[end] = bound
            if is_open:
                schema[f"exclusive{end.capitalize()}"] = True
    default = parameter.to_dict()["default"]
    if default is not None:
        schema["default"] = default
    if parameter.optional:
        schema["nullable"] = True
    return schema


def _item_schema(parameter: ParameterDescription) -> dict[str, Any]:
    if parameter.item == "list":
        return {"type": "array", "items": {"type": "string"}}
    schema: dict[str, Any] = {"type": JSON_TYPES[parameter.item]}
    if parameter.choices:
        schema["enum"] = list(parameter.choices)
    return schema


def _with_unit(text: str, unit: str) -> str:
    return f"{text} ({unit})" if unit else text
