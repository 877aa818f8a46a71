"""The step that follows the rays: which views exist, and in which year the rows close them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.ground.errors import refuse
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species import Species
from screenplan.planting.stand import Stand, stand_of
from screenplan.views.accuracy import other_grounds, sampling_error
from screenplan.views.crowns import MOST_YEARS
from screenplan.views.grown import crowns_of, rows_of, stand_in_year, years_to_rest
from screenplan.views.holes import find_holes
from screenplan.views.obstacles import ground_grid
from screenplan.views.results import View, view_holes_layer, view_years_table, views_layer
from screenplan.views.sampling import positions_in_view
from screenplan.views.setting import LEAVES, Sampling, Setting, lay_setting
from screenplan.views.timeline import PORTION, Scene, follow, last_open, sum_up

#: Years that fit: those of a mask, year 0 and grown plants counted.
LAST_YEAR = MOST_YEARS - 2
#: Rays that the search for holes works on; beyond it an even choice of them.
MOST_HOLE_RAYS = 20_000


def trace_views(
    windows: gpd.GeoDataFrame,
    private_places: gpd.GeoDataFrame,
    planting_lines: gpd.GeoDataFrame,
    plants: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    existing_screens: gpd.GeoDataFrame | None = None,
    no_plant_zones: gpd.GeoDataFrame | None = None,
    terrain=None,
    onlookers: gpd.GeoDataFrame | None = None,
    *,
    years: int = 30,
    report_years: Sequence[int] = (0, 1, 2, 3, 5, 10, 15, 20, 30),
    threshold: float = 0.10,
    eye_inside_m: float = 1.0,
    eye_seated_m: float = 1.2,
    eye_standing_m: float = 1.6,
    eyes_across: int = 3,
    target_spacing_m: float = 1.0,
    most_targets: int = 100,
    onlooker_spacing_m: float = 5.0,
    onlooker_reach_m: float = 60.0,
    second_sample: bool = True,
    leaves: str = "opaque",
    curve: str = "smooth",
    table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame, gpd.GeoDataFrame]:
    """Follow the rays from windows and onlookers to private places through the years.

    Parameters
    ----------
    windows, private_places, planting_lines, plants : GeoDataFrame
        Layers of the contracts, in local-frame metres.
    buildings, existing_screens, no_plant_zones : GeoDataFrame, optional
        What stands already, and what explains gaps. Existing screens of kind "plant" are no
        obstacles: such rows come as plants.
    terrain : Terrain, optional
        Ground heights; a terrain that is not flat blocks rays. By default level ground at 0.
    onlookers : GeoDataFrame, optional
        Where people are who look out of no window: an area, a line that is walked, a point.
    years : int
        Last year looked at, 1 to 61.
    report_years : sequence of int
        Years with a column of their own in ``views``.
    threshold : float
        Share of a view that may stay open for it to count as closed, 0 to below 1.
    eye_inside_m : float
        Distance of the eyes behind the outer face of the wall.
    eye_seated_m, eye_standing_m : float
        Heights of the eyes above the floor of the room.
    eyes_across : int
        Eye positions over the width of a window.
    target_spacing_m : float
        Distance between positions in a place.
    most_targets : int
        Positions in a place at most, about; each has a seated and a standing head.
    onlooker_spacing_m : float
        Distance between positions along an onlooker's way.
    onlooker_reach_m : float
        Positions of onlookers farther than this from every place are left out.
    second_sample : bool
        Whether a denser sample gives the error of the shares, and, on a terrain, ground raised and
        lowered the error that the terrain's cells leave.
    leaves : {"opaque", "translucent"}
        Whether crowns stop all light, or let some through by the length of the way through them.
    curve : {"smooth", "straight"}
        Growth curve.
    table : mapping, optional
        Species by key; by default the shipped table.

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
        On parameters out of range, and on rows that cannot be looked at: see `lay_setting` and
        `stand_of`.

    Notes
    -----
    Crowns are opaque, unless ``leaves`` is "translucent": then an open share is the mean share of
    the light that the leaves let pass (`screenplan.views.leaves`), a view is closed when that is at
    or below the threshold, and its holes are where single rays keep more than the threshold. Low
    growth then goes with the lower leaf density of the species, high growth with the higher. In
    winter, what passes a plant that has dropped its leaves is told by its
    species; where several stand in a row behind each other the densest decides.

    A ray is stopped the same whichever way it is looked along: a view that is closed from a window
    to a terrace is closed from the terrace to that window.
    """
    _check(years, report_years, threshold)
    if leaves not in LEAVES:
        raise refuse(f"{leaves!r} says nothing of leaves", f"Write one of {', '.join(LEAVES)}")
    dim = threshold if leaves == "translucent" else None
    sampling = Sampling(
        eye_inside_m, eye_seated_m, eye_standing_m, eyes_across, target_spacing_m, most_targets,
        onlooker_spacing_m, onlooker_reach_m,
    )  # fmt: skip
    setting = lay_setting(
        windows, private_places, planting_lines, onlookers, buildings, existing_screens, terrain,
        sampling=sampling,
    )  # fmt: skip
    stand = stand_of(plants, years=years, curve=curve, table=table)
    stand = stand.in_years(years_to_rest(stand))
    crowns = crowns_of(stand)
    scene = Scene(setting.obstacles, rows_of(stand, crowns), crowns, dim)
    others = []
    if second_sample and not setting.ground.is_flat:
        others = [
            _on_other_ground(ground, setting, stand, scene)
            for ground in other_grounds(setting.ground)
        ]
    zones = _zones(no_plant_zones)
    stands: dict[int, list] = {}
    views = []
    for view_id, looker, place, place_id in setting.pairs():
        behind = looker.eyes[place.is_single, False]
        timeline, kept = _trace(looker.opening, behind, place.coarse, scene)
        error = np.nan
        if second_sample and (timeline.rays or looker.may_see(place)):
            error = _sampling_error(timeline, looker, place, scene)
        holes, last = [], last_open(timeline.open[TYPICAL, 0], threshold, years)
        if timeline.rays and last is not None:
            if last not in stands:
                stands[last] = stand_in_year(planting_lines, plants, stand, last)
            if kept is None:
                kept = follow(looker.opening, behind, place.coarse, scene)
            holes = find_holes(
                *_open_rays(kept, last, years), stands[last], zones, setting.ground,
                max(years, last),
            )  # fmt: skip
        apart = [other[view_id].differs_from(timeline) for other in others]
        views.append(
            View(
                view_id, looker.looker_id, place_id, looker.kind,
                shapely.LineString([looker.middle, place.middle]),
                timeline, error, max(apart, default=np.nan),
                holes, last, years,
            )
        )  # fmt: skip
    return (
        views_layer(views, report_years=report_years, threshold=threshold, crs=windows.crs),
        view_years_table(views),
        view_holes_layer(views, crs=windows.crs),
    )


def _sampling_error(timeline, looker, place, scene) -> float:
    """Error of a view's shares by a second sample, and by how much of both samples takes part."""
    eyes, more = looker.eyes[place.is_single, False], looker.eyes[place.is_single, True]
    denser = sum_up(follow(looker.opening, more, place.dense, scene), scene)
    if timeline.rays:
        spots, heads = positions_in_view(looker.opening, eyes, place.coarse)
    elif denser.rays or looker.glimpses(place):
        # What the sample does not see at all may be open or shut.
        return 1.0
    else:
        spots, heads = positions_in_view(None, eyes, place.coarse)
    return sampling_error(timeline, denser, heads, spots, single=place.is_single)


