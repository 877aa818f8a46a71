"""The layers of a screening result, by their contracts."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import GROWTHS, VIEW_HOLES, VIEW_YEARS, VIEWS, year_column
from screenplan.contracts.tables import layer_of, table_of_columns
from screenplan.contracts.views import SEASONS
from screenplan.ground.told_years import DRAWN
from screenplan.planting.growth import TYPICAL
from screenplan.views.chance import NEVER, ClosedYears
from screenplan.views.holes import Hole
from screenplan.views.timeline import Timeline, opens_again, year_closed


@dataclass(frozen=True)
class View:
    """One view, traced.

    Parameters
    ----------
    view_id, window_id, place_id : str
        ``window_id`` is the window or the onlooker.
    looks_from : str
        "window" or the onlooker's kind.
    line : LineString
        From the window or onlooker to the place.
    timeline : Timeline
    error, terrain_error : float
        Errors of the open shares by the sampling and by the terrain's cells, NaN if they were not
        worked out.
    holes : list of Hole
        Where the last open rays pass.
    hole_year : int
        The year in which they do; None if none is open.
    closing : ndarray of uint8, (draws,), or None
        Year in which it closes by draw (`screenplan.views.chance`); None if none were made.
    years : int
        Last year looked at; those after it in the timeline tell whether what closes stays closed.
    set_apart : str, optional
        Why its window is set apart.
    before : float, optional
        Share that is open before new screens are built; None if none are.
    """

    view_id: str
    window_id: str
    place_id: str
    looks_from: str
    line: shapely.LineString
    timeline: Timeline
    error: float
    terrain_error: float
    holes: list[Hole]
    hole_year: int | None
    closing: np.ndarray | None
    years: int
    set_apart: str | None = None
    before: float | None = None

    @property
    def now(self) -> float:
        """Share that is open as things are: no plant counts, and nothing that is only to be built."""
        return self.timeline.now if self.before is None else self.before

    def closed(self, growth: int, threshold: float) -> int | None:
        """First year looked at from which it stays closed in both seasons; None for none or no view."""
        if self.timeline.rays == 0:
            return None
        year = year_closed(self.timeline.open[growth].max(axis=0), threshold)
        return year if year is not None and year <= self.years else None

    def opens_again(self, threshold: float) -> int | None:
        """Year in which it opens again after it was closed, typical growth; None if it does not."""
        if self.timeline.rays == 0:
            return None
        return opens_again(self.timeline.open[TYPICAL].max(axis=0), threshold)


def status_of(view: View, threshold: float) -> str:
    """One of the words of the contract."""
    if view.timeline.rays == 0:
        return "no view"
    if view.now <= threshold:
        return "closed already"
    return "stays open" if view.closed(TYPICAL, threshold) is None else "closes"


def views_layer(
    views: list[View],
    *,
    report_years,
    threshold: float,
    chance_year: int | None,
    crs,
    evidence: str = "",
) -> gpd.GeoDataFrame:
    """Layer ``views``: one row per window and place."""
    years = {f"year_closed{end}": g for g, end in enumerate(("_low", "", "_high"))}
    columns = {
        "view_id": [view.view_id for view in views],
        "name": [None] * len(views),  # given where names are known, as the layer is written
        "window_id": [view.window_id for view in views],
        "place_id": [view.place_id for view in views],
        "looks_from": [view.looks_from for view in views],
        "rays": [view.timeline.rays for view in views],
        "closed_already": [1.0 - view.now for view in views],
        "closed_by": [view.timeline.closed_by for view in views],
        "open_now": [view.now for view in views],
    }
    for year in report_years:
        shares = [view.timeline.open[TYPICAL, :, year].max() for view in views]
        columns[year_column("open", year)] = shares
    for name, growth in years.items():
        columns[name] = [view.closed(growth, threshold) for view in views]
    columns |= _drawn(views, chance_year)
    columns |= {
        "evidence": [evidence or None] * len(views),
        "opens_again": [view.opens_again(threshold) for view in views],
        "error_share": [view.error for view in views],
        "terrain_error_share": [view.terrain_error for view in views],
        "status": [status_of(view, threshold) for view in views],
        "last_station_m": [_ranges(view.holes) for view in views],
        "set_apart": [view.set_apart for view in views],
    }
    return gpd.GeoDataFrame(
        table_of_columns(VIEWS, columns, report_years),
        geometry=[view.line for view in views],
        crs=crs,
    )


def _drawn(views: list[View], chance_year: int | None) -> dict:
    """Columns of what was drawn; empty for views of which nothing was."""
    drawn = [None if view.closing is None else ClosedYears(view.closing[None]) for view in views]
    columns = {
        name: [None if years is None else _or_none(years.percentile(share)[0]) for years in drawn]
        for name, share in DRAWN.items()
    }
    return columns | {
        "chance": [
            None if years is None or chance_year is None else years.chance(chance_year)[0]
            for years in drawn
        ],
        "chance_year": [None if years is None else chance_year for years in drawn],
    }


def _or_none(year) -> int | None:
    return None if year == NEVER else int(year)


def view_years_table(views: list[View]) -> pd.DataFrame:
    """Table ``view_years``; pairs of which no ray passes the window have no rows."""
    seen = [view for view in views if view.timeline.rays]
    growths, seasons = len(GROWTHS), len(SEASONS)
    years = seen[0].years + 1 if seen else 0
    table = pd.DataFrame(
        {
            "view_id": np.repeat(
                np.array([view.view_id for view in seen], object), growths * seasons * years
            ),
            "year": np.tile(np.arange(years, dtype=np.int64), len(seen) * growths * seasons),
            "growth": np.tile(np.repeat(np.array(GROWTHS, object), seasons * years), len(seen)),
            "season": np.tile(np.repeat(np.array(SEASONS, object), years), len(seen) * growths),
            "open": np.concatenate([view.timeline.open[:, :, :years].ravel() for view in seen])
            if seen
            else np.zeros(0),
        }
    )
    return table[[column.name for column in VIEW_YEARS.columns]]


def view_holes_layer(views: list[View], *, crs) -> gpd.GeoDataFrame:
    """Layer ``view_holes``."""
    records, shapes = [], []
    for view in views:
        for number, hole in enumerate(view.holes, start=1):
            records.append(
                {
                    "hole_id": f"{view.view_id}/{number}", "view_id": view.view_id,
                    "year": view.hole_year, "open_until": hole.until, **vars(hole),
                }
            )  # fmt: skip
            shapes.append(hole.geometry)
    return layer_of(VIEW_HOLES, records, shapes, crs)


def _ranges(holes: list[Hole]) -> str:
    """Stations as text, by line, with touching stretches joined: ``north 3.0 to 4.5, 9.0 to 9.6``."""
    texts = []
    for line_id in dict.fromkeys(hole.line_id for hole in holes):
        joined: list[list[float]] = []
        for begin, end in sorted((h.from_m, h.to_m) for h in holes if h.line_id == line_id):
            if joined and begin <= joined[-1][1] + 0.05:
                joined[-1][1] = max(joined[-1][1], end)
            else:
                joined.append([begin, end])
        texts.append(
            f"{line_id} " + ", ".join(f"{begin:.1f} to {end:.1f}" for begin, end in joined)
        )
    return "; ".join(texts)
