"""Room for people beside the row: a derived private place ends where the grown crowns begin.

A place that somebody drew is kept clear by a rule (`private_place_crown`), and the row gives way. A
derived one is only a likely place: it gives way to the row.
"""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts.tables import with_notes
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.clearing import ARC_EXCESS_M, keep_clear_each
from screenplan.planting.mixes import kinds_in
from screenplan.planting.species_model import Species
from screenplan.site.garden import LEAST_DERIVED_M2
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
    derived = column_or(private_places, "derived", False).astype(bool)
    if not derived.any() or not len(planting_lines):
        return private_places
    kind = max(
        kinds_in(plan.plants.species, species_table), key=lambda kind: kind.final_width("high")
    )
    half = kind.final_width("high") / 2.0
    lines = planting_lines.geometry.to_numpy()
    shapes = private_places.geometry.to_numpy().copy()
    near = shapely.dwithin(shapes[derived][:, None], lines[None, :], half + ARC_EXCESS_M)
    if not near.any():
        return with_notes(private_places.copy(deep=False), [])
    rows = shapely.union_all(keep_clear_each(lines, np.full(len(lines), half)))
    keep, notes = np.ones(len(shapes), dtype=bool), []
    for place in np.flatnonzero(derived & shapely.intersects(shapes, rows)):
        before, shapes[place] = (
            shapes[place].area,
            _largest(shapely.difference(shapes[place], rows)),
        )
        left = shapes[place].area
        name = private_places["place_id"].iloc[place]
        keep[place] = left >= LEAST_DERIVED_M2
        took = f"grown crowns of {kind.called}, {{{half:.2f} m}} to either side of the row,"
        notes.append(
            f"{took} take {{{before - left:.1f} m²}} of private place {name}, which ends before them"
            if keep[place]
            else f"{took} leave {{{left:.1f} m²}} of private place {name}, which is no room for people: it is left "
            "out. Draw where people sit, or choose a narrower species or another side"
        )  # fmt: skip
    placed = private_places.set_geometry(
        gpd.GeoSeries(shapes, index=private_places.index, crs=private_places.crs)
    )
    return with_notes(placed[keep], notes)


def _largest(ground) -> shapely.Polygon:
    parts = [part for part in shapely.get_parts(ground) if part.geom_type == "Polygon"]
    return max(parts, key=lambda part: part.area, default=shapely.Polygon())
