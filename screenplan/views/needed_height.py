"""How tall a row must be along its line, before any species is chosen.

The row is taken as an opaque sheet that stands on the line. At each stretch of it, the rays of all
views that nothing existing stops cross at known heights; the needed height is the least one whose
sheet stops the asked share of their light. A row of real plants is such a sheet only up to the
height at which its crowns meet, and from that at which they begin to, so that band is what each species
is held against: it must hold the lowest ray and the needed height. The sheet is opaque also
where the views let light through leaves: a row of that height then closes a little less.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely.ops
from numba import njit

from screenplan.contracts import NEEDED_HEIGHT, NEEDED_PROFILE, NEEDED_YEARS, year_column
from screenplan.contracts.tables import layer_of, table_of
from screenplan.ground.kept import Kept
from screenplan.ground.told_years import soonest_first
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.planting import Views
from screenplan.planting.mixes import kinds_in, name_kinds, planned_spacing
from screenplan.planting.species import load_species
from screenplan.planting.species_model import Species
from screenplan.site.ragged import firsts, numbered
from screenplan.site.terrain import Terrain
from screenplan.views.closing import RowClosing, row_closing
from screenplan.views.crossing import PlanLines, cross_each
from screenplan.views.obstacles import Obstacles
from screenplan.views.positions import READ_M
from screenplan.views.sight import Sight, sight_of
from screenplan.views.together import Rays

#: Needed heights are rounded up to this.
ROUND_UP_M = 0.001
#: A sheet of the needed height must stop the ray that asks for it, not touch it.
OVER_M = 1e-6
#: A sheet stops the asked share if it lacks this share of it: rounding of sums only.
SUM_SLACK = 1e-9
#: So many other species are told, those that reach the height first: what one reads through.
MOST_OTHERS = 8


@dataclass(frozen=True)
class Crossings:
    """Where the rays of views cross planting lines.

    Parameters
    ----------
    station, above, light : ndarray, (crossings,)
        Distance along the line, height above the ground there, and light of the ray.
    view, line : ndarray of int, (crossings,)
        Numbers of the view and of the line.
    """

    station: np.ndarray
    above: np.ndarray
    light: np.ndarray
    view: np.ndarray
    line: np.ndarray

    def only(self, mine: np.ndarray) -> Crossings:
        """Give some of them, by a mask."""
        return Crossings(*(part[mine] for part in vars(self).values()))


def find_needed_height(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame, pd.DataFrame]:
    """Find how tall an opaque sheet on each planting line must be, stretch by stretch.

    Parameters
    ----------
    layers : mapping
        Windows, private places and planting lines, and buildings, existing screens and onlookers
        if there are any: by their contracts, in local-frame metres.
    plan : Options
        Of its sections rows, plants, growth and views.
    terrain : Terrain, optional
        Ground heights; by default level ground at 0.
    species_table : mapping, optional
        Species by key; by default the shipped table.
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    needed_height : GeoDataFrame
        One row per stretch. Each line is looked at alone, as if no other row stood.
    needed_profile : DataFrame
        The same as the corners of a stepped outline, with the height up to which a row of the
        planned species has closed.
    needed_years : DataFrame
        For each line and the planned species, or the planned mixed row, and for the eight others that are
        hardy in the plan's zone and reach it first, the years in which such a row reaches the line's
        greatest height.

    Raises
    ------
    InputError
        By row as `lay_sight` says.
    """
    views, planting_lines = plan.views, layers["planting_lines"]
    species_table = load_species() if species_table is None else species_table
    spacing_m = planned_spacing(plan, species_table)
    planned = kinds_in(plan.plants.species, species_table)
    sight = sight_of(layers, views, terrain, kept)
    growth: dict[str, Any] = {
        "years": plan.growth.years, "curve": plan.growth.curve, "stock": plan.plants.stock,
    }  # fmt: skip
    row = row_closing(
        planned, spacing_m, group=plan.plants.group, stock_height_m=plan.plants.stock_height,
        **growth,
    )  # fmt: skip
    mixed = len(set(planned)) > 1
    shapes_planned = {kind.shape for kind in planned}
    closings: list[tuple[str, str | None, RowClosing]] = [
        (
            key,
            kind.shape,
            row if planned[0] == kind and not mixed else row_closing(kind, spacing_m, **growth),
        )
        for key, kind in hardy_kinds(plan, species_table).items()
    ]
    if mixed:
        shape = shapes_planned.pop() if len(shapes_planned) == 1 else None
        closings.insert(0, (name_kinds([kind.key for kind in planned]), shape, row))
    crossings = cross_lines(sight, list(planting_lines.geometry))
    stretches, shapes, profile, lines = [], [], [], []
    for line_id, line, met in zip(
        planting_lines["line_id"].astype(str), planting_lines.geometry, crossings, strict=True
    ):
        mine = _stretches(line_id, line, met, sight, views, row)
        stretches += mine
        shapes += [
            shapely.ops.substring(line, stretch["from_m"], stretch["to_m"]) for stretch in mine
        ]
        profile += _profile(mine, row, views.report_years)
        needed = max((stretch["needed_m"] for stretch in mine), default=0.0)
        lowest = min(
            (stretch["lowest_m"] for stretch in mine if stretch["lowest_m"] is not None),
            default=None,
        )
        lines += _soonest(
            ({
                "line_id": line_id, "species": name, "planned": closing is row,
                "shape": shape, "spacing_m": spacing_m, "needed_m": needed,
                "lowest_m": lowest, "mature_closed_height_m": closing.mature_height_m,
                "mature_closed_from_m": closing.mature_from_m, **_reached(closing, needed, lowest),
            }
            for name, shape, closing in closings),
            {kind.key for kind in planned},
        )  # fmt: skip
    return (
        layer_of(NEEDED_HEIGHT, stretches, shapes, planting_lines.crs),
        table_of(NEEDED_PROFILE, profile, views.report_years),
        table_of(NEEDED_YEARS, lines),
    )


def hardy_kinds(plan: Options, species_table: Mapping[str, Species]) -> dict[str, Species]:
    """Give the planned kinds and those that are hardy in the plan's zone, by key."""
    planned = kinds_in(plan.plants.species, species_table)
    return {
        key: kind
        for key, kind in species_table.items()
        if kind in planned or kind.hardy_in(plan.health.zone)
    }


