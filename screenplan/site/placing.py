"""Rows brought into the frame of a site: read near the subject, placed, mended, their columns made the contract's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import INPUTS, PARCELS
from screenplan.ground.datum import Transformation
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Options
from screenplan.site.buildings import leave_out_floorless
from screenplan.site.columns import (
    check_mapping,
    check_units,
    convert_columns,
    fill_defaults,
)
from screenplan.site.noting import Noting
from screenplan.site.repair import Findings, flatten, mend
from screenplan.site.shaping import kept, with_shapes
from screenplan.site.sources import LayerSource
from screenplan.site.wings import merge_parts

#: A layer with nothing nearer to the subject is about another place.
ELSEWHERE_M = 2000.0


class Placing(Noting):
    """Places rows; holds what every layer needs to know.

    Parameters
    ----------
    layers : mapping of str to a layer
        Opened, by the contract's name.
    named : mapping of str to LayerSource
        How the user calls their columns.
    plan : Options
    frame : LocalFrame, optional
    warn : bool, optional
        Whether what is only told is looked for where that takes long.
    """

    #: The ground that is planned.
    subject: shapely.Geometry

    def __init__(
        self, layers, named, plan: Options, frame: LocalFrame | None = None, *, warn: bool = True
    ):
        super().__init__()
        self.layers, self.named = layers, named
        self.chosen, self.about = plan.subject, plan.site
        self.us = plan.plan.units == "us"
        self._laid, self.warn = frame, warn

    @property
    def frame(self) -> LocalFrame:
        """The frame into which all is read; it is given, or laid before the first layer."""
        assert self._laid is not None
        return self._laid

    def _way_from(self, source) -> Transformation:
        """Choose the change of datum of a layer."""
        tolerance = self.about.most_datum
        return self.frame.transformation_from(source.crs, tolerance_m=tolerance, **source.where)

    def _box(self, reach_m: float) -> tuple[float, float, float, float]:
        """Give the box that reaches so far beyond the subject."""
        west, south, east, north = self.subject.bounds
        return west - reach_m, south - reach_m, east + reach_m, north + reach_m

    def _read_near(self, source, way: Transformation, reach_m: float | None = None):
        reach = self.about.reach if reach_m is None else reach_m
        return source.read(self.frame.boxes_out(self._box(reach), way))

    def _distances(self, frame: gpd.GeoDataFrame) -> np.ndarray:
        """Distances of rows from the subject, (rows,)."""
        return shapely.distance(np.asarray(frame.geometry.array, dtype=object), self.subject)

    def _is_near(self, frame: gpd.GeoDataFrame) -> np.ndarray:
        """Tell which rows are within reach of the subject, (rows,)."""
        shapes, subject = np.asarray(frame.geometry.array, dtype=object), self.subject.bounds
        # What lies within reach with its whole box needs no closer look.
        low, high = np.split(shapely.bounds(shapes).reshape(-1, 4), 2, axis=1)
        across = np.maximum(high - subject[:2], subject[2:] - low)
        near = np.hypot(*across.T) <= self.about.reach
        near[~near] = shapely.distance(shapes[~near], self.subject) <= self.about.reach
        return near

    def _turn(self, source, way: Transformation):
        """Turn a list of points without a header whose fields are east and north, where it lies here only so."""
        if not getattr(source, "is_turned_easily", False) or source.frame.empty:
            return source
        x, y = source.frame.geometry.x.to_numpy(), source.frame.geometry.y.to_numpy()
        far = [
            self.subject.distance(shapely.Point(*np.mean(self.frame.points_in(*pair, way), axis=1)))
            for pair in ((x, y), (y, x))
        ]
        if not (far[1] <= ELSEWHERE_M and not far[0] <= ELSEWHERE_M):
            return source
        turned = source.frame.set_geometry(gpd.points_from_xy(y, x))
        note = (
            "it has no header: only with east before north it lies here, so its fields are taken so"
        )
        return replace(source, frame=turned, notes=(note,))

    def _place(self, frame, source, way: Transformation, findings: Findings) -> gpd.GeoDataFrame:
        """Rows in the frame, two-dimensional; what cannot lie there is refused."""
        flat = flatten(frame, source.curved_among(frame), findings)
        given = moved = np.asarray(flat.geometry.array, dtype=object)
        there = np.ones(len(flat), dtype=bool)
        if source.crs != self.frame.crs and len(flat):
            moved = self.frame.project_in(given, way)
            there = np.isfinite(shapely.bounds(moved)).all(axis=-1) & self.frame.come_back(
                given, moved, way
            )
        lost = np.flatnonzero(~there)
        if len(lost):
            findings.refused(
                flat.index[lost],
                f"Coordinates cannot lie in the CRS '{source.crs.name}'",
                "State the CRS in which the coordinates really are, or correct these rows",
                key=source.crs_key,
                kind="system",
            )
        return kept(with_shapes(flat, moved, self.frame.crs), there)

    def _finish(
        self, source, near, way: Transformation, findings: Findings, keep: Sequence[int] = ()
    ) -> gpd.GeoDataFrame:
        """Rows within reach, mended, with the contract's columns."""
        contract, named = INPUTS[source.name], self.named[source.name]
        before, findings.repairs = findings.repairs, []
        placed = self._place(near, source, way, findings)
        placed = kept(placed, self._is_near(placed) | placed.index.isin(keep))
        rows = set(placed.index)
        # What is said of rows out of reach does not matter, save of rows without a place.
        findings.repairs = before + [
            repair
            for repair in findings.repairs
            if repair[1] in rows or "row left out" in repair[2]
        ]
        if source.name == "buildings" and not {"storeys", "height_m"} & set(named.fixed):
            placed = leave_out_floorless(placed, named.columns, findings)
        mended = mend(placed, contract, findings)
        cells = _convert(mended, source, named, findings)
        whole = gpd.GeoDataFrame(cells, geometry=mended.geometry.array)
        whole = _drop_copies(whole, findings, keep)
        if source.name == "buildings":
            whole = merge_parts(whole, self.about.storey_height, findings)
        if contract is PARCELS:
            unnamed = whole["parcel_id"].isna()
            if unnamed.any():
                whole.loc[unnamed, "parcel_id"] = [f"row {row}" for row in whole.index[unnamed]]
        return fill_defaults(whole, contract)


