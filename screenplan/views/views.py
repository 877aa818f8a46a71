"""The step that follows the rays: which views exist, and in which year the rows close them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.errors import refuse
from screenplan.planting.species import Species, load_species
from screenplan.site.terrain import Terrain
from screenplan.views.crowns import MOST_YEARS
from screenplan.views.grown import grow_rows, stand_in_year
from screenplan.views.holes import find_holes
from screenplan.views.obstacles import identifiers, lay_obstacles
from screenplan.views.openings import openings_of
from screenplan.views.results import (
    TYPICAL,
    View,
    view_holes_layer,
    view_years_table,
    views_layer,
)
from screenplan.views.sampling import eyes_behind, refuse_coincident, sample_places
from screenplan.views.timeline import PORTION, Scene, follow, sum_up, year_closed

#: Years that fit: those of a mask, year 0 counted.
LAST_YEAR = MOST_YEARS - 1
#: Eye positions that the second, denser sample has more over the width of a window.
MORE_ACROSS = 2
#: Times as many eye positions for a place that is a single position.
SINGLE_ACROSS = 4
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
    second_sample: bool = True,
    curve: str = "smooth",
    table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame, gpd.GeoDataFrame]:
    """Follow the rays from windows to private places through the years.

    Parameters
    ----------
    windows, private_places, planting_lines, plants : GeoDataFrame
        Layers of the contracts, in local-frame metres.
    buildings, existing_screens, no_plant_zones : GeoDataFrame, optional
        What stands already, and what explains gaps. Existing screens of kind "plant" are no
        obstacles: such rows come as plants.
    terrain : Terrain, optional
        Ground heights; a terrain that is not flat blocks rays. By default level ground at 0.
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
    second_sample : bool
        Whether a denser sample gives the error of the shares.
    curve : {"smooth", "straight"}
        Growth curve.
    table : mapping, optional
        Species by key; by default the shipped table.

    Returns
    -------
    views : GeoDataFrame
        One row per window and place. Shares are of all rays that pass the window's opening, or of
        their light where something translucent stands in the way. For plants that drop their
        leaves the shares and the years of closing are those of the season in which more is open.
    view_years : DataFrame
        Open share by year, growth and season, for pairs that have a ray.
    view_holes : GeoDataFrame
        Where the last open rays pass the planting lines, in the last year in which the view is
        open at typical growth in summer.

    Raises
    ------
    InputError
        On parameters out of range, and on rows that cannot be looked at: see `openings_of`,
        `sample_places`, `lay_obstacles` and `grow_rows`.

    Notes
    -----
    A crown is opaque. In winter, what passes a plant that has dropped its leaves is told by its
    species; where several stand in a row behind each other the densest decides.
    """
    _check(years, report_years, threshold, eye_inside_m, eye_seated_m, eye_standing_m)
    _check_sampling(eyes_across, target_spacing_m, most_targets)
    _check_lines(planting_lines)
    ground = Terrain.flat() if terrain is None else terrain
    table = load_species() if table is None else table
    rows, crowns, kind = grow_rows(plants, table=table, years=years, curve=curve)
    scene = Scene(lay_obstacles(buildings, existing_screens, ground), rows, crowns)
    openings = openings_of(
        windows, buildings, ground, eye_standing_m=max(eye_seated_m, eye_standing_m)
    )
    places = sample_places(
        private_places, buildings, planting_lines, ground,
        spacing_m=target_spacing_m, most=most_targets,
    )  # fmt: skip

    def eyes_of(across):
        heights = (eye_seated_m, eye_standing_m)
        return [
            eyes_behind(opening, inside_m=eye_inside_m, heights_m=heights, across=across)
            for opening in openings
        ]

    # A place of one position is seen from more eyes, so that its shares are not coarse.
    eyes = {
        (single, finer): eyes_of(
            eyes_across * (SINGLE_ACROSS if single else 1) + (MORE_ACROSS if finer else 0)
        )
        for single in (False, True)
        for finer in (False, True)
    }
    refuse_coincident(openings, eyes[True, False], windows, places)
    zones = _zones(no_plant_zones)
    stands: dict[int, list] = {}
    views = []
    for w, window_id in enumerate(identifiers(windows, "window_id")):
        for place, place_id in zip(places, identifiers(private_places, "place_id"), strict=True):
            behind, more = eyes[place.is_single, False][w], eyes[place.is_single, True][w]
            timeline, kept = _trace(openings[w], behind, place.coarse, scene)
            error = np.nan
            if second_sample and (timeline.rays or _may_see(openings[w], place)):
                denser = sum_up(follow(openings[w], more, place.dense, scene), scene)
                error = _difference(timeline, denser)
            holes, last = [], 0
            closed = year_closed(timeline.open[TYPICAL, 0], threshold)
            if timeline.rays and closed != 0:
                last = years if closed is None else closed - 1
                if last not in stands:
                    stands[last] = stand_in_year(planting_lines, plants, crowns, kind, last)
                if kept is None:
                    kept = follow(openings[w], behind, place.coarse, scene)
                holes = find_holes(*_open_rays(kept, last), stands[last], zones, ground)
            views.append(
                View(
                    f"{window_id} to {place_id}", window_id, place_id,
                    shapely.LineString([(openings[w].x, openings[w].y), place.middle]),
                    timeline, error, holes, last,
                )
            )  # fmt: skip
    return (
        views_layer(views, report_years=report_years, threshold=threshold, crs=windows.crs),
        view_years_table(views),
        view_holes_layer(views, crs=windows.crs),
    )


def _trace(opening, eyes, targets, scene):
    """Timeline of a view, and its followed rays if they are few enough to be kept."""
    portions = follow(opening, eyes, targets, scene)
    if len(eyes) * len(targets) > PORTION:
        return sum_up(portions, scene), None
    kept = list(portions)
    return sum_up(iter(kept), scene), kept


def _may_see(opening, place) -> bool:
    way = place.dense[:, :2] - (opening.x, opening.y)
    return bool((way @ np.array(opening.out) > 0.0).any())


def _difference(one, two) -> float:
    """Greatest difference of the open shares of two samples, over growths, seasons and years."""
    return float(max(abs(one.now - two.now), np.abs(one.open - two.open).max()))


def _open_rays(portions, year):
    origins, targets = [np.zeros((0, 3))], [np.zeros((0, 3))]
    for portion in portions:
        is_open = portion.open_in(year, TYPICAL)
        origins.append(portion.origin[is_open])
        targets.append(portion.target[is_open])
    origin, target = np.concatenate(origins), np.concatenate(targets)
    step = -(-len(origin) // MOST_HOLE_RAYS) or 1
    return origin[::step], target[::step]


def _zones(no_plant_zones) -> list[tuple]:
    if no_plant_zones is None or not len(no_plant_zones):
        return []
    by_size = np.argsort(no_plant_zones.area.to_numpy(), kind="stable")
    features = no_plant_zones["feature"].astype(str).to_numpy()
    shapes = no_plant_zones.geometry.to_numpy()
    return [(shapes[k], features[k]) for k in by_size]


def _check(years, report_years, threshold, inside, seated, standing) -> None:
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
    for name, value, low in (
        ("eye_inside_m", inside, 0.0),
        ("eye_seated_m", seated, 0.0),
        ("eye_standing_m", standing, 0.0),
    ):
        if not (np.isfinite(value) and value >= low):
            raise refuse(f"{name} is {value}", "Give a length in metres of 0 or more")


def _check_sampling(across, spacing, most) -> None:
    if across < 1 or most < 1 or not (np.isfinite(spacing) and spacing > 0.0):
        raise refuse(
            "the sampling has no points",
            "Give eyes_across and most_targets of 1 or more, and target_spacing_m above 0",
        )


def _check_lines(planting_lines) -> None:
    shapes = planting_lines.geometry.to_numpy()
    wrong = shapely.is_missing(shapes) | (shapely.get_type_id(shapes) != 1)
    wrong |= ~(shapely.length(shapes) > 0.0)
    if wrong.any():
        raise refuse(
            "a planting line is no line with a length",
            "Give each a single line from its zero peg to its end peg",
            layer="planting_lines",
            rows=[int(row) + 1 for row in np.flatnonzero(wrong)],
        )
