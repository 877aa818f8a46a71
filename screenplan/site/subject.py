"""Which parcel is planned: by its id, by a point in it, or the only one."""

from __future__ import annotations

import difflib
import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from screenplan.ground.datum import WGS84, find_transformation, knows_place
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.texts import quoted
from screenplan.site.columns import to_text
from screenplan.site.composed import cells_of
from screenplan.site.plausible import refuse_misfit

ID_KEY, POINT_KEY, IDS_KEY = "subject.id", "subject.point", "subject.ids"
#: Longitude and latitude in degrees, as a web map shows a point.
POINT_CRS = WGS84
#: The contract's column that marks the subject.
MARK = "is_subject"
#: So many ids are shown when none, or an unknown one, was given.
_SHOWN = 5
#: The box read around a point, in units of its CRS: rows that meet it are few.
_NEAR_DEG, _NEAR_UNITS = 1e-6, 0.1


def choose_rows(
    layer,
    id_column: str | None,
    *,
    subject_id: str | None = None,
    subject_point: tuple[float, float] | None = None,
    point_crs: CRS | str | None = None,
) -> tuple[gpd.GeoDataFrame, shapely.Point | None]:
    """Find the subject's row in the parcels as they were read.

    Parameters
    ----------
    layer : FileLayer or FrameLayer
        The parcels; their CRS is known.
    id_column : str or None
        The file's column of identifiers, None if it has none.
    subject_id : str, optional
        An identifier.
    subject_point : tuple of float, optional
        A point in the parcel: longitude, latitude, or x, y in ``point_crs``.
    point_crs : CRS or str, optional
        The point's CRS; ``"parcels"`` is that of the parcels. WGS 84 in degrees by default.

    Returns
    -------
    rows : GeoDataFrame
        One row; several only if they are copies of one geometry.
    point : Point or None
        The point in the parcels' CRS.

    Raises
    ------
    InputError
        If no parcel, or more than one, is meant.
    """
    if layer.rows == 0:
        raise refuse(
            "The layer of parcels is empty", "Give a layer that holds the parcel to be planned",
            **layer.where,
        )  # fmt: skip
    if subject_id is not None and subject_point is not None:
        raise refuse(
            "The parcel is given by its id and by a point", "Keep the one that you trust",
            key=ID_KEY,
        )  # fmt: skip
    if subject_point is not None:
        point = _place(layer, subject_point, point_crs)
        return _choose_by_point(layer, id_column, point), point
    if subject_id is not None:
        return _choose_by_id(layer, id_column, to_text(subject_id)), None
    marked = _find_marked(layer) if layer.rows > 1 else None
    if marked is not None:
        return layer.take([marked]), None
    if layer.rows > 1:
        some = _show_ids(layer, id_column)
        raise refuse(
            f"The layer holds {layer.rows} parcels, and none is chosen",
            f"Give the parcel's id{some}, or a point in it",
            **layer.where,
            key=ID_KEY,
        )
    return layer.read(), None


def choose_each(layer, id_column: str | None, ids: Sequence[str]) -> list[gpd.GeoDataFrame]:
    """Find the rows of several lots that are planned together, in the order of their identifiers; see `choose_rows`.

    Raises
    ------
    InputError
        With each identifier that is not known, or that means several parcels.
    """
    found, problems = [], []
    for wanted in ids:
        try:
            found.append(choose_rows(layer, id_column, subject_id=wanted)[0])
        except InputError as error:
            problems += [
                replace(problem, key=IDS_KEY) if problem.key == ID_KEY else problem
                for problem in error.problems
            ]
    if problems:
        raise InputError(problems)
    return found


def _find_marked(layer) -> int | None:
    """Row of the one parcel that is marked as the subject already, as a step's output is."""
    if MARK not in layer.columns:
        return None
    marks = layer.values(MARK)
    rows = marks.index[marks.map(lambda mark: mark is not None and mark in (True, 1))]
    return int(rows[0]) if len(rows) == 1 else None


def _choose_by_id(layer, id_column: str | None, wanted: str | None) -> gpd.GeoDataFrame:
    where = {**layer.where, "key": ID_KEY}
    if id_column is None:
        raise refuse(
            f"The parcels have no column of ids, so parcel '{wanted}' cannot be found",
            "Name the column in layers.parcels.columns.parcel_id; the columns are "
            f"{', '.join(layer.columns) or 'none'}",
            **where,
        )
    found = layer.find(id_column, wanted or "")
    if found.empty:
        ids = _texts(layer.values(id_column))
        known = [parcel_id for parcel_id in dict.fromkeys(ids) if parcel_id is not None]
        lower = {parcel_id.lower(): parcel_id for parcel_id in known}
        close = difflib.get_close_matches((wanted or "").lower(), lower, n=_SHOWN, cutoff=0.5)
        names = [lower[match] for match in close]
        raise refuse(
            f"There is no parcel {quoted(wanted)} among {len(ids)}",
            f"Did you mean {' or '.join(names)}?" if names
            else f"Ids look like {', '.join(known[:_SHOWN])}" if known
            else f"The column {id_column} is empty; name another",
            **where,
        )  # fmt: skip
    if len(found) > 1 and not _are_copies(found):
        raise refuse(
            f"The id '{wanted}' stands for {len(found)} parcels of different outline",
            "Choose the parcel by a point in it (subject.point)"
            if knows_place(layer.crs)
            else "Give each parcel an id of its own",
            rows=found.index.tolist(),
            **where,
        )
    return found