def read_columns(source, named: LayerSource, findings: Findings) -> pd.DataFrame:
    """Make the columns of a contract without geometry of a layer's; what is wrong is noted."""
    contract = INPUTS[source.name]
    check_mapping(contract, source.columns, named, findings)
    return fill_defaults(_convert(source.read(), source, named, findings), contract)


def _convert(frame: pd.DataFrame, source, named: LayerSource, findings: Findings) -> pd.DataFrame:
    """Make the columns of a contract of the attributes of rows."""
    contract, attributes = INPUTS[source.name], pd.DataFrame(frame).drop(columns="geometry")
    check_units(attributes, contract, source.crs, named, findings)
    return convert_columns(attributes, contract, named, findings)


def _drop_copies(
    frame: gpd.GeoDataFrame, findings: Findings, keep: Sequence[int]
) -> gpd.GeoDataFrame:
    """Leave out rows that repeat another one in all that is read of it."""
    shapes = np.asarray(frame.geometry.array, dtype=object)
    if not pd.DataFrame(shapely.bounds(shapes)).duplicated().any():
        return frame  # what is equal has equal bounds
    shapes = shapely.to_wkb(shapely.normalize(shapes))
    table = pd.DataFrame(frame.drop(columns="geometry")).astype(str).assign(shape=shapes)
    again = table.duplicated().to_numpy() & ~frame.index.isin(keep)
    first = table.groupby(list(table.columns), sort=False, dropna=False)
    firsts = first.ngroup().to_numpy()
    for position in np.flatnonzero(again):
        original = frame.index[np.flatnonzero(firsts == firsts[position])[0]]
        findings.mended([frame.index[position]], f"copy of row {original}: row left out")
    return kept(frame, ~again)
