"""The planting drawn small: rows, houses and private places, named in letters that a phone can show."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import shapely

from screenplan.contracts.called import house_names, place_names
from screenplan.outputs.drawings.plan import draw_rows, fill_crowns, inner_side, sheet_axes
from screenplan.outputs.drawings.scale import Sheet, draw_north_arrow
from screenplan.outputs.drawings.site_base import draw_site, label_in
from screenplan.outputs.drawings.style import clean, write

#: Width and greatest height, millimetres; a page shows it about as large.
SKETCH_MM = (96.0, 54.0)
#: Points: eleven pixels where the drawing is as wide as a phone of 360.
LETTERS = 9.3
#: Clearance around the parcel and the rows, millimetres.
CLEAR_MM = 3.0
#: Longest name that is written.
LONGEST_NAME = 22
#: Shares of a row's length at which its name may stand, the first that is free.
ALONG = (0.5, 0.25, 0.75, 0.05, 0.95)
#: How far the name of a row stands from it, millimetres.
BESIDE_MM = 5.0


def draw_sketch(layers: Mapping, ax=None, *, year: int | None = None, units: str = "metric"):
    """Draw where the rows run, with the crowns of one year.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        By contract name. Needed are ``parcels``, ``planting_lines`` and ``plants``.
    ax : Axes, optional
        By default new ones of the drawing's size.
    year : int, optional
        The year of the crowns, as ``crowns`` has it; without it stems alone are drawn.
    units : {"metric", "us"}

    Returns
    -------
    Axes
    """
    sheet = sketch_sheet(layers, units)
    ax = sheet_axes(ax, sheet)
    frame = (sheet.west, sheet.south, sheet.east, sheet.north)
    draw_site(ax, layers, frame, labels=False)
    if year is not None:
        fill_crowns(ax, layers, year)
    draw_rows(ax, layers)
    name_large(ax, layers, sheet)
    draw_north_arrow(ax, sheet, layers)
    return ax


def sketch_sheet(layers: Mapping, units: str) -> Sheet:
    """Choose the extent: the parcel and the rows, and what of the houses near them fits."""
    parcels, lines = layers["parcels"], layers["planting_lines"]
    shapes = [parcels.geometry[parcels["is_subject"].astype(bool)].union_all()]
    shapes.append(lines.geometry.union_all().buffer(2.0))
    west, south, east, north = shapely.bounds(shapely.union_all(shapes))
    width, height = SKETCH_MM
    room = ((width - 2 * CLEAR_MM) / 1000.0, (height - 2 * CLEAR_MM) / 1000.0)
    # No scale is told, so that it need not be a round one.
    scale = math.ceil(max((east - west) / room[0], (north - south) / room[1], 1.0))
    return Sheet(
        scale, width, height,
        0.5 * (west + east - width * scale / 1000.0), 0.5 * (south + north - height * scale / 1000.0), units,
    )  # fmt: skip


def name_large(ax, layers: Mapping, sheet: Sheet, gid: str = "") -> None:
    """Write the names of rows, places and houses so large that a phone as wide as the sheet can show them.

    Parameters
    ----------
    ax : Axes
    layers : mapping of str to GeoDataFrame
        By contract name.
    sheet : Sheet
    gid : str, optional
        Letters and hyphens, before the number of each name.
    """
    frame = shapely.box(sheet.west, sheet.south, sheet.east, sheet.north)
    grow = sheet.width_mm / SKETCH_MM[0]
    mm = sheet.metres(grow)
    arrow = (sheet.east - 13.0 * sheet.metres(1.0), sheet.north - 22.0 * sheet.metres(1.0))
    taken = [(*arrow, sheet.east, sheet.north)]

    def free(x: float, y: float, text: str) -> bool:
        half = ((0.9 * len(text) + 1.0) * mm, 2.2 * mm)
        box = (x - half[0], y - half[1], x + half[0], y + half[1])
        if not (sheet.west <= box[0] and box[2] <= sheet.east):
            return False
        if any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken):
            return False
        taken.append(box)
        return True

    def style() -> dict:
        return {"fontsize": LETTERS * grow} | ({"gid": f"{gid}.{len(taken)}"} if gid else {})

    lines = layers["planting_lines"]
    for name, line in zip(lines["line_id"], lines.geometry, strict=True):
        text = clean(name, LONGEST_NAME)
        for share in ALONG:
            spot = line.interpolate(share, normalized=True)
            x, y = np.array([spot.x, spot.y]) + inner_side(line, layers) * BESIDE_MM * mm
            if free(x, y, text):
                write(ax, x, y, text, role="plant", fontweight="bold", **style())
                break
    places = layers.get("private_places")
    for names, frames, key, role in (
        (place_names(places), places, "place_id", "place"),
        (house_names(layers.get("buildings")), layers.get("buildings"), "building_id", "ink"),
    ):
        if frames is None:
            continue
        largest_first = np.argsort(-shapely.area(frames.geometry.to_numpy()), kind="stable")
        named = set()
        for row in largest_first:
            shape = frames.geometry.iloc[row]
            seen = shapely.intersection(shape, frame)
            text = clean(names.get(str(frames[key].iloc[row]), ""), LONGEST_NAME)
            if text in named:  # the wings of a house have its name
                continue
            named.add(text)
            if text and not seen.is_empty and free(seen.centroid.x, seen.centroid.y, text):
                label_in(ax, shape, frame, text, role=role, **style())
