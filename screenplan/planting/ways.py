"""Ground on the chosen lines that is left without plants, and through which open views pass."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from screenplan.planting.neighbours import Gap
from screenplan.planting.species_model import Species

#: How rays pass ground without plants, as the holes of the views tell it.
THROUGH = ("gap", "between", "beyond", "bare")
#: Holes and stations are rounded to the millimetre.
STATION_TOLERANCE_M = 0.002


@dataclass(frozen=True)
class Way:
    """A stretch of a line without plants, and how many views that stay open pass it."""

    line_id: str
    from_m: float
    to_m: float
    views: int


def open_ways(
    lines,
    plants,
    gaps: Iterable[Gap],
    spacing_m: float,
    views,
    holes,
    species_table: Mapping[str, Species],
) -> list[Way]:
    """Find the stretches without plants that views pass which stay open to the end.

    What passes higher than a grown row would stand does not count: no plant would stop it.

    Parameters
    ----------
    lines, plants : GeoDataFrame
        Planting lines and plants.
    gaps : iterable of Gap
        Gaps between neighbours that are wider than asked.
    spacing_m : float
        Ends of lines without plants count from this length, metres.
    views, holes : DataFrame
        By the contracts ``views`` and ``view_holes``.
    species_table : mapping
        Species by key.

    Returns
    -------
    list of Way
        The one that most views pass first.
    """
    open_ids = set(views.loc[views["status"] == "stays open", "view_id"])
    mine = holes.loc[holes["view_id"].isin(open_ids) & holes["kind"].isin(THROUGH)]
    mine = mine.loc[mine["open_until"].isna()]
    grown = plants["species"].map(
        {key: kind.final_height("typical") for key, kind in species_table.items()}
    )
    tallest = grown.max() if grown.notna().any() else np.inf
    mine = mine.loc[mine["low_m"] < tallest]
    ways = []
    for line_id, begin, end in _bare(lines, plants, gaps, spacing_m):
        passing = mine.loc[
            (mine["line_id"] == line_id) & _lies_in(mine, begin, end), "view_id"
        ].nunique()
        if passing:
            ways.append(Way(line_id, begin, end, passing))
    return sorted(ways, key=lambda way: -way.views)


def _lies_in(holes, begin: float, end: float) -> pd.Series:
    """Tell which holes lie in a stretch; what passes beyond the last plant may reach further."""
    within = (holes["from_m"] >= begin - STATION_TOLERANCE_M) & (
        holes["to_m"] <= end + STATION_TOLERANCE_M
    )
    overlaps = (holes["from_m"] < end - STATION_TOLERANCE_M) & (
        holes["to_m"] > begin + STATION_TOLERANCE_M
    )
    return within | (overlaps & (holes["kind"] == "beyond"))


def _bare(lines, plants, gaps, spacing_m: float):
    """Give the stretches of the lines without plants: wide gaps, long ends, whole lines."""
    stations = plants["station_m"].groupby(plants["line_id"]).agg(["min", "max"])
    names = lines["line_id"].to_numpy()
    for gap in gaps:
        yield names[gap.line], gap.from_m, gap.to_m
    known = {(names[gap.line], gap.from_m) for gap in gaps}
    for line_id, length in zip(names, lines.geometry.length, strict=True):
        if line_id not in stations.index:
            yield line_id, 0.0, length
            continue
        first, last = stations.loc[line_id]
        if first > spacing_m:
            yield line_id, 0.0, first
        if length - last > spacing_m and (line_id, last) not in known:
            yield line_id, last, length
