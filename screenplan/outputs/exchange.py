"""The stake-out for a hand-held receiver (GPX), a globe viewer (KML) and survey software (DXF, CSV).

GPX and KML are in WGS 84. The drawing and the list of points are in metres of the site's local frame and,
where the parcels are in a projected system, in that too. GPX and KML are written by GDAL's own drivers.
"""

from __future__ import annotations

import csv
import html
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyogrio import raw
from pyproj import CRS

from screenplan.contracts import BASE_LINES, LOCATE_REQUEST, PEGS, STAKES, TAPE_POINTS
from screenplan.contracts.tables import has_rows
from screenplan.ground.datum import horizontal
from screenplan.ground.errors import refuse
from screenplan.ground.frame import SendOut
from screenplan.ground.texts import clean_text
from screenplan.outputs.cad import DRAWN, draw, unit_code, write_dxf
from screenplan.outputs.conform import conform
from screenplan.outputs.geojson import WGS84
from screenplan.outputs.globe import write_kml_layers
from screenplan.outputs.tables import cell_text, write_csv
from screenplan.outputs.vector import explain_failure

PHONE_NOTE = (
    "A phone or hand-held receiver finds the place to several metres, worse under trees and beside "
    "walls; a tape from the pegs sets a plant to two centimetres. Walk there by the receiver, plant by "
    "the tape. Have buried lines located before any digging."
)
#: Layers that are points or lines of the stake-out, also written as CSV without their geometry.
SHEETS = (TAPE_POINTS, PEGS, BASE_LINES, STAKES)
#: The same in the parcels' own system: its head is the customary order of surveyors' lists.
OWN_COLUMNS = ("Point", "Northing", "Easting", "Elevation", "Description")
OWN_DRAWING, OWN_LIST = "stakeout_parcel_system.dxf", "points_parcel_system.csv"

#: The outline to hand in when buried lines are asked about.
REQUEST_FILE = "locate_request.kml"

#: What each file of the stake-out holds, and what it does not keep.
STAKEOUT_FILES = {
    "points.csv": (
        "Stakes, pegs and tape points in metres of the site's local frame, and in longitude and latitude",
        ("Lines and areas.",),
    ),
    OWN_LIST: (
        "The same points in the parcels' own system and its unit, heights too, in the order point, northing, easting, elevation, description; only where that system is projected",
        ("Lines and areas.", "How a tape finds a point.", "The reference system: the first line of the drawing beside it names it.", "What is nearer than a tenth of a millimetre."),
    ),
    "stakeout.dxf": (
        "Parcel, rows, base lines, fence and no-plant zones as lines, stakes, pegs and tape points as points at the height of the ground with their numbers beside them, on layers with colours; metres of the local frame",
        ("The reference system, which a comment on top names.", "How a tape finds a point.", "Everything else that a layer tells of a row."),
    ),
    OWN_DRAWING: (
        "The same drawing in the parcels' own system and its unit; only where that system is projected",
        ("The reference system, which a comment on top names.", "How a tape finds a point.", "Everything else that a layer tells of a row."),
    ),
    "stakeout.gpx": (
        "Points as waypoints, with how a tape finds each",
        ("Lines and areas.", "Heights.", "Control characters become spaces.", "What is nearer than about a tenth of a millimetre."),
    ),
    REQUEST_FILE: (
        "Ground about which the owners of buried lines are asked, as areas, with what is broken and the days",
        ("Control characters become spaces.", "What is nearer than about a tenth of a millimetre."),
    ),
    "stakeout.kml": (
        "Points as placemarks, with how a tape finds each",
        ("Lines and areas.", "Heights.", "Control characters become spaces.", "What is nearer than about a tenth of a millimetre."),
    ),
}  # fmt: skip

#: Degrees within which a place is the same after it was written.
SAME_PLACE = 1e-7
#: Columns of the list of points; degrees have 9 decimals (0.1 mm), metres 4.
POINT_COLUMNS = ("name", "kind", "x_m", "y_m", "ground_m", "longitude", "latitude", "says")