def _choose_by_point(layer, id_column: str | None, point: shapely.Point) -> gpd.GeoDataFrame:
    half = _NEAR_DEG if layer.crs.is_geographic else _NEAR_UNITS
    near = layer.read([(point.x - half, point.y - half, point.x + half, point.y + half)])
    shapes = np.asarray(near.geometry.array, dtype=object)
    # An invalid outline is mended later; a point in it is found all the same.
    solid = shapely.make_valid(shapes, method="structure", keep_collapsed=False)
    hit = near[shapely.intersects(solid, point)]
    where = {**layer.where, "key": POINT_KEY}
    if hit.empty:
        refuse_misfit(layer, layer.bounds)
        raise refuse(
            f"No parcel holds the point {point.x:.8g}, {point.y:.8g} (in '{layer.crs.name}')",
            f"Give a point inside the parcel; the layer spans {_say_bounds(layer.bounds)}",
            **where,
        )
    if len(hit) > 1 and not _are_copies(hit):
        names = ids_of(hit, id_column)
        raise refuse(
            f"The point lies in {len(hit)} parcels: {', '.join(names)}",
            "Choose by id, or a point that lies in one of them only",
            rows=hit.index.tolist(),
            **where,
        )
    return hit


def ids_of(frame: pd.DataFrame, id_column: str | None) -> list[str]:
    """Write identifiers as text; a row without one is called by its number."""
    ids = [None] * len(frame) if id_column is None else _texts(cells_of(frame, id_column))
    return [known or f"row {row}" for known, row in zip(ids, frame.index, strict=True)]


def _place(layer, xy: tuple[float, float], point_crs: CRS | str | None) -> shapely.Point:
    """Put the point into the parcels' CRS."""
    try:
        x, y = (float(value) for value in xy)
    except (TypeError, ValueError):
        x = y = math.nan
    if not (math.isfinite(x) and math.isfinite(y)):
        raise refuse(
            f"{quoted(xy)} is not a point",
            "Give two numbers: longitude and latitude",
            key=POINT_KEY,
        )
    if point_crs == "parcels":
        return shapely.Point(x, y)
    if not knows_place(layer.crs):
        raise refuse(
            f"The datum of the parcels' CRS '{layer.crs.name}' is not known, so no place on earth can be "
            "found in it",
            f"Choose the parcel by its id, or state the CRS in which the parcels are ({layer.crs_key or 'set_crs'})",
            key=POINT_KEY,
            kind="system",
        )
    try:
        crs = CRS.from_user_input(POINT_CRS if point_crs is None else point_crs)
    except CRSError:
        raise refuse(
            f"'{point_crs}' is not a CRS",
            'Write a code such as "EPSG:4326"',
            key=POINT_KEY,
            kind="system",
        ) from None
    if crs.is_geographic and abs(y) > 90.0:
        swapped = abs(x) <= 90.0 and abs(y) <= 180.0
        raise refuse(
            f"{y:g} is not a latitude",
            "Write the longitude first, then the latitude"
            if swapped
            else "Give longitude and latitude in degrees, or say in which CRS the point is",
            key=POINT_KEY,
            kind="system",
        )
    area = (x - 0.02, y - 0.02, x + 0.02, y + 0.02) if crs.is_geographic else None
    try:
        way = find_transformation(crs, layer.crs, area=area)
    except InputError as error:
        raise refuse(
            error.problems[0].what, "Choose the parcel by its id instead", key=POINT_KEY
        ) from None
    return shapely.Point(*way.transformer.transform(x, y))


def _texts(ids: pd.Series) -> pd.Series:
    """Write identifiers as text, None for those that are missing: `map` would make NaN of them."""
    return pd.Series([to_text(value) for value in ids], index=ids.index, dtype=object)


def _are_copies(frame: gpd.GeoDataFrame) -> bool:
    shapes = shapely.normalize(np.asarray(frame.geometry.array, dtype=object))
    return bool(shapely.equals_identical(shapes, shapes[0]).all())


def _show_ids(layer, id_column: str | None) -> str:
    if id_column is None:
        return ""
    named = (name for name in _texts(layer.values(id_column)) if name)
    some = list(itertools.islice(named, _SHOWN))
    return f" (such as {', '.join(some)})" if some else ""


def _say_bounds(bounds) -> str:
    return "nothing" if bounds is None else (
        f"{bounds[0]:.8g} to {bounds[2]:.8g} and {bounds[1]:.8g} to {bounds[3]:.8g}"
    )  # fmt: skip
