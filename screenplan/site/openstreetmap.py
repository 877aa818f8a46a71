"""OpenStreetMap's tags to the columns of a contract: which rows are meant, and what they say.

Rows of a file that GDAL or a download from OpenStreetMap made are known by their columns `MARKS`. Meanings of
the tags are those of OpenStreetMap's wiki: ``barrier``, ``fence_type``, ``natural=tree``, ``diameter_crown``,
``highway``, ``maxspeed``, ``building``, ``building:levels``, ``power``, ``location``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence

import geopandas as gpd
import pandas as pd

from screenplan.ground.errors import refuse
from screenplan.ground.said import KMH_PER_MPH
from screenplan.site.composed import TAG_COLUMNS, tags_of
from screenplan.site.features import shape_of
from screenplan.site.files import DataFile
from screenplan.site.repair import WHOLE_LAYER, Findings

#: Columns by which rows of OpenStreetMap are known.
MARKS = ("osm_id", "osm_way_id", "@id", *TAG_COLUMNS)
#: GDAL's layers of an extract in which the rows of a contract are; others are read by their name.
LAYERS = {
    "parcels": ("multipolygons",),
    "buildings": ("multipolygons",),
    "roads": ("lines",),
    "existing_screens": ("points", "lines", "multipolygons"),
    "utilities": ("points", "lines"),
}
#: Barriers that stop a look; gates, bollards, kerbs and guard rails do not.
BARRIERS = {
    "fence": "fence",
    "hedge": "hedge",
    "wall": "wall",
    "retaining_wall": "wall",
    "city_wall": "wall",
}
#: Fences that one looks through.
OPEN_FENCES = frozenset({"chain_link", "wire", "barbed_wire", "electric", "railing", "bars", "pole", "split_rail", "chain"})  # fmt: skip
#: Ways on which nobody drives, or which are not there.
NOT_DRIVEN = frozenset(
    {"footway", "path", "pedestrian", "steps", "cycleway", "bridleway", "corridor", "elevator", "platform", "track",
     "via_ferrata", "construction", "proposed", "abandoned", "razed", "raceway", "rest_area", "services", "bus_stop"}
)  # fmt: skip
#: Tags of a row.
Tags = Mapping[str, str]


def given_by_tags(name: str, columns: Sequence[str]) -> tuple[str, ...]:
    """Name the columns of a contract that tags give; none unless a file's columns show that it holds such tags."""
    is_theirs = any(mark in columns for mark in MARKS)
    has_tags = any(key in columns for key in _KEYS.get(name, ()))
    return _GIVEN[name] if name in _GIVEN and is_theirs and has_tags else ()


def take_tags(
    name: str,
    frame: gpd.GeoDataFrame,
    columns: Sequence[str],
    fixed: Sequence[str],
    findings: Findings,
) -> gpd.GeoDataFrame:
    """Leave out the rows that are no such thing, and add the columns that tags give.

    Parameters
    ----------
    name : str
        The contract's name.
    frame : GeoDataFrame
        As read, indexed by row number; returned as it is if it holds no rows of OpenStreetMap.
    columns, fixed : sequence of str
        Columns that the plan names or gives, which go before. Whoever gives one kind for all rows has chosen them.
    findings : Findings
        Where it is told.
    """
    by_tags = given_by_tags(name, frame.columns)
    if not by_tags or frame.empty or "kind" in fixed:
        return frame
    given = [column for column in by_tags if column not in {*columns, *fixed, *frame.columns}]
    known = [_READERS[name](tags) for tags in _tags_of_rows(frame)]
    kept = [row is not None for row in known]
    out = frame[kept].copy()
    for column in given:
        out[column] = pd.Series(
            [row.get(column) for row in known if row is not None], index=out.index, dtype=object
        )
    what = name.replace("_", " ")
    if given:
        findings.mended(
            [WHOLE_LAYER], f"taken as rows of OpenStreetMap, whose tags give {', '.join(given)}"
        )
    if not all(kept):
        findings.mended(
            [WHOLE_LAYER],
            f"{len(frame) - len(out)} rows near that are no {what} by their tags left out",
        )
    if name == "existing_screens":
        _tell_fences(out, findings)
    return out


def _tell_fences(screens: pd.DataFrame, findings: Findings) -> None:
    if "kind" not in screens or "opacity" not in screens:
        return
    fences = screens["kind"] == "fence"
    unsaid = screens.index[fences & screens["opacity"].isna()]
    findings.mended(
        unsaid, "nobody says what the fence is made of: it counts as one that nobody looks through"
    )
    seen_through = screens.index[fences & (screens["opacity"] == 0.0)]
    findings.mended(seen_through, "a fence that one looks through: it stops no look")


