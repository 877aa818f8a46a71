"""Layers from what people without a GIS file have: a track, corners, courses, or just a length."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.commandline.answers import read_direction, read_line
from screenplan.ground.datum import WGS84, ground_plane
from screenplan.ground.errors import Problem, refuse
from screenplan.ground.frame import LocalFrame
from screenplan.ground.paths import check_reachable
from screenplan.ground.units import metres_per, parse_length
from screenplan.plan.tape import may_lie_at
from screenplan.site.loose import read_track
from screenplan.site.outline import outline_of, read_bearing, walk_traverse
from screenplan.site.point_columns import find_point_columns
from screenplan.site.point_lists import is_point_list, read_points
from screenplan.site.systems import find_system

#: A track whose ends are nearer than this walked round a parcel.
TRACK_CLOSES_M = 15.0
#: What a hand-held receiver's position is good for, common practice, no source.
TRACK_ACCURACY = "5 m"
#: A receiver's scatter turns a walked line to and fro: corners are looked for over this length, or
#: over this share of the way round where that is shorter.
TRACK_BASE_M = 15.0
TRACK_BASE_SHARE = 20.0


@dataclass
class Found:
    """What was made of a person's input.

    Parameters
    ----------
    layers : dict
        Sources of layers, as they stand in the plan.
    made : dict
        Layers that had to be made.
    chosen : dict
        Section: key: value for the plan.
    tape : dict
        The section tape of the plan, of a line that was measured; empty if there is none.
    say : list of str
        What to tell the person.
    notes : dict
        Sentences to stand above a key or a layer of the plan.
    problems : list of Problem
        What the person must say before the plan can be read.
    """

    layers: dict[str, dict] = field(default_factory=dict)
    made: dict[str, gpd.GeoDataFrame] = field(default_factory=dict)
    chosen: dict[str, dict] = field(default_factory=dict)
    tape: dict = field(default_factory=dict)
    say: list[str] = field(default_factory=list)
    notes: dict[str, list[str]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def from_track(found: Found, file: Path) -> None:
    """Take a walked track as the parcel if it closes, else as the line of the row."""
    line = read_track(file)
    frame = LocalFrame.around(line)
    flat = frame.bring_in(line)
    path = flat.geometry.iloc[0]
    points = shapely.get_coordinates(path)
    found.chosen["site"] = {"boundary_accuracy": TRACK_ACCURACY}
    gap = float(np.hypot(*(points[-1] - points[0])))
    if gap <= TRACK_CLOSES_M and len(points) > 3:
        outline = outline_of(points, file=str(file))
        found.made["parcels"] = _parcel(outline, frame.crs)
        base = round(min(TRACK_BASE_M, outline.length / TRACK_BASE_SHARE), 1)
        found.chosen["sides"] = {"base": f"{base:g} m"}
        found.say.append(
            f"The track closes within {{{gap:.1f} m}}: it is taken as the parcel's outline"
        )
    else:
        _take_line(found, path, frame.crs)
        found.say.append(
            f"The track's ends are {{{gap:.1f} m}} apart: it is taken as the line of the row"
        )
    found.say.append(
        f"A hand-held receiver is good for about {TRACK_ACCURACY}: the boundary setback is widened by as much. Measure again by tape before planting"
    )


def from_corners(found: Found, file: Path, place, unit: str, system: str | None = None) -> bool:
    """Take a list of corners as the parcel; tells whether it still needs a place on earth.

    Corners that are no degrees lie in a reference system if one is stated, else they are lengths from the first.
    """
    if is_point_list(file):
        return _from_points(found, file, place, unit, system)
    table = _read_csv(file)
    named = find_point_columns(list(table.columns))
    if named is None:
        raise refuse(
            f"its columns are {', '.join(table.columns)}",
            "Name the two columns lon and lat (degrees), or x and y (east and north)",
            file=str(file),
        )
    east, north, degrees = named
    points = np.column_stack([_numbers(table, east, file), _numbers(table, north, file)])
    if degrees:
        if (np.abs(points[:, 0]) > 180).any() or (np.abs(points[:, 1]) > 90).any():
            raise refuse(
                "lon and lat are not degrees",
                "Name the columns x and y if they are lengths",
                file=str(file),
            )
        ring = gpd.GeoDataFrame(
            {"parcel_id": ["1"]}, geometry=[outline_of(points, file=str(file))], crs=WGS84
        )
        found.made["parcels"] = ring
    else:
        _lay_corners(found, file, points, place, unit, system)
    found.say.append(f"The parcel has {len(points)} corners")
    return not degrees and system is None


def _from_points(found: Found, file: Path, place, unit: str, system: str | None) -> bool:
    """Take a surveyor's list of points, in its order round the parcel."""
    listed = read_points(file)
    points = shapely.get_coordinates(listed.points.geometry.to_numpy())
    _lay_corners(found, file, points, place, unit, system)
    order = "" if listed.has_header else ", its fields taken for number, north, east, height, code"
    found.say.append(
        f"The parcel has {len(points)} corners, in the order of the list{order}; a list with east before north "
        "gives a mirror image: name its columns in a first line then"
        if order
        else f"The parcel has {len(points)} corners, in the order of the list"
    )
    return system is None


