"""Texts that a reader would follow to other places, or of which it would read only a part.

GDAL fetches the reference system that a GeoJSON file links to, opens what a virtual data set names,
and passes over members of a collection that are no features. All of this is looked at before.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

from screenplan.ground.errors import refuse

#: Drivers of JSON texts, and of XML texts by their outermost element.
JSON_DRIVERS = ("GeoJSON", "GeoJSONSeq", "ESRIJSON", "TopoJSON", "JSONFG")
XML_DRIVERS = {"kml": ("KML",), "gpx": ("GPX",)}
#: Outermost elements of texts that only say where data lies.
_POINTERS = (
    "ogrvrtdatasource",
    "vrtdataset",
    "gdal_wms",
    "gdal_wmts",
    "ogrwfsdatasource",
    "wcs_gdal",
)
#: Larger texts are not parsed as a whole unless there is a reason.
LARGE_TEXT = 64 * 1024 * 1024
#: Where a text's outermost element stands.
_HEAD = 65_536
_ROOT = re.compile(rb"<([A-Za-z_][\w.-]*:)?([A-Za-z_][\w.-]*)")
_PROLOGUE = re.compile(rb"<\?.*?\?>|<!--.*?-->|<!DOCTYPE[^\[>]*(\[.*?\])?\s*>", re.S)
#: Letters written as numbers could hide a key's name.
_HIDDEN = re.compile(rb"\\u00[2-7][0-9a-fA-F]")
_LINK = re.compile(rb'"crs"\s*:\s*\{[^{}]*(\{[^{}]*\})?[^{}]*\}', re.S)
_MEND = "Fetch or export the file again"


def check_json(path: Path, file: str, *, whole: bool = False) -> int | None:
    """Refuse a JSON text that is broken or links elsewhere; count its features.

    Parameters
    ----------
    path : Path
        The text.
    file : str
        Its name for messages.
    whole : bool
        Parse it however large it is. Otherwise features of one above `LARGE_TEXT` are counted by
        their mark, which a text among the attributes may bear too.

    Returns
    -------
    int or None
        Features that its reader must find; None where the text does not say.

    Raises
    ------
    InputError
        If it is no JSON, an item of its features is none, or its reference system is a link.
    """
    content = path.read_bytes()
    if not whole and len(content) > LARGE_TEXT and not _HIDDEN.search(content):
        for found in _LINK.finditer(content):
            if re.search(rb'"(href|link|url)"', found[0], re.IGNORECASE):
                raise _refuse_link(file)
        return content.count(b'"Feature"') or None
    parsed = _parse(content, file)
    if not isinstance(parsed, dict):
        return None
    crs = parsed.get("crs")
    if isinstance(crs, dict) and (
        str(crs.get("type")).lower() not in ("name", "epsg", "ogc") or "href" in str(crs)
    ):
        raise _refuse_link(file)
    features = parsed.get("features")
    if parsed.get("type") != "FeatureCollection" or not isinstance(features, list):
        return len(features) if isinstance(features, list) else None
    wrong = [
        row
        for row, feature in enumerate(features, start=1)
        if not (isinstance(feature, dict) and feature.get("type") == "Feature")
    ]
    if wrong:
        raise refuse(
            'These items of \'features\' are none: each needs "type": "Feature"',
            "Correct or delete them",
            file=file,
            rows=wrong,
        )
    return len(features)


def _parse(content: bytes, file: str):
    """Parse one JSON text; of a sequence of texts, one a line, nothing but their form is kept."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        number = content[: error.start].count(b"\n") + 1
        raise refuse(
            f"The file cannot be read as vector data (line {number} is not UTF-8 text)",
            f"Save it as UTF-8, or {_MEND[0].lower()}{_MEND[1:]}",
            file=file,
        ) from None
    lines = [line for line in re.split(r"[\x1e\n]", text) if line.strip()]
    try:
        if len(lines) > 1 and _is_whole(lines[0]) and _is_whole(lines[1]):
            for line in lines:
                json.loads(line)
            return None
        return json.loads(text.lstrip("\x1e"))
    except json.JSONDecodeError as error:
        reason = f"JSON: {error.msg[0].lower()}{error.msg[1:]}, line {error.lineno}, column {error.colno}"
    except (ValueError, RecursionError):
        reason = "JSON: a number of too many digits, or lists nested too deep"
    raise refuse(f"The file cannot be read as vector data ({reason})", _MEND, file=file)


def _is_whole(line: str) -> bool:
    try:
        return isinstance(json.loads(line), dict)
    except (ValueError, RecursionError):
        return False


def _refuse_link(file: str):
    return refuse(
        "The reference system is a link to another place, and links are not followed",
        "Save the layer with the CRS itself, such as by its EPSG code",
        file=file,
    )


def check_xml(head: bytes, file: str) -> tuple[str, ...]:
    """Name the drivers of an XML text by its outermost element; refuse one that only points elsewhere."""
    root = _ROOT.search(_PROLOGUE.sub(b"", head[:_HEAD]))
    name = root[2].decode("ascii").lower() if root else ""
    if name in _POINTERS or "capabilities" in name:
        raise refuse(
            "The file holds no data, it only says where they lie",
            "Give the file in which the data are, or export them into one",
            file=file,
        )
    return XML_DRIVERS.get(name, ("GML",))


def check_tab(path: Path, file: str) -> None:
    """Refuse a MapInfo table that is made of others."""
    text = path.read_bytes()[:_HEAD]
    if re.search(rb"create\s+view|open\s+table|isseamless.{0,9}true|type\s+(linked|seamless)", text, re.IGNORECASE | re.S):  # fmt: skip
        raise refuse(
            "The file holds no data, it only says where they lie",
            "Give the table in which the data are, or export them into a file",
            file=file,
        )