def cross_lines(sight: Sight, lines: list, beside: Obstacles | None = None) -> list[Crossings]:
    """Cut the rays of all views that nothing existing stops with planting lines.

    Parameters
    ----------
    sight : Sight
        Who looks at what.
    lines : list of LineString
        Lines in plan.
    beside : Obstacles, optional
        What else is thought to stand: a ray that it stops needs no height, and crosses at 0.
    """
    corners = PlanLines.of([shapely.get_coordinates(line) for line in lines])
    met = joined(cross_rays(*lit, corners, sight.ground, beside=beside) for lit in sight.lit())
    return [met.only(met.line == line) for line in range(len(lines))]


def cross_rays(
    rays: Rays,
    light: np.ndarray,
    lines: PlanLines,
    ground: Terrain,
    *,
    edges: np.ndarray | None = None,
    beside: Obstacles | None = None,
) -> Crossings:
    """Cut some rays that nothing existing stops with planting lines.

    Parameters
    ----------
    rays : Rays
    light : ndarray, (rays,)
        Share of each one's light that what exists lets through.
    lines : PlanLines
    ground : Terrain
    edges : ndarray of int, (rays, 2), optional
        The edges that count for each ray (`cross_each`).
    beside : Obstacles, optional
        As in `cross_lines`.
    """
    origin, target = rays.origin, rays.target
    of, ray, station, t = cross_each(origin, target, lines, edges, light)
    z = _along(origin[:, 2], target[:, 2], ray, t)
    if ground.is_flat:
        above = z - ground.z[0, 0]
    else:
        x, y = (_along(origin[:, k], target[:, k], ray, t) for k in range(2))
        above = z - ground.height_at(x, y)
    if beside is not None:
        above[beside.light_left(origin, target)[0][ray] <= 0.0] = 0.0
    return Crossings(station, above, light[ray], rays.view[ray], of)


def _along(begin, end, ray, t) -> np.ndarray:
    """Give one coordinate at shares of rays."""
    start = begin[ray]
    return start + t * (end[ray] - start)


