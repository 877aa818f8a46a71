"""Points that can be found on the ground: marks, house corners, corners of the parcel."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.polygon import orient

from screenplan.contracts.called import house_names, with_article
from screenplan.site.compass import bearing_deg, compass_name
from screenplan.site.ownership import is_subject, subject_ground
from screenplan.site.steady import first_clockwise, natural_key

#: A change of direction of an outline that can be seen as a corner, degrees.
CORNER_DEG = 30.0
#: Edges of a house shorter than this make no corner that a tape is hooked to, metres.
SHORT_EDGE_M = 0.5
#: How much worse a kind of point is than a found mark: a pin may be lost or out of place.
TRUST = {"mark": 1.0, "house corner": 1.2, "parcel corner": 1.5}


@dataclass
class ControlPoint:
    """A point of known place from which tapes start; sheets and layers call it a tape point.

    Parameters
    ----------
    point_id : str
        Letter on the sheet.
    name : str
    kind : {"mark", "house corner", "parcel corner"}
    source_id : str
        Mark, building or parcel.
    group : str
        Points of one group move together when the map is fitted to measured distances; empty for
        those that stay with the rows.
    x, y : float
        Metres.
    """

    point_id: str
    name: str
    kind: str
    source_id: str
    group: str
    x: float
    y: float


def find_control_points(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    marks: gpd.GeoDataFrame | None = None,
) -> list[ControlPoint]:
    """List marks, corners of the subject's buildings, and corners of the subject, lettered.

    Buildings on other parcels are left out: their corners are not ours to walk to. Where the parcel is
    not known only marks are found.
    """
    subjects = list(parcels.loc[is_subject(parcels)].itertuples())
    found: list[ControlPoint] = []
    if marks is not None:
        for number, row in enumerate(marks.itertuples(), 1):
            name = _text(row, "name") or f"{_text(row, 'kind') or 'mark'} {number}"
            own = _text(row, "mark_id") or str(number)
            for xy in shapely.get_coordinates(row.geometry):
                found.append(ControlPoint("", name, "mark", own, "", *map(float, xy)))
    if buildings is not None and subjects:
        own_ground = subject_ground(parcels)
        several = sum(_on(own_ground, shape) for shape in buildings.geometry) > 1
        names = house_names(buildings)
        houses = [
            (_text(row, "building_id") or str(number), row)
            for number, row in enumerate(buildings.itertuples(), 1)
        ]
        for own, row in sorted(houses, key=lambda house: natural_key(house[0])):
            if not _on(own_ground, row.geometry):
                continue
            what = names.get(own) or f"{_text(row, 'kind') or 'house'} {own}"
            what = with_article(what) if several else "the house"
            for name, xy in _corners(row.geometry, SHORT_EDGE_M):
                found.append(
                    ControlPoint("", f"{name} corner of {what}", "house corner", own, own, *xy)
                )
    for subject in subjects:
        corners = _corners(subject.geometry, 0.0)
        if len(corners) < 2:
            # A round parcel has no corner: its outermost points, which must then be marked first.
            corners = _extremes(subject.geometry)
        own = str(subject.parcel_id)
        which = "the parcel" if len(subjects) == 1 else f"lot {own}"
        for name, xy in corners:
            found.append(
                ControlPoint("", f"{name} corner of {which}", "parcel corner", own, "", *xy)
            )
    for number, point in enumerate(found):
        point.point_id = letters(number)
    return found


def letters(number: int) -> str:
    """Count in letters: A, B to Z, then AA, AB and so on, for 0, 1 and so on."""
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def _on(subject: shapely.Geometry, shape: shapely.Geometry) -> bool:
    inside = shapely.intersection(subject, shape).area
    return bool(inside > 0.5 * shape.area)


def _text(row, name: str) -> str:
    value = getattr(row, name, None)
    return "" if value is None or pd.isna(value) else str(value)


def _corners(geometry: shapely.Geometry, short: float) -> list[tuple[str, tuple[float, float]]]:
    found = []
    centre = geometry.centroid
    for part in shapely.get_parts(geometry):
        xy = shapely.get_coordinates(orient(part).exterior)[:-1]
        # The letters go round from the north, wherever the file begins the ring.
        middle = shapely.get_coordinates(part.centroid)[0]
        xy = np.roll(xy, -first_clockwise(xy, middle), axis=0)
        back, ahead = xy - np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0) - xy
        turn = np.arctan2(
            back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0], (back * ahead).sum(axis=1)
        )
        long = np.minimum(np.hypot(*back.T), np.hypot(*ahead.T)) >= short
        for x, y in xy[(np.abs(np.degrees(turn)) >= CORNER_DEG) & long]:
            found.append((x, y))
    return _named(found, centre)


def _extremes(geometry: shapely.Geometry) -> list[tuple[str, tuple[float, float]]]:
    xy = shapely.get_coordinates(geometry)
    picked = {int(index) for index in (*xy.argmax(axis=0), *xy.argmin(axis=0))}
    return _named([tuple(xy[index]) for index in sorted(picked)], geometry.centroid)


def _named(found, centre) -> list[tuple[str, tuple[float, float]]]:
    names = [compass_name(bearing_deg(x - centre.x, y - centre.y)) for x, y in found]
    seen: dict[str, int] = {}
    result = []
    for name, (x, y) in zip(names, found, strict=True):
        seen[name] = seen.get(name, 0) + 1
        numbered = f"{name} {seen[name]}" if names.count(name) > 1 else name
        result.append((numbered, (float(x), float(y))))
    return result
