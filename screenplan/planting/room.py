"""Room for people beside the row: a derived private place ends where the grown crowns begin.

A place that somebody drew is kept clear by a rule (`private_place_crown`), and the row gives way. A
derived one is only a likely place: it gives way to the row.
"""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts.tables import with_notes
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.clearing import ARC_EXCESS_M, keep_clear_each
from screenplan.planting.mixes import kinds_in
from screenplan.planting.species_model import Species
from screenplan.site.garden import LEAST_DERIVED_M2
from screenplan.site.lots import Many, united
from screenplan.site.overlay import ground_left, polygons_of
from screenplan.site.shaping import column_or


def leave_room(
    private_places: gpd.GeoDataFrame,
    planting_lines: gpd.GeoDataFrame,
    *,
    plan: Options = DEFAULTS,
    species_table: Mapping[str, Species] | None = None,
) -> gpd.GeoDataFrame:
    """End the derived private places where the mature half width of the row begins.

    Parameters
    ----------
    private_places : GeoDataFrame
        Contract ``private_places``, in local-frame metres; those that were drawn stay as they are.
    planting_lines : GeoDataFrame
        Where the rows stand.
    plan : Options, optional
        Of it [plants]: half the width that its widest species has in the end, of a hedge half that
        at which it is kept, is left clear on either side of each line; high growth, which is the
        safe side.
    species_table : mapping, optional
        The species table, by default the shipped one.

    Returns
    -------
    GeoDataFrame
        The places; of one that a row cuts in two its larger part. A derived one that has less than
        4 m² left is none: it is left out, and ``attrs["notes"]`` says so.
    """
    placed, notes = _leave_room(
        Many.one(private_places), Many.one(planting_lines), plan, species_table
    )
    if notes is None:
        return private_places
    return with_notes(placed.layer, [told for _, told in notes])


def leave_room_each(
    places: Many,
    lines: Many,
    *,
    plan: Options = DEFAULTS,
    species_table: Mapping[str, Species] | None = None,
) -> Many:
    """End the derived private places of several lots where their rows begin; see `leave_room`, whose notes are not told."""
    left = _leave_room(places, lines, plan, species_table)[0]
    left.layer.index = pd.RangeIndex(len(left.layer))
    return left


def _leave_room(
    places: Many, lines: Many, plan: Options, species_table: Mapping[str, Species] | None
) -> tuple[Many, list[tuple[int, str]] | None]:
    """Give the places, and notes with their lots; None where there is no place or no line that could matter."""
    derived = column_or(places.layer, "derived", False).astype(bool)
    if not derived.any() or not len(lines.layer):
        return places, None
    kind = max(
        kinds_in(plan.plants.species, species_table), key=lambda kind: kind.final_width("high")
    )
    half = kind.final_width("high") / 2.0
    asked = np.flatnonzero(derived)
    place, line = lines.beside(places.lot[asked])
    place = asked[place]
    near = shapely.dwithin(places.shapes[place], lines.shapes[line], half + ARC_EXCESS_M)
    met = np.unique(places.lot[place[near]])
    beside = np.isin(lines.lot, met)
    shapes, keep, notes = places.shapes.copy(), np.ones(len(derived), dtype=bool), []
    wide = keep_clear_each(lines.shapes[beside], np.full(beside.sum(), half))
    rows = united(wide, lines.lot[beside], places.lots)[places.lot]
    cut = np.flatnonzero(derived & np.isin(places.lot, met) & shapely.intersects(shapes, rows))
    before = shapely.area(shapes[cut])
    shapes[cut] = _largest(ground_left(shapes[cut], rows[cut]))
    left = shapely.area(shapes[cut])
    keep[cut] = left >= LEAST_DERIVED_M2
    names = places.layer["place_id"].to_numpy(object)
    took = f"grown crowns of {kind.called}, {{{half:.2f} m}} to either side of the row,"
    for number, had, has in zip(cut.tolist(), before.tolist(), left.tolist(), strict=True):
        name = names[number]
        told = (
            f"{took} take {{{had - has:.1f} m²}} of private place {name}, which ends before them"
            if keep[number]
            else f"{took} leave {{{has:.1f} m²}} of private place {name}, which is no room for people: it is left "
            "out. Draw where people sit, or choose a narrower species or another side"
        )
        notes.append((int(places.lot[number]), told))
    if not len(cut):
        return Many(places.layer.copy(deep=False), places.lot, places.lots), []
    placed = places.layer.set_geometry(
        gpd.GeoSeries(shapes, index=places.layer.index, crs=places.layer.crs)
    )
    return Many(placed[keep], places.lot[keep], places.lots), notes


def _largest(grounds: np.ndarray) -> np.ndarray:
    """Give the largest polygon of each ground, the first of equal ones; an empty one where there is none."""
    parts, of = polygons_of(grounds)
    found = np.full(len(grounds), shapely.Polygon(), dtype=object)
    order = np.lexsort((-shapely.area(parts), of))
    some, first = np.unique(of[order], return_index=True)
    found[some] = parts[order][first]
    return found