def joined(some: Iterable[Crossings]) -> Crossings:
    """Put crossings one after the other."""
    none = np.zeros(0)
    every = [Crossings(none, none, none, none.astype(int), none.astype(int)), *some]
    return Crossings(*map(np.concatenate, zip(*(vars(one).values() for one in every), strict=True)))


def height_for(above, light, share: float) -> float:
    """Give the least height of a sheet that stops a share of the light, in metres; 0 for no ray.

    Parameters
    ----------
    above, light : ndarray
        Heights at which rays cross, and their light.
    share : float
        Share to be stopped.
    """
    return float(heights_for(above, light, np.zeros(len(above), int), 1, share)[0])


def heights_for(above, light, group: np.ndarray, count: int, share: float) -> np.ndarray:
    """Give what `height_for` gives for each of so many groups, (count,).

    Parameters
    ----------
    above, light : ndarray, (n,)
    group : ndarray of int, (n,)
        The group of each ray, from 0; a group may have none.
    count : int
    share : float
    """
    rays = np.bincount(group, minlength=count)
    height = _last_stopped(
        np.ascontiguousarray(above, np.float64), np.ascontiguousarray(light, np.float64),
        np.ascontiguousarray(group, np.int64), np.append(firsts(rays), len(group)), share,
    )  # fmt: skip
    heights, some = np.zeros(count), rays > 0
    heights[some] = np.ceil((np.maximum(height[some], 0.0) + OVER_M) / ROUND_UP_M) * ROUND_UP_M
    return heights


@njit(cache=True, error_model="numpy")
def _last_stopped(above, light, group, first, share):
    """Tell at which height the last ray of each group crosses that must be stopped, so that the share of its light is.

    ``first`` is where each group's rays begin when they are put group by group.
    """
    free, by = first[:-1].copy(), np.empty(len(group), np.int64)
    for ray in range(len(group)):
        by[free[group[ray]]] = ray
        free[group[ray]] += 1
    found = np.zeros(len(free))
    for number in range(len(free)):
        mine = by[first[number] : first[number + 1]]
        if len(mine) == 0:
            continue
        mine = mine[np.argsort(above[mine])]
        whole = 0.0
        for ray in mine:
            whole += light[ray]
        asked = share * whole * (1.0 - SUM_SLACK)
        at, stopped = 0, light[mine[0]]
        while stopped < asked and at < len(mine) - 1:
            at += 1
            stopped += light[mine[at]]
        found[number] = above[mine[at]]
    return found


class Stretches(NamedTuple):
    """Stretches of a planting line, of about ``views.needed_step`` each.

    Attributes
    ----------
    ends : ndarray, (stretches + 1,)
        Metres from the line's start.
    ground_m : ndarray, (stretches,)
        Height of the ground at the middle of each.
    rays : ndarray of int, (stretches,)
        How many cross it.
    needed_m, all_m : ndarray, (stretches,)
        Least heights of a sheet that stops the asked share of the light, and all of it.
    lowest_m : ndarray, (stretches,)
        Height of the lowest ray; NaN without one.
    view : ndarray of int, (stretches,)
        The view of the highest ray; -1 without one.
    """

    ends: np.ndarray
    ground_m: np.ndarray
    rays: np.ndarray
    needed_m: np.ndarray
    all_m: np.ndarray
    lowest_m: np.ndarray
    view: np.ndarray


def needed_along(line, met: Crossings, terrain: Terrain, views: Views) -> Stretches:
    """Find how tall a sheet on a line must be, stretch by stretch."""
    ends, _, place = _parted(np.array([line.length]), np.zeros(len(met.station), int), met.station, views)  # fmt: skip
    count = len(ends) - 1
    middles = shapely.line_interpolate_point(line, 0.5 * (ends[1:] + ends[:-1]))
    ground = terrain.height_at(shapely.get_x(middles), shapely.get_y(middles))
    rays, lowest, view = np.bincount(place, minlength=count), np.full(count, np.nan), np.full(count, -1)  # fmt: skip
    # The first of those that are highest to the centimetre.
    order = np.lexsort((np.arange(len(place)), -np.round(met.above, 2), place))
    some = np.flatnonzero(rays)
    view[some] = met.view[order[firsts(rays)[some]]]
    by_height = np.lexsort((met.above, place))
    lowest[some] = met.above[by_height[firsts(rays)[some]]]
    return Stretches(
        ends, ground, rays,
        heights_for(met.above, met.light, place, count, views.needed_share),
        heights_for(met.above, met.light, place, count, 1.0),
        lowest, view,
    )  # fmt: skip


