"""The step that follows the rays: which views exist, and in which year the rows close them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.draws import Draws
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, planned_stand
from screenplan.site.shaping import column_or
from screenplan.site.terrain import Terrain
from screenplan.views.accuracy import other_grounds, sampling_error
from screenplan.views.chance import Drawing, closing_years, drawing_of, view_of
from screenplan.views.dimmed import dimmed_years, dimming_of
from screenplan.views.grown import crowns_of, runs_of, stand_in_year, years_to_rest
from screenplan.views.holes import find_holes
from screenplan.views.obstacles import ground_grid
from screenplan.views.opened import shares_before
from screenplan.views.results import View, view_holes_layer, view_years_table, views_layer
from screenplan.views.sampling import positions_in_view, rays_through
from screenplan.views.sight import Look, Sight, sight_of
from screenplan.views.timeline import (
    Portion,
    Scene,
    Timeline,
    Timelines,
    follow,
    follow_each,
    last_open,
    sum_each,
)
from screenplan.views.together import PORTION

#: Rays that the search for holes works on; beyond it an even choice of them.
MOST_HOLE_RAYS = 20_000


def trace_views(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
    second_sample: bool = True,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame, gpd.GeoDataFrame]:
    """Follow the rays from windows and onlookers to private places through the years.

    Parameters
    ----------
    layers : mapping
        Windows, private places, planting lines and plants, and buildings, existing screens,
        onlookers and no-plant zones, which explain gaps, if there are any: by their contracts, in
        local-frame metres. New screens, if some are built first, are among the existing ones; views are told as
        open or closed before they are built. Existing screens of kind "plant" are no obstacles: such rows come as
        plants.
    plan : Options
        Of its sections growth, views and chance, and the year of the goal.
    terrain : Terrain, optional
        Ground heights; a terrain that is not flat blocks rays. By default level ground at 0.
    species_table : mapping, optional
        Species by key; by default the shipped table.
    kept : Kept, optional
        What the run has made: the sight.
    second_sample : bool
        Whether a denser sample gives the error of the shares, and, on a terrain, ground raised and
        lowered the error that the terrain's cells leave.

    Returns
    -------
    views : GeoDataFrame
        One row per window or onlooker, and place. Shares are of all rays that pass the window's opening, or of
        their light where something translucent stands in the way. For plants that drop their
        leaves the shares and the years of closing are those of the season in which more is open.
        What closes within the years looked at stays closed until its plants are grown: that is
        followed beyond them.
    view_years : DataFrame
        Open share by year, growth and season, for pairs that have a ray.
    view_holes : GeoDataFrame
        Where the last open rays pass the planting lines, in the last year in which the view is
        open at typical growth in summer; of a view that opens again later, the year in which it does.

    Raises
    ------
    InputError
        On rows that cannot be looked at: see `lay_sight` and `stand_of`.

    Notes
    -----
    Crowns are opaque, unless ``views.leaves`` is "translucent": then an open share is the mean share of
    the light that the leaves let pass (`screenplan.views.leaves`), a view is closed when that is at
    or below the threshold, and its holes are where single rays keep more than the threshold. Low
    growth then goes with the lower leaf density of the species, high growth with the higher. In
    winter, what passes a plant that has dropped its leaves is told by its
    species; where several stand in a row behind each other the densest decides.

    A ray is stopped the same whichever way it is looked along: a view that is closed from a window
    to a terrace is closed from the terrace to that window.
    """
    plants, years, threshold = layers["plants"], plan.growth.years, plan.views.threshold
    dim = threshold if plan.views.leaves == "translucent" else None
    sight = sight_of(layers, plan.views, terrain, kept)
    looked_at = planned_stand(plants, plan, species_table, years)
    stand = looked_at.in_years(years_to_rest(looked_at))
    crowns = crowns_of(stand)
    scene = Scene(sight.obstacles, runs_of(stand, crowns), crowns, dim)
    drawing = _drawing(looked_at, plan)
    others = []
    if second_sample and not sight.ground.is_flat:
        others = [
            _on_other_ground(ground, sight, stand, scene) for ground in other_grounds(sight.ground)
        ]
    zones = _zones(layers.get("no_plant_zones"))
    windows = layers["windows"]
    apart = dict(
        zip(windows["window_id"].astype(str), column_or(windows, "set_apart"), strict=True)
    )
    stands: dict[int, list] = {}
    before = shares_before(sight, layers)
    views = []
    for look, number, timeline, denser, portion in _traced(sight, scene, second_sample):
        error = np.nan
        if denser is not None and (timeline.rays or look.may_exist()):
            error = _sampling_error(timeline, denser, look)
        holes, last = [], last_open(timeline.open[TYPICAL, 0], threshold, years)
        if timeline.rays and last is not None:
            if last not in stands:
                stands[last] = stand_in_year(layers["planting_lines"], plants, stand, last)
            rays = [portion] if portion else follow(look.opening, look.eyes, look.heads, scene)
            origin, target, late = _open_rays(rays, last, years)
            holes = find_holes(
                origin, target, late, stands[last], zones, sight.ground, max(years, last),
            )  # fmt: skip
        closing = None
        if drawing is not None and timeline.rays:
            closing = _closing(look, sight, portion, drawing, plan)
        differences = [other.of_view(number).differs_from(timeline) for other in others]
        views.append(
            View(
                look.view_id, look.observer_id, look.place_id, look.kind,
                shapely.LineString(look.middles),
                timeline, error, max(differences, default=np.nan),
                holes, last, closing, years, apart.get(look.observer_id) if look.opening is not None else None,
                None if before is None or not timeline.rays else float(before[number]),
            )
        )  # fmt: skip
    crs = windows.crs
    return (
        views_layer(
            views,
            report_years=plan.views.report_years,
            threshold=threshold,
            chance_year=None if drawing is None else plan.chance_year,
            crs=crs,
            evidence=stand.evidence,
        ),
        view_years_table(views),
        view_holes_layer(views, crs=crs),
    )


def _traced(sight: Sight, scene: Scene, second_sample: bool):
    """Give every view with its number, timeline, that of a denser sample, and its rays if they are few enough to be kept."""
    looks, ends = sight.looks(), sight.ends()
    finer = sight.ends(finer=True) if second_sample else None
    for first, last in ends.batches():
        mine = ends.only(first, last)
        followed: Iterable[Portion] = follow_each(mine, scene)
        kept = None
        if mine.most.sum() <= PORTION:
            kept = next(iter(followed), None)
            followed = [kept] if kept else []
        told = sum_each(followed, scene, (0, last - first))
        denser = None
        if finer is not None:
            again = follow_each(finer.only(first, last), scene)
            denser = sum_each(again, scene, (0, last - first))
        for k in range(last - first):
            yield (
                next(looks), first + k, told.of_view(k), denser and denser.of_view(k),
                kept and kept.of_view(k),
            )  # fmt: skip


def _sampling_error(timeline: Timeline, denser: Timeline, look: Look) -> float:
    """Error of a view's shares by a second sample, and by how much of both samples takes part."""
    if timeline.rays:
        spots, heads = positions_in_view(look.opening, look.eyes, look.heads)
    elif denser.rays or look.is_glimpsed():
        # What the sample does not see at all may be open or shut.
        return 1.0
    else:
        spots, heads = positions_in_view(None, look.eyes, look.heads)
    return sampling_error(timeline, denser, heads, spots, single=look.is_single)


