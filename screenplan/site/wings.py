"""Buildings that a file gives in several rows: parts of one outline, parts with one identifier."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.site.repair import Findings

#: A part has this share of its footprint within the outline, at least: outlines drawn apart differ by centimetres.
WITHIN = 0.95


def merge_parts(
    buildings: gpd.GeoDataFrame, storey_height_m: float, findings: Findings
) -> gpd.GeoDataFrame:
    """Make one building of the rows that are parts of one.

    A part that lies within another building's outline is left out where it is no higher than that one:
    the outline holds all of it. An outline without a height or number of storeys gets those of its tallest
    part. A part that is higher stands for itself.

    Rows of one identifier that touch are joined where all else of them agrees; other rows of it are
    called ``<id> (part 2)`` and so on, the largest first.

    Parameters
    ----------
    buildings : GeoDataFrame
        By its contract, heights may be empty; in metres of the frame, indexed by row number.
    storey_height_m : float
        Height of a storey, floor to floor, metres.
    findings : Findings
        Where it is listed by row.
    """
    return _call_parts(
        _join_touching(_leave_out_within(buildings, storey_height_m, findings), findings), findings
    )


def _leave_out_within(
    buildings: gpd.GeoDataFrame, storey_height_m: float, findings: Findings
) -> gpd.GeoDataFrame:
    shapes = np.asarray(buildings.geometry.array, dtype=object)
    areas = shapely.area(shapes)
    inner, outer = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    larger = areas[outer] > areas[inner]
    inner, outer = inner[larger], outer[larger]
    shared = shapely.area(shapely.intersection(shapes[inner], shapes[outer]))
    held = shared >= WITHIN * areas[inner]
    inner, outer = inner[held], outer[held]
    if not len(inner):
        return buildings
    out, dropped = buildings.copy(), np.zeros(len(buildings), dtype=bool)
    # Each part belongs to the smallest outline that holds it; smaller outlines first, so that what they hold goes on.
    order = np.lexsort((areas[outer], inner))
    first = np.concatenate([[True], np.diff(inner[order]) != 0])
    part_of = dict(zip(inner[order][first].tolist(), outer[order][first].tolist(), strict=True))
    for whole in sorted(set(part_of.values()), key=lambda place: areas[place]):
        parts = [part for part, of in part_of.items() if of == whole]
        known = [part for part in parts if not _is_unknown(out, part)]
        if known and _is_unknown(out, whole):
            # As OpenStreetMap says of building:levels: a building's number is the greatest of its parts.
            tallest = max(known, key=lambda part: _height(out, part, storey_height_m))
            for column in ("height_m", "storeys"):
                out.iloc[whole, out.columns.get_loc(column)] = out[column].iloc[tallest]
            findings.mended(
                [out.index[whole]], f"as high as its tallest part, in row {out.index[tallest]}"
            )
        for part in parts:
            if not _height(out, part, storey_height_m) > _height(out, whole, storey_height_m):
                dropped[part] = True
                findings.mended(
                    [out.index[part]],
                    f"part of the building in row {out.index[whole]}: row left out",
                )
    return out[~dropped]


def _is_unknown(buildings: pd.DataFrame, place: int) -> bool:
    return bool(buildings[["height_m", "storeys"]].iloc[place].isna().all())


def _height(buildings: pd.DataFrame, place: int, storey_height_m: float) -> float:
    """Height of a building as far as it is known, metres; NaN if it is not."""
    height, storeys = (float(buildings[name].iloc[place]) for name in ("height_m", "storeys"))
    return storeys * storey_height_m if np.isnan(height) else height


def _join_touching(buildings: gpd.GeoDataFrame, findings: Findings) -> gpd.GeoDataFrame:
    out, gone = buildings.copy(), []
    others = [name for name in buildings.columns if name not in ("building_id", "geometry")]
    for name, rows in _shared_ids(buildings):
        for _, alike in buildings.loc[rows].groupby(others, dropna=False, sort=False):
            joined = shapely.union_all(alike.geometry.to_numpy())
            if len(alike) > 1 and joined.geom_type == "Polygon":
                out.loc[alike.index[0], "geometry"] = joined
                gone += alike.index[1:].tolist()
                findings.mended(
                    alike.index[1:],
                    f"part of the building '{name}' in row {alike.index[0]}: joined to it",
                )
    return out.drop(index=gone)


def _call_parts(buildings: gpd.GeoDataFrame, findings: Findings) -> gpd.GeoDataFrame:
    out = buildings.copy()
    for name, rows in _shared_ids(buildings):
        by_size = (
            buildings.loc[rows].geometry.area.sort_values(ascending=False, kind="stable").index
        )
        for number, row in enumerate(by_size[1:], start=2):
            called = f"{name} (part {number})"
            out.loc[row, "building_id"] = called
            findings.mended([row], f"part of the building '{name}': called '{called}'")
    return out


def _shared_ids(buildings: pd.DataFrame) -> list[tuple[str, pd.Index]]:
    """List the identifiers that several rows have, with these rows."""
    named = buildings["building_id"].dropna()
    twice = named[named.duplicated(keep=False)]
    return [(str(name), rows) for name, rows in twice.index.groupby(twice).items()]
