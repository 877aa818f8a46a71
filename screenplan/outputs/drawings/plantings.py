"""A planting that may be chosen, seen from above: by year its crowns, and which views are open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import year_column
from screenplan.outputs.drawings.crowns import add_circles
from screenplan.outputs.drawings.kind_marks import kind_marks
from screenplan.outputs.drawings.plan import (
    draw_sights,
    draw_stems,
    fill_crowns,
    sheet_axes,
    sight_sheet,
)
from screenplan.outputs.drawings.scale import Sheet, draw_north_arrow
from screenplan.outputs.drawings.site_base import draw_site
from screenplan.outputs.drawings.style import THIN, year_gid
from screenplan.outputs.palette import COLOURS

#: Width of the drawing, millimetres.
WIDTH_MM = 96.0


def choice_sheet(layers: Mapping, units: str = "metric") -> Sheet:
    """Give the extent of the drawings of views, on a smaller sheet."""
    sheet = sight_sheet(layers, units=units)
    share = WIDTH_MM / sheet.width_mm
    return Sheet(
        round(sheet.scale / share),
        WIDTH_MM,
        sheet.height_mm * share,
        sheet.west,
        sheet.south,
        units,
    )


def draw_choice(
    layers: Mapping, plants, views: pd.DataFrame, ax=None, *, years: Sequence[int], sheet: Sheet
):
    """Draw a planting and its views in several years.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        Of a run; of it the site is drawn, and the plants that stand already.
    plants : GeoDataFrame
        Contract ``choice_plants``, of one choice, with the widths of the crowns in these years.
    views : DataFrame
        Contract ``views``, with the years of this planting.
    ax : Axes, optional
    years : sequence of int
        What belongs to one of them has an identifier of its own.
    sheet : Sheet

    Returns
    -------
    Axes
    """
    ax = sheet_axes(ax, sheet)
    draw_site(ax, layers, (sheet.west, sheet.south, sheet.east, sheet.north), labels=False)
    standing = layers["plants"]
    draw_stems(ax, standing.loc[standing["existing"].astype(bool)], "^", COLOURS["plant"])
    for key, mark in kind_marks(plants.assign(existing=np.zeros(len(plants), bool))).items():
        draw_stems(ax, plants.loc[plants["species"] == key], mark.marker, mark.fill)
    old = layers["crowns"]["plant_id"].isin(standing["plant_id"][standing["existing"].astype(bool)])
    grown = {**layers, "crowns": layers["crowns"].loc[old]}
    feet = shapely.get_coordinates(plants.geometry.to_numpy())
    for year in years:
        fill_crowns(ax, grown, year)
        add_circles(
            ax, feet, plants[year_column("spread", year)], facecolor=COLOURS["crown"],
            edgecolor=COLOURS["plant"], linewidth=THIN, zorder=14, gid=year_gid(year, "grown"),
        )  # fmt: skip
        draw_sights(ax, {**layers, "views": views}, year, sheet)
    draw_north_arrow(ax, sheet, layers)
    return ax