def _on_other_ground(ground, sight: Sight, stand: Stand, scene: Scene) -> Timelines:
    """Timelines of all views with the same eyes and heads, but another ground in the way."""
    rise = ground.height_at(*stand.xy.T) - sight.ground.height_at(*stand.xy.T)
    moved = runs_of(replace(stand, ground_m=stand.ground_m + rise), scene.crowns)
    grid = ground_grid(ground, sight.within)
    scene = Scene(replace(sight.obstacles, ground=grid), moved, scene.crowns, scene.dim)
    return sum_each(follow_each(sight.ends(), scene), scene, (0, len(sight.pairs)))


def _drawing(stand: Stand, plan: Options) -> Drawing | None:
    """Draw the plants; None if nothing is drawn."""
    if not plan.chance.draws:
        return None
    draws = Draws(plan.chance.draws, plan.chance.seed, plan.growth.losses, plan.growth.replaced)
    return drawing_of(stand, draws)


def _closing(look: Look, sight: Sight, portion, drawing: Drawing, plan: Options) -> np.ndarray:
    """Years in which a view closes, by draw; of a view of very many rays an even choice of them."""
    years, threshold = plan.growth.years, plan.views.threshold
    translucent = plan.views.leaves == "translucent"
    if portion is None:
        step = -(-len(look.eyes) * len(look.heads) // PORTION)
        origin, target = rays_through(look.opening, look.eyes, look.heads[::step])
        light = sight.obstacles.light_left(origin, target)[0]
    else:
        origin, target, light = portion.origin, portion.target, portion.light
    if translucent:
        return dimmed_years(dimming_of(origin, target, light, drawing), drawing, years, threshold)
    return closing_years(view_of(origin, target, light, drawing), drawing, years, threshold)


def _open_rays(portions, year, years):
    """Gather the rays that are open in a year: their ends, and the last year of each."""
    origins, targets, lasts = [np.zeros((0, 3))], [np.zeros((0, 3))], [np.zeros(0, np.int64)]
    for portion in portions:
        is_open = portion.open_in(year, TYPICAL)
        origins.append(portion.origin[is_open])
        targets.append(portion.target[is_open])
        last = np.full(int(is_open.sum()), year, np.int64)
        for later in range(year + 1, years + 1):
            last[portion.open_in(later, TYPICAL)[is_open]] = later
        lasts.append(last)
    ends = [np.concatenate(part) for part in (origins, targets, lasts)]
    step = -(-len(ends[0]) // MOST_HOLE_RAYS) or 1
    return tuple(part[::step] for part in ends)


def _zones(no_plant_zones) -> list[tuple]:
    if no_plant_zones is None or not len(no_plant_zones):
        return []
    by_size = np.argsort(no_plant_zones.area.to_numpy(), kind="stable")
    features = no_plant_zones["feature"].astype(str).to_numpy()
    shapes = no_plant_zones.geometry.to_numpy()
    return [(shapes[k], features[k]) for k in by_size]