def _lay_corners(
    found: Found, file: Path, points: np.ndarray, place, unit: str, system: str | None
) -> None:
    if system is not None:
        crs = find_system(system, {}, {}, key="--crs")
        found.made["parcels"] = _parcel(outline_of(points, file=str(file)), crs)
        return
    points = (points - points[0]) * metres_per(unit)
    found.made["parcels"] = _parcel(outline_of(points, file=str(file)), _system_at(place))


def from_courses(found: Found, file: Path, place, unit: str) -> None:
    """Walk a survey's courses round the parcel."""
    table = _read_csv(file)
    names = {name.strip().lower(): name for name in table.columns}
    if not {"bearing", "distance"} <= set(names):
        raise refuse(
            f"its columns are {', '.join(table.columns)}",
            "Name the two columns bearing and distance",
            file=str(file),
        )
    bearings = [
        read_bearing(text, file=str(file), row=row)
        for row, text in enumerate(table[names["bearing"]].astype(str), start=1)
    ]
    traverse = walk_traverse(
        bearings, _numbers(table, names["distance"], file) * metres_per(unit), file=str(file)
    )
    found.made["parcels"] = _parcel(outline_of(traverse.points), _system_at(place))
    found.say.append(f"The courses close within {{{traverse.misclosure_m:.3f} m}} on {{{traverse.length_m:.1f} m}}; "
                     "the rest was shared out over them by length")  # fmt: skip


def from_length(found: Found, length: str, place, bearing: str | None) -> None:
    """Take just a length as a straight line; it has a place on earth only with a direction too."""
    found.tape = {"length": read_line(length)}
    if place is not None and bearing is None:
        raise refuse(
            "--at is given without --bearing, and a row lies somewhere only with both",
            "Give --bearing too, or leave --at out",
            key="--bearing",
        )
    what = f"The row runs {{{parse_length(length):.2f} m}} straight"
    lacks = "no positions for a receiver or a map, no sun and no light"
    if bearing is None:
        found.say.append(f"{what}; it is not known where, and in which direction: no bearing, {lacks}. "
                         "Give --at LON LAT and --bearing DEGREES to place it")  # fmt: skip
    else:
        found.tape["bearing"] = read_direction(bearing)
        angle = f"at {read_bearing(str(found.tape['bearing'])):.1f}° from true north"
        if place is None:
            found.say.append(f"{what}, {angle}; it is not known where: {lacks}. Give --at LON LAT to place it")  # fmt: skip
        else:
            _system_at(place)  # refuses what is no place
            found.tape["at"] = list(place)
            found.say.append(f"{what} from the place given, {angle}")
    found.say.append(_NO_OUTLINE)


_NO_OUTLINE = (
    "The parcel's outline is not known: nothing is drawn for it, and no distance to it is judged"
)


def _take_line(found: Found, line, crs) -> None:
    found.made["planting_line"] = gpd.GeoDataFrame({"line_id": ["1"]}, geometry=[line], crs=crs)
    found.say.append(_NO_OUTLINE)


def _parcel(outline, crs) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"parcel_id": ["1"]}, geometry=[outline], crs=crs)


def _system_at(place):
    """Give the system of a site at a place, or of one that has none on earth."""
    if place is None:
        return ground_plane(north=True)
    lon, lat = place
    if not may_lie_at(lon, lat):
        raise refuse(
            f"--at {lon:g} {lat:g} is no place for a garden",
            "Give longitude, then latitude, in degrees",
        )
    return LocalFrame.around(gpd.GeoDataFrame(geometry=[shapely.Point(lon, lat)], crs=WGS84)).crs


def _read_csv(file: Path) -> pd.DataFrame:
    check_reachable(file)
    reading = {"dtype": str, "skipinitialspace": True, "encoding": "utf-8-sig", "comment": "#"}
    try:
        head = pd.read_csv(file, nrows=0, **reading).columns
        if len(head) == 1 and ";" in head[0]:
            # As spreadsheets write it where the comma is the decimal mark.
            table = pd.read_csv(file, sep=";", **reading)
            return table.apply(lambda column: column.str.replace(",", ".", regex=False))
        return pd.read_csv(file, **reading)
    except FileNotFoundError:
        raise refuse("there is no such file", "Check the path", file=str(file)) from None
    except (ValueError, OSError) as error:
        raise refuse(
            f"it cannot be read as CSV ({str(error).strip()})",
            "Write a head line with the column names and one row a corner",
            file=str(file),
        ) from None


def _numbers(table: pd.DataFrame, name: str, file: Path) -> np.ndarray:
    values = pd.to_numeric(table[name], errors="coerce").to_numpy(float)
    bad = np.flatnonzero(~np.isfinite(values)) + 1
    if len(bad):
        raise refuse(
            f"column {name} holds '{table[name].iloc[bad[0] - 1]}', which is no number",
            "Write plain numbers with a decimal point",
            file=str(file),
            rows=[int(row) for row in bad],
        )
    return values