def _on_other_ground(ground, setting: Setting, stand: Stand, scene: Scene):
    """Timelines of all views with the same eyes and heads, but another ground in the way."""
    rise = ground.height_at(*stand.xy.T) - setting.ground.height_at(*stand.xy.T)
    moved = rows_of(replace(stand, ground_m=stand.ground_m + rise), scene.table)
    grid = ground_grid(ground, setting.within)
    scene = Scene(replace(setting.obstacles, ground=grid), moved, scene.table, scene.dim)
    return {
        view_id: sum_up(
            follow(looker.opening, looker.eyes[place.is_single, False], place.coarse, scene), scene
        )
        for view_id, looker, place, _ in setting.pairs()
    }


def _trace(opening, eyes, targets, scene):
    """Timeline of a view, and its followed rays if they are few enough to be kept."""
    portions = follow(opening, eyes, targets, scene)
    if len(eyes) * len(targets) > PORTION:
        return sum_up(portions, scene), None
    kept = list(portions)
    return sum_up(iter(kept), scene), kept


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


def _check(years, report_years, threshold) -> None:
    if not (isinstance(years, (int, np.integer)) and 1 <= years <= LAST_YEAR):
        raise refuse(
            f"{years!r} is no last year to look at", f"Give a whole number from 1 to {LAST_YEAR}"
        )
    wrong = [year for year in report_years if not 0 <= year <= years or year != int(year)]
    if wrong:
        raise refuse(
            f"year {wrong[0]} cannot be reported, as years 0 to {years} are looked at",
            "Take it out of report_years, or raise years",
        )
    if not 0.0 <= threshold < 1.0:
        raise refuse(f"the threshold {threshold} is no share", "Give a number from 0 to below 1")
