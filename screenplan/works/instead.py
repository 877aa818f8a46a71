"""Is planting the answer? The same views with a fence, a wall, a trellis, an awning, or the place moved.

Each is laid as an obstacle that does not grow, or the place is laid elsewhere, and the same rays are followed: alone,
and with the plants of the plan as they grow. What is left crosses the planting lines at heights that tell which kinds
still suffice. Nothing here says what may be built: that is the local code's.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import shapely.affinity

from screenplan.contracts.called import observer_names
from screenplan.contracts.instead import INSTEAD
from screenplan.contracts.tables import has_rows, table_of
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.instead import Instead
from screenplan.planting.growth import TYPICAL
from screenplan.planting.mixes import planned_spacing
from screenplan.planting.species import load_species
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.rules.limit_kinds import FenceHeight, Limit
from screenplan.rules.limits import limit_named
from screenplan.site.compass import bearing_deg, compass_name
from screenplan.site.ownership import subject_outline
from screenplan.site.side_classes import classes_of
from screenplan.site.terrain import Terrain
from screenplan.views.closing import RowClosing, row_closing
from screenplan.views.grown import crowns_of, runs_of, years_to_rest
from screenplan.views.needed_height import cross_lines, hardy_kinds, needed_along
from screenplan.views.obstacles import AWNING, Obstacles
from screenplan.views.sight import Sight, sight_of
from screenplan.views.timeline import Scene, Timelines, follow_each, sum_each

#: What runs along the boundary.
UPRIGHT = ("fence", "wall", "trellis")
#: The place is tried on at most so many spots, an even choice of them.
MOST_SPOTS = 40
#: A moved place keeps so far from buildings and from planting lines, metres (custom, no source).
CLEAR_M = 1.0
#: A height that is no more than this needs no plant: needed heights are rounded up to it.
LEAST_M = 0.001
#: So many are named who are shut out.
MOST_NAMED = 6
#: What to ask before building, by what is built (common practice, no source).
ASK = {
    "fence": "Have buried lines located before posts are dug in",
    "wall": "A wall needs a footing below the frost that stands up to wind: ask a licensed builder, and have buried lines located first",
    "trellis": "Have buried lines located before posts are dug in, which must hold in the wind",
    "awning": "What holds it must stand up to wind and snow, and it takes sun: ask whether it needs a permit",
}


@dataclass(frozen=True)
class _Case:
    """One thing that is compared: the layers with it, and what is said of it."""

    option: str
    layers: Mapping[str, Any]
    height_m: float | None = None
    length_m: float | None = None
    area_m2: float | None = None
    says: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Seen:
    """A sight with its rays followed: whether each view is open on the first day without plants, and later with them."""

    sight: Sight
    told: Timelines
    first: dict[str, bool]
    later: dict[str, bool]


def compare_instead(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> pd.DataFrame:
    """Compare what the plan names with planting, side by side.

    Parameters
    ----------
    layers : mapping
        Parcels, sides, windows, private places, planting lines and plants, and buildings, existing screens,
        onlookers, quantities and cost, if there are any: by their contracts, in local-frame metres.
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
    DataFrame
        A row ``nothing``, and one for each thing that is compared; none if the plan names nothing.

    Raises
    ------
    InputError
        If there is no such code or side, or an awning of a depth has no house; by row as `lay_sight` says.
    """
    asked = plan.instead
    if not asked.compare:
        return table_of(INSTEAD, [])
    species_table = load_species() if species_table is None else species_table
    stand = planned_stand(layers["plants"], plan, species_table, plan.growth.years)
    stand = stand.in_years(years_to_rest(stand))
    crowns = crowns_of(stand)
    dim = plan.views.threshold if plan.views.leaves == "translucent" else None
    runs = runs_of(stand, crowns)

    def look(mine: Mapping[str, Any]) -> _Seen:
        sight = sight_of(mine, plan.views, terrain, kept)
        scene = Scene(sight.obstacles, runs, crowns, dim)
        told = sum_each(follow_each(sight.ends(), scene), scene, (0, len(sight.pairs)))
        names = [sight.name(view) for view in range(len(sight.pairs))]
        shares = told.open[:, TYPICAL].max(axis=1)[:, plan.chance_year :]
        limit = plan.views.threshold
        later = (shares > limit).any(axis=1)
        return _Seen(
            sight, told,
            dict(zip(names, ((told.now > limit) & (told.rays > 0)).tolist(), strict=True)),
            dict(zip(names, (later & (told.rays > 0)).tolist(), strict=True)),
        )  # fmt: skip

    closings = _closings(plan, species_table)
    today = look(layers)
    code = limit_named(limits, asked.code, FenceHeight, Instead.key("code"))
    cases = [_Case("nothing", layers), *_cases(layers, asked, code, today, look)]
    records = [_record(case, look(case.layers), today, closings, layers, plan) for case in cases]
    return table_of(INSTEAD, records)


def fence_lines(
    parcels: gpd.GeoDataFrame, side: shapely.LineString, inset_m: float, buildings=None
) -> list[shapely.LineString]:
    """Give the lines of a fence along a side, within the parcel; it stops at buildings.

    Parameters
    ----------
    parcels : GeoDataFrame
    side : LineString
    inset_m : float
        Its distance from the boundary.
    buildings : GeoDataFrame, optional

    Examples
    --------
    >>> lot = gpd.GeoDataFrame({"parcel_id": ["7"], "is_subject": [True]}, geometry=[shapely.box(0, 0, 30, 40)])
    >>> [round(line.length, 3) for line in fence_lines(lot, shapely.LineString([(0, 40), (0, 0)]), 0.0)]
    [40.0]
    """
    outline = subject_outline(parcels)
    inner = shapely.buffer(outline, -inset_m, join_style="mitre") if inset_m else outline
    near = shapely.buffer(side, 1.5 * inset_m + 1e-6, cap_style="flat")
    line = shapely.intersection(shapely.boundary(inner), near)
    if has_rows(buildings):
        line = shapely.difference(line, shapely.union_all(buildings.geometry.to_numpy()))
    whole = shapely.line_merge(line)
    return [
        part
        for part in shapely.get_parts(whole)
        if part.geom_type == "LineString" and part.length > 2.0 * inset_m + 1e-3
    ]


def _cases(layers, asked: Instead, code: FenceHeight, today: _Seen, look) -> Iterator[_Case]:
    for option in asked.compare:
        if option in UPRIGHT:
            yield _along_boundary(option, layers, asked, code)
        elif option == "awning":
            yield _awning(layers, asked)
        else:
            yield _moved(layers, asked, today, look)


def _along_boundary(option: str, layers, asked: Instead, code: FenceHeight) -> _Case:
    """Lay a fence, wall or trellis along the sides, by yard as tall as the plan or the code says."""
    sides = layers["sides"]
    names = sides["side_id"].astype(str).tolist()
    unknown = [name for name in asked.along if name not in names]
    if unknown:
        raise refuse(
            f"there is no side '{unknown[0]}'",
            f"Write some of {', '.join(names)}"
            if names
            else "Give the parcel, whose sides are meant",
            key=Instead.key("along"),
        )
    planted = set(layers["planting_lines"]["side_id"].astype(str))
    chosen = asked.along or [name for name in names if name in planted] or names
    shapes, heights, over = [], [], []
    yards: dict[tuple[str, float], list[str]] = {}
    for name, yard, side in zip(names, classes_of(sides), sides.geometry, strict=True):
        allowed = getattr(code, f"{yard}_m")
        own = getattr(asked, yard)
        height = allowed if own is None else own
        lines = fence_lines(layers["parcels"], side, asked.inset, layers.get("buildings")) if name in chosen else []  # fmt: skip
        if not lines:
            continue
        yards.setdefault((yard, height), []).append(name)
        if height > allowed + 1e-6:
            over.append(f"{yard} {{{allowed:.2f} m}}")
        shapes += lines
        heights += [(height, yard)] * len(lines)
    open_share = asked.trellis_open if option == "trellis" else 0.0
    front_open = max(open_share, code.front_open_share)
    screens = gpd.GeoDataFrame(
        {
            "screen_id": [f"{option} {number}" for number in range(1, len(shapes) + 1)],
            "kind": ["wall" if option == "wall" else "fence"] * len(shapes),
            "height_m": [height for height, _ in heights],
            "opacity": [1.0 - (front_open if yard == "front" else open_share) for _, yard in heights],
        },
        geometry=shapes, crs=sides.crs,
    )  # fmt: skip
    told = [
        f"{{{height:.2f} m}} along {', '.join(mine)} ({yard})"
        for (yard, height), mine in yards.items()
    ]
    says = ["; ".join(told) if told else "No side has room for it"]
    if over:
        says.append(f"the code {asked.code} allows less: {', '.join(dict.fromkeys(over))}")
    if code.front_open_share and any(yard == "front" for _, yard in heights):
        says.append(f"at the front at least {code.front_open_share:.0%} of it stays open, as that code asks")  # fmt: skip
    if any(height > code.permit_above_m for height, _ in heights):
        says.append(f"above {{{code.permit_above_m:.2f} m}} it needs a permit by that code")
    says.append(f"heights by the published code {asked.code}: yours may differ, ask it" if not _all_own(asked) else "ask your own code how tall it may be")  # fmt: skip
    says.append("gates and drives are not left out")
    if option == "trellis":
        says.append(f"it lets {asked.trellis_open:.0%} of the light through until something climbs it")  # fmt: skip
    return _Case(
        option, _with_screens(layers, screens), max((height for height, _ in heights), default=0.0),
        float(sum(line.length for line in shapes)), None, (*says, ASK[option]),
    )  # fmt: skip


def _all_own(asked: Instead) -> bool:
    return None not in (asked.front, asked.side, asked.rear)


def _awning(layers, asked: Instead) -> _Case:
    """Lay a level sheet over each place, or over the strip of it that is next to a house."""
    places = layers["private_places"]
    shapes = [shape for shape in places.geometry.to_numpy() if shape.area > 0.0]
    where = "over the whole place"
    if asked.awning_depth is not None:
        if not has_rows(layers.get("buildings")):
            raise refuse(
                "an awning reaches out from a house, and there is none",
                "Leave the depth out, so that it covers the whole place, or give buildings",
                key=Instead.key("awning_depth"),
            )
        houses = shapely.union_all(layers["buildings"].geometry.to_numpy())
        reach = shapely.buffer(houses, asked.awning_depth)
        shapes = [shapely.intersection(shape, reach) for shape in shapes]
        where = f"{{{asked.awning_depth:.2f} m}} out from the house"
    shapes = [
        part
        for shape in shapes
        for part in shapely.get_parts(shape)
        if part.geom_type == "Polygon" and part.area > 0.0
    ]
    screens = gpd.GeoDataFrame(
        {
            "screen_id": [f"awning {number}" for number in range(1, len(shapes) + 1)],
            "kind": [AWNING] * len(shapes), "height_m": asked.awning_height, "opacity": 1.0,
        },
        geometry=shapes, crs=places.crs,
    )  # fmt: skip
    says = f"{{{asked.awning_height:.2f} m}} up, {where}" if shapes else "No place lies within its reach"  # fmt: skip
    return _Case(
        "awning", _with_screens(layers, screens), asked.awning_height, None,
        float(sum(shape.area for shape in shapes)), (f"{says}; its sides stay open", ASK["awning"]),
    )  # fmt: skip


def _moved(layers, asked: Instead, today: _Seen, look) -> _Case:
    """Lay the place that most look at on other spots of the parcel, and take the one on which fewest do."""
    places = layers["private_places"].reset_index(drop=True)
    open_rays = np.bincount(
        today.sight.pairs[:, 1], weights=today.told.now * today.told.rays, minlength=len(places)
    )
    row = int(open_rays.argmax()) if len(places) else 0
    spots = _spots(layers, places, row, asked.move_step)
    best, tried = None, 0
    for dx, dy in spots:
        shapes = places.geometry.to_numpy().copy()
        shapes[row] = shapely.affinity.translate(shapes[row], dx, dy)
        mine = {**layers, "private_places": places.set_geometry(shapes, crs=places.crs)}
        try:
            seen = look(mine)
        except InputError:  # somebody would stand in the place
            continue
        tried += 1
        worth = (
            sum(seen.first.values()),
            round(float(seen.told.now.sum()), 6),
            float(np.hypot(dx, dy)),
        )
        if best is None or worth < best[0]:
            best = (worth, dx, dy, mine)
    name = places["place_id"].astype(str).iloc[row] if len(places) else ""
    if best is None:
        return _Case("place_moved", layers, says=(f"{name}: the parcel has no other room for it",))
    (_, dx, dy, mine) = best
    way = compass_name(float(bearing_deg(dx, dy)))
    return _Case(
        "place_moved", mine,
        says=(f"{name} {{{float(np.hypot(dx, dy)):.1f} m}} to the {way}, the best of {tried} spots",),
    )  # fmt: skip


def _spots(layers, places, row: int, step_m: float) -> list[tuple[float, float]]:
    """Give ways to move a place so that it lies within the parcel, off buildings, plants and other places."""
    room = subject_outline(layers["parcels"])
    taken = [shapely.buffer(line, CLEAR_M) for line in layers["planting_lines"].geometry]
    if has_rows(layers.get("buildings")):
        taken += [shapely.buffer(shape, CLEAR_M) for shape in layers["buildings"].geometry]
    taken += [shape for number, shape in enumerate(places.geometry) if number != row]
    room = shapely.difference(room, shapely.union_all(taken))
    place = places.geometry.iloc[row]
    west, south, east, north = (shapely.bounds(room) - shapely.bounds(place)) / step_m
    ways = [
        (i * step_m, j * step_m)
        for i in range(int(np.ceil(west)), int(np.floor(east)) + 1)
        for j in range(int(np.ceil(south)), int(np.floor(north)) + 1)
        if (i, j) != (0, 0)
    ] if not shapely.is_empty(room) else []  # fmt: skip
    shapely.prepare(room)
    fits = [way for way in ways if shapely.contains(room, shapely.affinity.translate(place, *way))]
    return fits[:: -(-len(fits) // MOST_SPOTS) or 1]


def _with_screens(layers, screens: gpd.GeoDataFrame) -> dict[str, Any]:
    existing = layers.get("existing_screens")
    if has_rows(existing):
        screens = pd.concat([existing, screens], ignore_index=True)
    return {**layers, "existing_screens": screens}


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


def _record(case: _Case, seen: _Seen, today: _Seen, closings, layers, plan: Options) -> dict:
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


def _shut_out(today: _Seen, seen: _Seen, layers) -> str | None:
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


def _own_cost(case: _Case, asked: Instead) -> tuple[float | None, list[str]]:
    """Give what a thing costs by the user's price, and what is missing."""
    if case.option in ("nothing", "place_moved"):
        return 0.0, []
    price = next((price for what, price in asked.prices.items() if what == case.option), None)
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