def read_extract(data: DataFile, name: str) -> gpd.GeoDataFrame:
    """Read the rows of an extract that a contract means, with all their tags.

    Parameters
    ----------
    data : DataFile
        The extract.
    name : str
        The contract's name.

    Raises
    ------
    InputError
        If nobody can say in which of GDAL's layers such rows are.
    """
    if name not in LAYERS:
        raise refuse(
            f"An extract of OpenStreetMap has no rows that are {name.replace('_', ' ')} of themselves",
            "Name one of its layers: points, lines, multipolygons",
            file=str(data.path),
            key=f"layers.{name}.layer",
        )
    rows, shapes = [], []
    for layer in LAYERS[name]:
        with data.reading(layer), data.collection(layer) as collection:
            for feature in collection:
                row = dict(feature.properties)
                tags = _tags_of_row(row)
                if name not in _READERS or _READERS[name](tags) is not None:
                    rows.append(row)
                    shapes.append(shape_of(feature.geometry))
    return gpd.GeoDataFrame(pd.DataFrame(rows, dtype=object), geometry=shapes)


def _tags_of_rows(frame: pd.DataFrame) -> list[Tags]:
    names = [name for name in frame.columns if name != "geometry"]
    rows = frame[names].astype(object).to_dict("records")
    return [_tags_of_row(row) for row in rows]


def _tags_of_row(row: Mapping[str, object]) -> Tags:
    found: dict[str, str] = {}
    for column in TAG_COLUMNS:
        found |= tags_of(row.get(column))
    own = {
        str(key): value for key, value in row.items() if isinstance(value, str) and value.strip()
    }
    return found | own


def _building(tags: Tags) -> dict[str, object] | None:
    use = tags.get("building") or tags.get("building:part") or "no"
    if use == "no" or tags.get("location") == "underground":
        return None
    return {"kind": None if use == "yes" else use}


def _road(tags: Tags) -> dict[str, object] | None:
    if tags.get("highway", "footway") in NOT_DRIVEN or tags.get("area") == "yes":
        return None
    return {"speed_kmh": _speed(tags.get("maxspeed", "")), "width_m": _metres(tags, "width")}


def _speed(text: str) -> float | None:
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(mph|km/h|kmh)?", text.strip())
    if match is None:
        return None
    return float(match[1]) * (KMH_PER_MPH if match[2] == "mph" else 1.0)


def _screen(tags: Tags) -> dict[str, object] | None:
    is_tree = tags.get("natural") == "tree"
    kind = "tree" if is_tree else BARRIERS.get(tags.get("barrier", ""))
    if kind is None:
        return None
    looked_through = kind == "fence" and tags.get("fence_type") in OPEN_FENCES
    said = kind != "fence" or "fence_type" in tags
    return {
        "kind": kind,
        "height_m": _metres(tags, "height"),
        "width_m": _metres(tags, "diameter_crown" if is_tree else "width"),
        "opacity": 0.0 if looked_through else 1.0 if said else None,
    }


def _utility(tags: Tags) -> dict[str, object] | None:
    power, talk = tags.get("power"), tags.get("communication") or tags.get("telecom")
    if power in ("line", "minor_line"):
        return {"kind": "electric", "position": "overhead"}
    if power == "cable":
        over = tags.get("location") in ("overhead", "overground")
        return {"kind": "electric", "position": "overhead" if over else "buried"}
    if talk == "line":
        return {"kind": "telecom", "position": "overhead"}
    return None


def _metres(tags: Tags, key: str) -> str | None:
    """Give a length as it is written; one that is no number with a unit at most is not known."""
    text = tags.get(key, "").strip()
    plain = re.fullmatch(r"""\d+(\.\d+)?\s*(m|ft|')?|\d+'\s*\d+(\.\d+)?\"""", text)
    return text if plain else None


#: Columns in which a tag may stand that says what a row is, by contract; GDAL gives some keys one of their own.
_KEYS = {
    "buildings": ("building", "building:part", "building_part"),
    "roads": ("highway",),
    "existing_screens": ("barrier", "natural", *TAG_COLUMNS),
    "utilities": ("power", "communication", "telecom", *TAG_COLUMNS),
}
#: The columns that tags give, by contract.
_GIVEN = {
    "buildings": ("kind",),
    "roads": ("speed_kmh", "width_m"),
    "existing_screens": ("kind", "height_m", "width_m", "opacity"),
    "utilities": ("kind", "position"),
}
_READERS: dict[str, Callable[[Tags], dict[str, object] | None]] = {
    "buildings": _building,
    "roads": _road,
    "existing_screens": _screen,
    "utilities": _utility,
}