def write_exchange(
    layers: Mapping[str, pd.DataFrame],
    folder: str | Path,
    *,
    send_out: SendOut | None,
    frame_note: str,
    own_crs: CRS | None = None,
) -> dict[Path, dict[str, int]]:
    """Write the stake-out in every exchange format.

    Parameters
    ----------
    layers : mapping
        Layers of a run in the local frame.
    folder : path
        It must exist.
    send_out : callable or None
        ``send_out(layer, crs)``, a `LocalFrame.send_out`; None if nobody said where on earth the site
        lies: then no GPX and no KML is written.
    frame_note : str
        What the local frame is, for formats that cannot say it.
    own_crs : pyproj.CRS, optional
        The parcels' own system; if it is projected, drawing and list are written in it too.

    Returns
    -------
    dict
        Rows by layer, for each file written.
    """
    folder = Path(folder)
    if "stakes" not in layers:
        return {}
    written: dict[Path, dict[str, int]] = {}
    for contract in SHEETS:
        path = folder / f"{contract.name}.csv"
        table = pd.DataFrame(layers[contract.name].drop(columns="geometry"))
        written[path] = {contract.name: write_csv(table, path, replace(contract, geometry=()))}
    points = stake_points(layers, send_out)
    path = folder / "points.csv"
    written[path] = {"points": _write_list(points, path, placed=send_out is not None)}
    placed = (("stakeout.gpx", write_gpx), ("stakeout.kml", write_kml))
    for name, write in placed if send_out and len(points) else ():
        write(points, folder / name)
        written[folder / name] = {"points": len(points)}
    asked = layers.get(LOCATE_REQUEST.name)
    if send_out and has_rows(asked):
        path = folder / REQUEST_FILE
        write_kml_layers([conform(send_out(asked, WGS84), LOCATE_REQUEST)], path)
        written[path] = {LOCATE_REQUEST.name: len(asked)}
    path = folder / "stakeout.dxf"
    written[path] = {"entities": _write_drawing(layers, path, frame_note)}
    if send_out is None or own_crs is None:
        return written
    own = horizontal(own_crs)
    unit = unit_of(own)
    if unit is None or unit_code(unit) is None:
        return written
    moved = {
        name: send_out(layer, own) if isinstance(layer, gpd.GeoDataFrame) else layer
        for name, layer in layers.items()
        if name in DRAWN
    }
    path = folder / OWN_LIST
    written[path] = {"points": _write_own_list(stake_points(moved, None), path, unit)}
    path = folder / OWN_DRAWING
    note = f"Coordinates are those of the parcels: {own.name}, in {own.axis_info[0].unit_name}"
    written[path] = {"entities": _write_drawing(moved, path, note, unit)}
    return written


def unit_of(crs: CRS) -> float | None:
    """Metres in a unit of a projected system; None of one in degrees, or whose axes differ."""
    units = {axis.unit_conversion_factor for axis in crs.axis_info}
    return units.pop() if crs.is_projected and len(units) == 1 else None


def _write_drawing(layers, path: Path, note: str, metres_in_unit: float = 1.0) -> int:
    drawing = draw(layers, metres_in_unit)
    notes = (note, "Stakes, pegs and tape points have their numbers on layers of their own. " + PHONE_NOTE)  # fmt: skip
    write_dxf(drawing, path, notes, metres_in_unit)
    return drawing.entities


def stake_points(layers: Mapping[str, pd.DataFrame], send_out: SendOut | None) -> gpd.GeoDataFrame:
    """Gather tape points, pegs and stakes with their names and how a tape finds them.

    They are in WGS 84, or where they are without ``send_out``.
    """
    parts = []
    for layer, kind, name, say in (
        ("tape_points", "tape point", "point_id", _say_point),
        ("pegs", "peg", "peg_id", _say_peg),
        ("stakes", "stake", "stake_id", _say_stake),
    ):
        own = layers[layer]
        if layer == "tape_points":
            own = own.loc[own["used"].to_numpy(bool)]
        part = gpd.GeoDataFrame(
            {
                "name": own[name].astype(str).to_numpy(),
                "kind": kind,
                "says": [say(row) for row in own.to_dict("records")],
            }
            | {column: own[column].to_numpy(float) for column in ("x_m", "y_m", "ground_m")},
            geometry=own.geometry.to_numpy(),
            crs=own.crs,
        )
        parts.append(part)
    points = gpd.GeoDataFrame(pd.concat(parts, ignore_index=True))
    return send_out(points, WGS84) if send_out else points


def write_gpx(points: gpd.GeoDataFrame, path: str | Path) -> None:
    """Write points as waypoints of a GPX file."""
    layer = gpd.GeoDataFrame(
        {
            "name": [clean_text(name) for name in points["name"]],
            "cmt": PHONE_NOTE,
            "desc": [clean_text(text) for text in points["says"]],
            "type": points["kind"].to_numpy(),
        },
        geometry=points.geometry.to_numpy(),
        crs=WGS84,
    )
    _write(layer, path, driver="GPX", layer="waypoints")


def write_kml(points: gpd.GeoDataFrame, path: str | Path) -> None:
    """Write points as placemarks of a KML file."""
    layer = gpd.GeoDataFrame(
        {
            "Name": [clean_text(name) for name in points["name"]],
            "Description": [
                # Viewers read a description as HTML.
                html.escape(clean_text(f"{kind}: {says}. {PHONE_NOTE}"), quote=False)
                for kind, says in zip(points["kind"], points["says"], strict=True)
            ],
        },
        geometry=points.geometry.to_numpy(),
        crs=WGS84,
    )
    _write(layer, path, driver="KML", layer="stakes")