def most_needed(lengths: np.ndarray, met: Crossings, views: Views) -> np.ndarray:
    """Give the greatest height that a sheet on each line must have on any stretch, as `needed_along` finds it.

    Parameters
    ----------
    lengths : ndarray, (lines,)
    met : Crossings
        Of all of the lines.
    views : Views

    Returns
    -------
    ndarray, (lines,)
    """
    if not len(lengths):
        return np.zeros(0)
    _, count, place = _parted(lengths, met.line, met.station, views)
    heights = heights_for(met.above, met.light, place, int(count.sum()), views.needed_share)
    return np.maximum.reduceat(heights, firsts(count))


def _parted(
    lengths: np.ndarray, line: np.ndarray, station: np.ndarray, views: Views
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Part lines into stretches.

    Parameters
    ----------
    lengths : ndarray, (lines,)
    line, station : ndarray, (crossings,)
        The line that each crosses, and where.
    views : Views

    Returns
    -------
    ends : ndarray, (stretches + lines,)
        Where the stretches of each line begin and end.
    count : ndarray of int, (lines,)
        How many stretches each has.
    place : ndarray of int, (crossings,)
        The stretch of each, counted through all lines.
    """
    count = np.maximum(np.ceil((lengths - READ_M) / views.needed_step), 1).astype(np.int64)
    step = lengths / count
    of, number = numbered(count + 1)
    ends = np.where(number == count[of], lengths[of], number * step[of])
    first = firsts(count + 1)[line]
    # The quotient may be rounded to the next stretch.
    at = np.clip(np.floor(station / step[line]).astype(np.int64), 0, count[line] - 1)
    at -= (ends[first + at] > station) & (at > 0)
    at += (ends[first + at + 1] <= station) & (at < count[line] - 1)
    return ends, count, firsts(count)[line] + at


def _stretches(line_id, line, met: Crossings, sight: Sight, views: Views, row) -> list[dict]:
    along = needed_along(line, met, sight.ground, views)
    records = []
    for k, rays in enumerate(along.rays.tolist()):
        needed, lowest = float(along.needed_m[k]), float(along.lowest_m[k]) if rays else None
        records.append(
            {
                "needed_id": f"{line_id}/{k + 1}", "line_id": line_id,
                "from_m": float(along.ends[k]), "to_m": float(along.ends[k + 1]),
                "ground_m": float(along.ground_m[k]), "rays": rays, "needed_m": needed,
                "needed_for_all_m": float(along.all_m[k]), "lowest_m": lowest,
                "view_id": sight.name(along.view[k]) if rays else None,
                **_reached(row, needed, lowest),
            }
        )  # fmt: skip
    return records


def _reached(closing: RowClosing, needed: float, lowest: float | None) -> dict:
    """Years in which a row is closed between the lowest ray and the needed height."""
    begin = max(lowest or 0.0, 0.0)
    low, typical, high = (closing.year_reached(growth, needed, begin) for growth in range(3))
    return {
        "year_reached_low": low, "year_reached": typical, "year_reached_high": high,
        "reached": closing.in_words(needed, begin),
    }  # fmt: skip


def _soonest(records: Iterable[dict], own: set[str]) -> list[dict]:
    """Keep the planned row and the plan's own species, and of the others those that reach the height first."""
    planned: list[dict] = []
    others: list[dict] = []
    for row in records:
        (planned if row["planned"] or row["species"] in own else others).append(row)
    others.sort(
        key=lambda row: soonest_first(
            [row["year_reached_low"], row["year_reached"], row["year_reached_high"]]
        )
    )
    return planned + others[:MOST_OTHERS]


def _profile(stretches: list[dict], row: RowClosing, report_years) -> list[dict]:
    return [
        {
            "line_id": stretch["line_id"], "station_m": stretch[end], "ground_m": stretch["ground_m"],
            "needed_m": stretch["needed_m"],
            **{year_column("closed", year): row.closed_height(year) for year in report_years},
        }
        for stretch in stretches
        for end in ("from_m", "to_m")
    ]  # fmt: skip
