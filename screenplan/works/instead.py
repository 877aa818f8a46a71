"""Is planting the answer? The same views with a fence, a wall, a trellis, an awning, or the place moved.

Each is laid (`screenplan.works.instead_laid`), and the same rays are followed: alone,
and with the plants of the plan as they grow. What is left crosses the planting lines at heights that tell which kinds
still suffice. Nothing here says what may be built: that is the local code's.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from screenplan.contracts.called import observer_names
from screenplan.contracts.instead import INSTEAD, INSTEAD_LINES
from screenplan.contracts.tables import has_rows, layer_of, table_of
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.instead import Instead
from screenplan.planting.growth import TYPICAL
from screenplan.planting.mixes import planned_spacing
from screenplan.planting.species import load_species
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.rules.limit_kinds import Limit
from screenplan.site.terrain import Terrain
from screenplan.views.closing import RowClosing, row_closing
from screenplan.views.grown import crowns_of, runs_of, years_to_rest
from screenplan.views.needed_height import cross_lines, hardy_kinds, needed_along
from screenplan.views.obstacles import Obstacles
from screenplan.views.sight import Sight, sight_of
from screenplan.views.timeline import Scene, follow_each, sum_each
from screenplan.works.boundary_screens import what_is_allowed
from screenplan.works.instead_laid import Case, Seen, lay_cases

#: A height that is no more than this needs no plant: needed heights are rounded up to it.
LEAST_M = 0.001
#: So many are named who are shut out.
MOST_NAMED = 6


def compare_instead(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> tuple[pd.DataFrame, gpd.GeoDataFrame]:
    """Compare what the plan names with planting, side by side.

    Parameters
    ----------
    layers : mapping
        Parcels, sides, windows, private places, planting lines and plants, and buildings, existing screens,
        onlookers, keep-outs, roads, quantities and cost, if there are any: by their contracts, in local-frame metres.
    plan : Options
        Of it [instead], and what views, needed height and growth go by.
    terrain : Terrain, optional
    limits : mapping, optional
        By default the shipped limits.
    species_table : mapping, optional
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    instead : DataFrame
        A row ``nothing``, and one for each thing that is compared; none if the plan names nothing.
    instead_lines : GeoDataFrame
        The pieces of fence, wall, trellis and awning that are compared.

    Raises
    ------
    InputError
        If there is no such code or side, or an awning of a depth has no house; by row as `lay_sight` says.
    """
    asked = plan.instead
    if not asked.compare:
        return table_of(INSTEAD, []), layer_of(INSTEAD_LINES, [], [], layers["parcels"].crs)
    species_table = load_species() if species_table is None else species_table
    stand = planned_stand(layers["plants"], plan, species_table, plan.growth.years)
    stand = stand.in_years(years_to_rest(stand))
    crowns = crowns_of(stand)
    dim = plan.views.threshold if plan.views.leaves == "translucent" else None
    runs = runs_of(stand, crowns)

    def look(mine: Mapping[str, Any]) -> Seen:
        sight = sight_of(mine, plan.views, terrain, kept)
        scene = Scene(sight.obstacles, runs, crowns, dim)
        told = sum_each(follow_each(sight.ends(), scene), scene, (0, len(sight.pairs)))
        names = [sight.name(view) for view in range(len(sight.pairs))]
        shares = told.open[:, TYPICAL].max(axis=1)[:, plan.chance_year :]
        limit = plan.views.threshold
        later = (shares > limit).any(axis=1)
        return Seen(
            sight, told,
            dict(zip(names, ((told.now > limit) & (told.rays > 0)).tolist(), strict=True)),
            dict(zip(names, (later & (told.rays > 0)).tolist(), strict=True)),
        )  # fmt: skip

    closings = _closings(plan, species_table)
    today = look(layers)
    allowed = what_is_allowed(layers, plan, limits)
    cases = [Case("nothing", layers), *lay_cases(layers, asked, allowed, today, look)]
    records, lines, shapes = [], [], []
    for case in cases:
        seen = look(case.layers)
        records.append(_record(case, seen, today, closings, layers, plan))
        for line, shape in _lines_of(
            case, sum(today.first.values()) - sum(seen.first.values()), asked
        ):
            lines.append(line)
            shapes.append(shape)
    return table_of(INSTEAD, records), layer_of(INSTEAD_LINES, lines, shapes, layers["parcels"].crs)


def _lines_of(
    case: Case, closes: int, asked: Instead
) -> Iterator[tuple[dict[str, Any], shapely.LineString]]:
    """Give the pieces of what is built as rows of the map, an awning as its outline."""
    if case.screens is None:
        return
    price = asked.price_of(case.option)
    for row in case.screens.to_dict("records"):
        shape, side = row["geometry"], row.get("side_id")
        size = shape.length if side else shape.area
        yield (
            {
                "piece_id": row["screen_id"], "option": case.option, "side_id": side,
                "height_m": row["height_m"], "length_m": shape.length if side else None,
                "area_m2": None if side else shape.area, "closes_first": closes,
                "cost": None if price is None else price * size,
            },
            shape if side else shapely.LineString(shape.exterior.coords),
        )  # fmt: skip


def _closings(plan: Options, species_table) -> dict[str, RowClosing]:
    spacing_m = planned_spacing(plan, species_table)
    return {
        key: row_closing(
            kind,
            spacing_m,
            years=plan.growth.years,
            curve=plan.growth.curve,
            stock=plan.plants.stock,
        )
        for key, kind in hardy_kinds(plan, species_table).items()
    }


def _left_for_plants(
    sight: Sight, now: Obstacles, lines, plan: Options
) -> list[tuple[float, float]]:
    """Give the height that is needed on each planting line, and that of the lowest ray that is left, where some are.

    The share that may stay open is that of what stands now, so that nothing new asks for more.
    """
    asked = []
    before = replace(sight, obstacles=now)
    for line, met in zip(lines, cross_lines(before, lines, sight.obstacles), strict=True):
        left = met.above[met.above > 0.0]
        needed = float(needed_along(line, met, sight.ground, plan.views).needed_m.max())
        if len(left) and needed > LEAST_M:
            asked.append((needed, float(left.min())))
    return asked


def _record(case: Case, seen: Seen, today: Seen, closings, layers, plan: Options) -> dict:
    lines = list(layers["planting_lines"].geometry)
    left = _left_for_plants(seen.sight, today.sight.obstacles, lines, plan)
    enough = [
        (closing.mature_height_m, key)
        for key, closing in closings.items()
        if all(closing.year_reached(TYPICAL, *band) is not None for band in left)
    ]
    needed = max((height for height, _ in left), default=0.0) if lines else None
    cost, says = _own_cost(case, plan.instead)
    plants = _plants_cost(layers.get("quantities"), layers.get("cost"))
    told = [*case.says, *says]
    if plants is None and case.option == "nothing":
        told.append("what is planted has no full price: see cost.prices")
    kind = min(enough)[1] if needed and enough else None
    return {
        "option": case.option, "height_m": case.height_m, "length_m": case.length_m, "area_m2": case.area_m2,
        "open_first": sum(seen.first.values()),
        "shut_out": _shut_out(today, seen, layers), "year": plan.chance_year,
        "open_later": sum(seen.later.values()), "needed_m": needed,
        "kind": kind, "kinds": len(enough) if needed else None, "cost": cost,
        "cost_both": None if cost is None or plants is None else cost + plants,
        "says": _sentence(told),
    }  # fmt: skip


def _sentence(parts: list[str]) -> str | None:
    return ". ".join(part[:1].upper() + part[1:] for part in parts) or None


def _shut_out(today: Seen, seen: Seen, layers) -> str | None:
    """Name those who see in today and see nothing on the first day."""
    names = observer_names(layers)
    looks = {
        view: today.sight.observers.ids[observer]
        for view, (observer, _) in zip(today.first, today.sight.pairs, strict=True)
    }
    see_in = {looks[view] for view, is_open in today.first.items() if is_open}
    still = {looks[view] for view, is_open in seen.first.items() if is_open}
    out = [names.get(one, one) for one in today.sight.observers.ids if one in see_in - still]
    if not out:
        return None
    more = f"; and {len(out) - MOST_NAMED} more" if len(out) > MOST_NAMED else ""
    return "; ".join(out[:MOST_NAMED]) + more


def _own_cost(case: Case, asked: Instead) -> tuple[float | None, list[str]]:
    """Give what a thing costs by the user's price, and what is missing."""
    if case.option in ("nothing", "place_moved"):
        return 0.0, []
    price = asked.price_of(case.option)
    if price is None:
        unit = "square metre" if case.option == "awning" else "metre"
        return None, [f"without a price: write that of a {unit} in instead.prices"]
    return price * (case.area_m2 or case.length_m or 0.0), []


def _plants_cost(quantities: pd.DataFrame | None, cost: pd.DataFrame | None) -> float | None:
    """Give what all that is planted costs; None if something that is bought has no price."""
    if not (has_rows(quantities) and has_rows(cost)):
        return None
    bought = quantities.loc[quantities["packs"].notna().to_numpy(bool), "item"]
    if cost.loc[cost["item"].isin(bought), "cost"].isna().any():
        return None
    total = cost.loc[cost["item"] == "total"].iloc[0]
    labour = total["labour_cost"]
    return float(total["cost"]) + (0.0 if pd.isna(labour) else float(labour))
