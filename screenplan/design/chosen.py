"""The layers of a chosen planting, as if the plan had said its rows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.ops import substring

from screenplan.contracts import DROPPED, NO_PLANT_ZONES, PLANTABLE_ZONE, PLANTING_LINES, PLANTS
from screenplan.contracts.tables import layer_of, records_of
from screenplan.design.candidates import Candidates
from screenplan.design.standing import NONE_STANDS, StandingPlants
from screenplan.plan import Options
from screenplan.site.terrain import Terrain, ground_at

#: A plan, or what steps go by.
P = TypeVar("P", bound=Options)


@dataclass(frozen=True, eq=False)
class Layers:
    """What is planted.

    Parameters
    ----------
    no_plant_zones, plantable_zone, planting_lines, plants, dropped_stations : GeoDataFrame
        By their contracts.
    """

    no_plant_zones: gpd.GeoDataFrame
    plantable_zone: gpd.GeoDataFrame
    planting_lines: gpd.GeoDataFrame
    plants: gpd.GeoDataFrame
    dropped_stations: gpd.GeoDataFrame


def layers_of(
    candidates: Candidates,
    runs: list[np.ndarray],
    terrain: Terrain | None,
    standing: StandingPlants = NONE_STANDS,
) -> Layers:
    """Make the layers of runs of candidates, each row of one a planting line of its own; rows that stand come last.

    New plants in a row that stands are plants of its line.
    """
    crs = candidates.table.crs
    zones, plantable = _ground(candidates, runs)
    own, added = _apart_from_standing(candidates, runs, standing)
    lines: list[dict[str, Any]] = []
    plants: list[dict[str, Any]] = []
    stems: list[shapely.Point] = []
    for run, number, name in _named_rows(candidates, own):
        line, of_line = _row_of(candidates, run, number, name, terrain)
        lines.append(line)
        plants += of_line
        stems += list(candidates.table.geometry.iloc[run])
    for number, plant in enumerate(plants, 1):
        plant["plant_id"] = number
    made_lines = layer_of(PLANTING_LINES, lines, [line["geometry"] for line in lines], crs)
    made_plants = layer_of(PLANTS, plants, stems, crs)
    if standing.count:
        old_lines, old_plants = standing.layers(crs, terrain, added)
        old_plants["plant_id"] += len(made_plants)
        made_lines, made_plants = (
            old if not len(new) else pd.concat([new, old], ignore_index=True)
            for new, old in ((made_lines, old_lines), (made_plants, old_plants))
        )
    return Layers(
        zones, plantable, made_lines, made_plants,
        layer_of(DROPPED, [], [], crs),
    )  # fmt: skip


def _apart_from_standing(
    candidates: Candidates, runs: list[np.ndarray], standing: StandingPlants
) -> tuple[list[np.ndarray], dict[str, list[tuple]]]:
    """Give the runs that are rows of their own, and by row that stands the plants that are added to it."""
    table = candidates.table
    added: dict[str, list[tuple]] = {row.name: [] for row in standing.rows}
    own = []
    for run in runs:
        ground = str(table["ground"].iloc[run[0]])
        if ground not in added:
            own.append(run)
            continue
        option = candidates.options[int(table["option"].iloc[run[0]])]
        added[ground] += [
            (at, point, option.species.key, option.stock, option.height_m)
            for at, point in zip(
                table["station_m"].iloc[run], table.geometry.iloc[run], strict=True
            )
        ]
    return own, added


def _named_rows(
    candidates: Candidates, runs: list[np.ndarray]
) -> Iterator[tuple[np.ndarray, int, str]]:
    """Give each row of runs, which row of its run it is, and the name of its line; parts of a side are counted."""
    sides = candidates.table["side_id"].astype(str).to_numpy(object)
    of_side = Counter(sides[run[0]] for run in runs)
    part: Counter[str] = Counter()
    for run, number, begins in _row_by_row(candidates, runs):
        side = sides[run[0]]
        part[side] += begins
        yield (
            run,
            number,
            f"{side}-row{number}" + (f"-part{part[side]}" if of_side[side] > 1 else ""),
        )


def _row_of(
    candidates: Candidates, run: np.ndarray, number: int, name: str, terrain: Terrain | None
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Give the record of the line of a row, and those of its plants, which are not numbered yet."""
    rows = candidates.table.iloc[run]
    options = [candidates.options[k] for k in rows["option"].astype(int)]
    spacing_m = options[0].spacing_m
    stretch = int(rows["stretch"].iloc[0])
    whole, at = candidates.lines[stretch], rows["station_m"].to_numpy(float)
    points = rows.geometry.to_numpy()
    if number == 2:
        whole = candidates.seconds[stretch]
        at = shapely.line_locate_point(whole, points)
    first, last = at[0], at[-1]
    if last - first < 0.5 * spacing_m:  # a plant alone stands in the middle of its line
        first = max(first - 0.5 * spacing_m, 0.0)
        last = min(last + 0.5 * spacing_m, whole.length)
    line = substring(whole, first, last)
    of_row = {
        "line_id": name, "side_id": str(rows["side_id"].iloc[0]), "row": number,
        "offset_m": float(rows["offset_m"].iloc[0]),
    }  # fmt: skip
    xy = shapely.get_coordinates(points)
    level = ground_at(terrain, xy)
    along = at - first
    slope = along if terrain is None else along[0] + terrain.slope_length(*xy.T)
    gaps = np.concatenate([[np.nan], np.diff(at)])
    plants = [
        {
            **of_row, "station_m": float(along[k]), "slope_station_m": float(slope[k]),
            "gap_before_m": float(gaps[k]), "ground_m": float(level[k]),
            "species": option.species.key, "stock": option.stock,
            "stock_height_m": option.height_m, "existing": False, "moved_m": 0.0,
        }
        for k, option in enumerate(options)
    ]  # fmt: skip
    return {
        **of_row, "length_m": line.length, "plantable_m": line.length, "geometry": line,
    }, plants  # fmt: skip