def _write(table: gpd.GeoDataFrame, path: str | Path, *, driver: str, **options) -> None:
    path = Path(path)
    with explain_failure(path):
        path.unlink(missing_ok=True)
        texts = table.drop(columns=table.geometry.name)
        kinds = set(table.geometry.geom_type)
        raw.write(
            path,
            shapely.to_wkb(table.geometry.to_numpy()),
            field_data=[texts[name].to_numpy(object) for name in texts],
            fields=list(texts),
            geometry_type=kinds.pop() if len(kinds) == 1 else "Unknown",
            crs=table.crs.to_wkt(),
            driver=driver,
            **options,
        )
        _read_back(table, texts, path, options["layer"])


def _read_back(table: gpd.GeoDataFrame, texts: pd.DataFrame, path: Path, layer: str) -> None:
    """Refuse a file that does not hold what was written: some versions of GDAL drop columns in silence."""
    # A date that is missing has no unit, which numpy no longer takes: as texts they have none to lack.
    meta, _, shapes, fields = raw.read(path, layer=layer, datetime_as_string=True)
    named = dict(zip((name.lower() for name in meta["fields"]), fields, strict=True))
    lacking = []
    if len(shapes) != len(table):
        lacking.append(f"{len(shapes)} of {len(table)} rows")
    else:
        for name in texts:
            held = named.get(name.lower(), np.full(len(table), None, object))
            if list(map(_words, held)) != list(map(_words, texts[name])):
                lacking.append(f"not the column {name} of every row")
        apart = shapely.hausdorff_distance(shapely.from_wkb(shapes), table.geometry.to_numpy())
        if not (apart <= SAME_PLACE).all():
            lacking.append("not every place")
    if lacking:
        raise refuse(
            f"What was written did not arrive: it holds {', '.join(lacking)}",
            "Update the Python package pyogrio, and run again",
            file=path.name,
        )


def _words(text: object) -> str:
    """Give a text as formats keep it: spaces at its ends and doubled ones may be lost, none is empty."""
    return " ".join(str(text).split()) if isinstance(text, str) else ""


def _write_own_list(points: gpd.GeoDataFrame, path: Path, metres_in_unit: float) -> int:
    """Write names and coordinates in the parcels' own system, heights in its unit too."""
    with explain_failure(path), path.open("w", encoding="utf-8", newline="") as sink:
        writer = csv.writer(sink)
        writer.writerow(OWN_COLUMNS)
        for row, shape in zip(points.to_dict("records"), points.geometry, strict=True):
            figures = (shape.y, shape.x, row["ground_m"] / metres_in_unit)
            name, kind = cell_text(row["name"]), row["kind"].upper()
            writer.writerow([name, *(f"{figure:.4f}" for figure in figures), kind])
    return len(points)


def _write_list(points: gpd.GeoDataFrame, path: Path, *, placed: bool) -> int:
    """Write names, coordinates in the local frame and in WGS 84, and how a tape finds each point.

    Without a place on earth longitude and latitude are empty.
    """
    with explain_failure(path), path.open("w", encoding="utf-8", newline="") as sink:
        writer = csv.writer(sink)
        writer.writerow(POINT_COLUMNS)
        for row, shape in zip(points.to_dict("records"), points.geometry, strict=True):
            metres = [f"{row[name]:.4f}" for name in ("x_m", "y_m", "ground_m")]
            degrees = [f"{shape.x:.9f}", f"{shape.y:.9f}"] if placed else ["", ""]
            name, kind, says = (cell_text(row[key]) for key in ("name", "kind", "says"))
            writer.writerow([name, kind, *metres, *degrees, says])
    return len(points)


def _say_point(row) -> str:
    return row["name"]


def _say_peg(row) -> str:
    if row["method"] == "own end":
        return "an end of the line that was given"
    if row["method"] == "instrument":
        return "no tape reaches it: set it by an instrument from its coordinates"
    if row["method"] == "offset":
        off = "" if row["offset_m"] == 0 else f", {row['offset_m']:.2f} m to the {row['side']}"
        return f"{row['along_m']:.2f} m from {row['point_a']} towards {row['point_b']} (level){off}"
    return (
        f"{row['tape_a_m']:.2f} m from {row['point_a']} and {row['tape_b_m']:.2f} m from "
        f"{row['point_b']} (level), on the {row['side']} seen from {row['point_a']} to {row['point_b']}"
    )


def _say_stake(row) -> str:
    off = "" if row["offset_m"] == 0 else f", {row['offset_m']:.2f} m to the {row['offset_side']}"
    return f"{row['along_m']:.2f} m along {row['base_id']} from its zero peg (level){off}: {row['mark']}"
