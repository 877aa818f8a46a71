"""Which plants grow into ground over which a driver must see, and what else stands there."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import geopandas as gpd
import numpy as np

from screenplan.contracts import SIGHT_AREAS, SIGHT_PLANTS
from screenplan.contracts.findings import FAILS, PASSES, ROAD_SIGHT, UNKNOWN, Finding
from screenplan.contracts.tables import has_rows, layer_of
from screenplan.effects.growing import earliest, first_years, meet
from screenplan.effects.telling import first_to_grow, how_many_grow
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, planned_stand
from screenplan.rules.driver_sight import SightArea, find_sight_areas, named_ground, stands_in
from screenplan.rules.limit_kinds import Limit


def draw_sight_triangles(
    parcels: gpd.GeoDataFrame,
    plants: gpd.GeoDataFrame,
    roads: gpd.GeoDataFrame | None = None,
    keep_outs: gpd.GeoDataFrame | None = None,
    sides: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Draw what must stay clear for sight at the road, and list the plants that grow into it.

    Parameters
    ----------
    parcels, plants, roads, keep_outs, sides : GeoDataFrame
        Layers in the local frame. Drives are keep-outs of the kind ``driveway``.
    plan : Options, optional
        Of it [road] and [growth].

    Returns
    -------
    sight_areas, sight_plants : GeoDataFrame
        Both empty without roads.

    Notes
    -----
    A plant stands in the way once its crown reaches over the area in plan and fills a part of the
    band that must be clear there. Heights count from the ground at its foot.
    """
    layers = {"parcels": parcels, "roads": roads, "keep_outs": keep_outs, "sides": sides}
    areas = find_sight_areas(layers, plan, limits)
    stand = planned_stand(plants, plan, species_table)
    records, inside = [], []
    for number, area in enumerate(areas, 1):
        name = f"sight-{number}"
        found = list(_plants_in(name, area, plants, stand))
        inside += found
        years = (
            earliest({k: row[k] for k in ("year_low", "year", "year_high")}) for row, _ in found
        )
        when = [year for year in years if year is not None]
        records.append(
            {
                "area_id": name,
                "kind": area.kind,
                "at": area.at,
                "distance_m": area.distance_m,
                "clear_from_m": area.clear_from_m,
                "clear_to_m": None if math.isinf(area.clear_to_m) else area.clear_to_m,
                "is_minimum": area.is_minimum,
                "plants": len(found),
                "first_year": min(when, default=None),
                "rule": area.rule.key,
                "reason": area.rule.reason,
                "source": area.rule.source,
                "status": area.rule.status,
            }
        )
    return (
        layer_of(SIGHT_AREAS, records, [area.outline for area in areas], parcels.crs),
        layer_of(SIGHT_PLANTS, [row for row, _ in inside], [at for _, at in inside], parcels.crs),
    )


def grow_into_sight(stand: Stand, areas: Sequence[SightArea]) -> np.ndarray:
    """Tell which plants grow into ground over which a driver must see, (plants,) of bool.

    Parameters
    ----------
    stand : Stand
    areas : sequence of SightArea
    """
    into = np.zeros(len(stand.points), bool)
    for area in areas:
        into |= _in_band(area, stand).any(axis=(1, 2))
    return into


def _in_band(area: SightArea, stand: Stand) -> np.ndarray:
    """Tell in which years and growths a crown reaches over an area and fills a part of its band, (plants, 3, years)."""
    over = meet(stand, area.outline).holds
    return over & (stand.height > area.clear_from_m) & (stand.clear < area.clear_to_m)


def _plants_in(name: str, area: SightArea, plants, stand: Stand) -> Iterator[tuple[dict, object]]:
    into = _in_band(area, stand)
    for plant in np.flatnonzero(into.any(axis=(1, 2))):
        plant_id = int(plants["plant_id"].iloc[plant])
        yield (
            {
                "sight_plant_id": f"{plant_id} {name}",
                "plant_id": plant_id,
                "area_id": name,
                "kind": area.kind,
                "limit_m": area.clear_from_m,
                **first_years(into[plant]),
            },
            stand.points[plant],
        )