def _row_by_row(candidates: Candidates, runs):
    """Give each run, or those of its two rows one after the other; which row it is; whether a run begins."""
    row = candidates.table["row"].to_numpy(int)
    for run in runs:
        numbers = np.unique(row[run]).tolist()
        for number in numbers:
            yield run[row[run] == number], number, number == numbers[0]


def _ground(candidates: Candidates, runs) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Give the zones of what is planted: those of each species hold for it alone if there are several."""
    used = {
        (option.species.key, option.height_m)
        for option in (
            candidates.options[k]
            for run in runs
            for k in candidates.table["option"].iloc[run].unique()
        )
    }
    grounds = [ground for key, ground in candidates.grounds.items() if key in used]
    grounds = grounds or list(candidates.grounds.values())[:1]
    if len(grounds) == 1:
        return grounds[0].zones, grounds[0].plantable
    crs = candidates.table.crs
    each = [ground.zones.assign(species=ground.species.key) for ground in grounds]
    zones = pd.concat(each, ignore_index=True)
    zones["zone_id"] = [f"z{number:03d}" for number in range(1, len(zones) + 1)]
    plantable = shapely.union_all(
        [shapely.union_all(ground.plantable.geometry.to_numpy()) for ground in grounds]
    )
    parts = sorted(
        (part for part in shapely.get_parts(plantable) if part.geom_type == "Polygon"),
        key=lambda part: -part.area,
    )
    return (
        layer_of(NO_PLANT_ZONES, records_of(zones), zones.geometry, crs),
        layer_of(
            PLANTABLE_ZONE,
            [{"zone_id": f"p{number:02d}", "area_m2": part.area} for number, part in enumerate(parts, 1)],
            parts, crs,
        ),
    )  # fmt: skip


def plan_of(plan: P, plants: gpd.GeoDataFrame) -> P:
    """Give the plan that says what was chosen, for the steps that go by species and spacing.

    Examples
    --------
    >>> from screenplan.plan import DEFAULTS
    >>> chosen = pd.DataFrame({"species": ["ilex_opaca"] * 2, "gap_before_m": [None, 1.2],
    ...     "stock_height_m": [0.9, 0.9], "existing": [False, False], "row": [1, 1]})
    >>> said = plan_of(DEFAULTS, chosen)
    >>> said.plants.species, said.rows.spacing, said.plants.stock_height
    ('ilex_opaca', 1.2, 0.9)
    """
    new = plants.loc[~plants["existing"].astype(bool)]
    if not len(new):
        return plan
    species = tuple(dict.fromkeys(new["species"].astype(str)))
    heights = new["stock_height_m"].astype(float).unique()
    update = {"species": species[0] if len(species) == 1 else species}
    if len(heights) == 1:
        update["stock_height"] = float(heights[0])
    gap = new["gap_before_m"].astype(float).max()
    rows: dict[str, float] = {"rows": int(new["row"].max())}
    if not np.isnan(gap):
        rows["spacing"] = float(gap)
    return plan.model_copy(
        update={
            "plants": plan.plants.model_copy(update=update),
            "rows": plan.rows.model_copy(update=rows),
        }
    )
