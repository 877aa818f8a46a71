"""Buildings and boundary: crowns over the line, height at the boundary, walls, and the clipping due."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import OUTGROWN
from screenplan.contracts.findings import FAILS, PASSES, SURVEY, TALK, UNKNOWN, Finding
from screenplan.contracts.tables import has_rows, identifiers, layer_of
from screenplan.effects.growing import TOUCH_M, earliest, first_years, meet
from screenplan.effects.telling import first_to_grow, span_of_years
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.effects import Lines
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, planned_stand
from screenplan.planting.zones import open_ground, subject_of
from screenplan.rules.laws import BY_USER, Heights, boundary_heights, law_of
from screenplan.rules.limit_kinds import Limit, Zoning
from screenplan.rules.limits import allowed_height, limit_named
from screenplan.site.ownership import outline_known
from screenplan.site.sides import sides_at_roads


def outgrow_boundary(
    parcels: gpd.GeoDataFrame,
    plants: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    sides: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> gpd.GeoDataFrame:
    """Tell in which year plants outgrow the line, a height at the boundary, or a wall.

    Parameters
    ----------
    parcels, plants, buildings, sides : GeoDataFrame
        Layers in the local frame. Of the sides what lies across: at a road another height may hold.
    plan : Options, optional
        Of it [boundary], [lines], [growth], and in [setbacks] the law, whose heights hold where
        [boundary] gives none.

    Returns
    -------
    GeoDataFrame
        By the contract ``outgrown``: one row per plant and what it outgrows, with the year from
        which it must be clipped, and by how much a year after that (typical growth).
    """
    heights = boundary_heights(plan)
    rule = limit_named(limits, plan.lines.walls, Zoning, Lines.key("walls"))
    stand = planned_stand(plants, plan, species_table)
    if not len(plants):
        return layer_of(OUTGROWN, [], [], plants.crs)
    known = outline_known(parcels)
    subject, subject_id = subject_of(parcels) if known else (open_ground(), "")
    records, shapes = [], []
    points, ids = stand.points, plants["plant_id"].to_numpy()
    # Over the line: signed, so that a plant that stands beyond it counts from the first day.
    outline = shapely.boundary(subject)
    inside = np.where(shapely.contains(subject, points), 1.0, -1.0)
    at_line = meet(stand, outline, TOUCH_M)
    to_line = inside * at_line.away
    over_line = at_line.holds | (inside < 0.0)[:, None, None]
    # What is no higher at the line than allowed is measured from the stem.
    stem_to_line = inside * shapely.distance(points, outline)
    to_road = inside * shapely.distance(points, sides_at_roads(sides))

    def put(plant, what, thing, away, limit, holds, size, **more):
        when = first_years(holds)
        if earliest(when) is None:
            return
        start = when["year"]
        clip = None
        if start is not None:
            grown = np.diff(size[plant, TYPICAL, max(start - 1, 0) :])
            clip = float(grown.max(initial=0.0))
        records.append(
            {
                "outgrown_id": f"{ids[plant]} {what} {thing}",
                "plant_id": int(ids[plant]),
                "what": what,
                "thing_id": thing,
                "distance_m": away,
                "limit_m": limit,
                "over_m": max(float(size[plant, TYPICAL, -1]) - limit, 0.0),
                **when,
                "clip_m": clip,
                **more,
            }
        )
        shapes.append(points[plant])

    for plant in range(len(plants)) if known else ():
        put(
            plant, "crown over the boundary", subject_id, to_line[plant], to_line[plant],
            over_line[plant], at_line.reach, rule="boundary", source="the parcel's outline",
        )  # fmt: skip
        held = _height_held(heights, stem_to_line[plant], to_road[plant], plan.boundary.within)
        if held is not None:
            away, most_m, key, by = held
            put(
                plant, "height at the boundary", subject_id, away, most_m,
                stand.height[plant] > most_m, stand.height,
                rule=f"boundary.{key}" if by == BY_USER else f"setbacks.law = {plan.setbacks.law}",
                source=by,
            )  # fmt: skip
    for name, plant, away, at_wall, most in _at_walls(stand, buildings, rule):
        put(
            plant, "crown at a wall", name, at_wall.away[plant], at_wall.away[plant],
            at_wall.holds[plant], at_wall.reach, rule="footprint", source="the building's footprint",
        )  # fmt: skip
        put(
            plant, "height at a wall", name, away, most,
            stand.height[plant] > most, stand.height, rule=rule.key, source=rule.source,
        )  # fmt: skip
    return layer_of(OUTGROWN, records, shapes, plants.crs)


def _height_held(
    heights: Heights, to_line_m: float, to_road_m: float, within_m: float
) -> tuple[float, float, str, str] | None:
    """Give the height that holds for a plant: how far off its line is, the height, the key, and by whom it is set.

    At a road that of roads holds, where there is one. A distance to no road is NaN, which is not near.
    """
    if heights.at_road_m is not None and to_road_m <= within_m:
        return to_road_m, heights.at_road_m, "most_height_at_road", heights.road_by
    if heights.most_m is not None and to_line_m <= within_m:
        return to_line_m, heights.most_m, "most_height", heights.by
    return None


def outgrows_walls(
    stand: Stand,
    buildings: gpd.GeoDataFrame | None,
    plan: Options = DEFAULTS,
    limits: Mapping[str, Limit] | None = None,
) -> np.ndarray:
    """Tell which plants of a stand outgrow their room at a wall, at any growth, (plants,).

    Parameters
    ----------
    stand : Stand
        In the years looked at.
    buildings : GeoDataFrame or None
    plan : Options, optional
        Of it ``lines.walls``.
    limits : mapping, optional
        Limits by key; by default the shipped ones.
    """
    found = np.zeros(len(stand.points), bool)
    if len(found) and has_rows(buildings):
        rule = limit_named(limits, plan.lines.walls, Zoning, Lines.key("walls"))
        for _, plant, _, at_wall, most in _at_walls(stand, buildings, rule):
            found[plant] |= (at_wall.holds[plant] | (stand.height[plant] > most)).any()
    return found


def _at_walls(stand: Stand, buildings, rule):
    """Give the plants near each building: its name, the plant, how far its stem is, how its crown meets the wall, and how tall it may grow."""
    if not has_rows(buildings):
        return
    reach = rule.within_m[-1] + stand.farthest[:, :, -1].max(axis=1)
    for row, name in enumerate(identifiers(buildings, "building_id")):
        away = shapely.distance(stand.points, buildings.geometry.iloc[row])
        near = np.flatnonzero(away < reach)
        if len(near):
            at_wall = meet(stand, buildings.geometry.iloc[row], TOUCH_M)
            for plant in near:
                yield name, plant, away[plant], at_wall, allowed_height(rule, away[plant])


def judge_outgrown(outgrown, buildings, known, plan) -> Iterator[Finding]:
    """Tell when clipping must begin at the line and at walls, and how much it is then."""
    over = outgrown if outgrown is not None else pd.DataFrame({"what": []})
    name = "clipping at the boundary"
    if outgrown is None or not known:
        yield Finding(name, UNKNOWN, "The parcel's outline is not known", "a parcels layer", SURVEY)
    else:
        yield _clipped(name, over.loc[over["what"] == "crown over the boundary"],
                       ("crown grows over the boundary", "crowns grow over the boundary"), "No crown grows over the boundary as drawn, at any growth", SURVEY)  # fmt: skip
    name, heights = "height at the boundary", boundary_heights(plan)
    allowed = " and ".join(filter(None, (
        f"{{{heights.most_m:.2f} m}}" if heights.most_m is not None else "",
        f"{{{heights.at_road_m:.2f} m}} at the road" if heights.at_road_m is not None else "",
    )))  # fmt: skip
    if not allowed:
        law = law_of(plan)
        may = (
            ""
            if law is None or law.complaint_above_m is None
            else f"; a neighbour may complain of a screen above {{{law.complaint_above_m:.2f} m}} ({law.heights_source})"
        )
        yield Finding(name, UNKNOWN, f"No height at the boundary is set{may}", "boundary.most_height: what your code or your neighbour allows", TALK)  # fmt: skip
    elif outgrown is None or not known:
        yield Finding(name, UNKNOWN, "The parcel's outline is not known", "a parcels layer", SURVEY)
    else:
        yield _clipped(name, over.loc[over["what"] == "height at the boundary"],
                       (f"plant grows taller than the {allowed} allowed", f"plants grow taller than the {allowed} allowed"), f"No plant at the boundary grows taller than {allowed}", TALK)  # fmt: skip
    name = "room at walls"
    if not has_rows(buildings):
        yield Finding(name, UNKNOWN, "No buildings are given", "a buildings layer")
    elif outgrown is None:
        yield Finding(name, UNKNOWN, "Growth was not looked at", "the layer outgrown")
    else:
        yield _clipped(name, over.loc[over["what"].isin(["crown at a wall", "height at a wall"])],
                       ("plant outgrows its room at a wall", "plants outgrow their room at a wall"), "No plant outgrows its room at a wall, at any growth", "")  # fmt: skip


def _clipped(name, rows, fails: tuple[str, str], passes, caution) -> Finding:
    """Find whether something must be clipped; ``fails`` says what one does, and what several do."""
    if not len(rows):
        return Finding(name, PASSES, passes, caution=caution)
    first = first_to_grow(rows)
    clip = rows["clip_m"].max()
    much = f", and after that by up to {{{clip:.2f} m}} a year" if pd.notna(clip) else ""
    count = rows["plant_id"].nunique()
    says = (
        f"1 {fails[0]}: it must be clipped"
        if count == 1
        else f"{count} {fails[1]}: they must be clipped"
    )
    return Finding(name, FAILS, f"{says}, plant {first['plant_id']} first, {span_of_years(first)}{much}",
                   "a place farther away, a narrower or lower species, or someone who clips every year", caution)  # fmt: skip