def judge_road_sight(
    roads, keep_outs, sight_areas, sight_plants, known: bool = True, new_screens=None
) -> Finding:
    """Tell whether a plant grows, or a new screen is built, into ground over which a driver must see."""
    name = "sight at the road"
    if not has_rows(roads):
        return Finding(name, UNKNOWN, "No roads are given", "a roads layer", ROAD_SIGHT)
    if not known:
        return Finding(name, UNKNOWN, "The parcel's outline is not known, and so not where a drive leaves it",
                       "a parcels layer", ROAD_SIGHT)  # fmt: skip
    if sight_areas is None or sight_plants is None:
        return Finding(
            name,
            UNKNOWN,
            "Sight was not looked at",
            "the layers sight_areas and sight_plants",
            ROAD_SIGHT,
        )
    if not has_rows(sight_areas):
        drives = keep_outs is not None and keep_outs["kind"].isin(["driveway", "drive"]).any()
        says = (
            "No drive of the parcel meets a road that is given" if drives else "No drive is given"
        )
        return Finding(name, UNKNOWN, f"{says}, and the parcel is at no corner of two roads",
                       "keep_outs of the kind driveway up to the boundary", ROAD_SIGHT)  # fmt: skip
    unknown = (
        not (sight_areas["kind"] == "stopping").any() and (sight_areas["kind"] == "drive").any()
    )
    built = _built_in(sight_areas, new_screens)
    if has_rows(sight_plants) or built:
        told, needs = [], []
        if has_rows(sight_plants):
            first = first_to_grow(sight_plants)
            area = sight_areas.loc[sight_areas["area_id"] == first["area_id"]].iloc[0]
            told.append(
                f"{how_many_grow(sight_plants)} into ground over which a driver must see: plant "
                f"{first['plant_id']} first, in year {int(first['first'])}, above {{{first['limit_m']:.2f} m}} in {named_ground(area['kind'], area['at'])}"
            )
            needs.append("leaving these plants out, or a species that stays below that height")
        if built:
            piece, area = built[0]
            others = f"{len(built)} pieces stand" if len(built) > 1 else "1 piece stands"
            told.append(
                f"{others} of the new {piece['option']} where a driver must see: {piece['piece_id']}, "
                f"{{{piece['height_m']:.2f} m}} high and so above {{{area['clear_from_m']:.2f} m}}, in {named_ground(area['kind'], area['at'])}"
            )
            needs.append("ending it before that ground, or building it lower there")
        return Finding(
            name, FAILS, f"{'. '.join(told)}. A child behind it would be seen too late",
            "; ".join(needs), ROAD_SIGHT,
        )  # fmt: skip
    says = f"No plant grows into any of the {len(sight_areas)} areas that must stay clear, at any growth"
    if has_rows(new_screens):
        says += ", and nothing new is built there"
    if unknown:
        return Finding(name, UNKNOWN, f"{says}; distances along the road were not looked at", "the road's speed_kmh", ROAD_SIGHT)  # fmt: skip
    return Finding(name, PASSES, says, caution=ROAD_SIGHT)


def _built_in(sight_areas, new_screens) -> list[tuple]:
    """Give each piece of a new screen that stands in such an area, taller than it may, with the first of its areas.

    One along the rim, such as on the boundary, stands in it too.
    """
    if not has_rows(new_screens):
        return []
    found = []
    for _, piece in new_screens.iterrows():
        inside = stands_in(piece.geometry, sight_areas.geometry.to_numpy())
        held = sight_areas.loc[inside & (sight_areas["clear_from_m"] < piece["height_m"]).to_numpy()]  # fmt: skip
        if len(held):
            found.append((piece, held.iloc[0]))
    return found
