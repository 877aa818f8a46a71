"""Sun hours and light of the sky that the row takes: by window and garden, month and year."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import chain
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import LIGHT, LIGHT_MONTHS, SUN_GRID, year_column
from screenplan.contracts.tables import has_rows, layer_of_columns, table_of_columns, with_notes
from screenplan.effects.horizon import ground_rise
from screenplan.effects.lit import Lit, Source, light_at
from screenplan.effects.places_in_light import (
    Target,
    gardens_in_light,
    rows_in_light,
    sun_places_in_light,
    windows_in_light,
)
from screenplan.effects.sun import MONTHS, SunPath, growing_months, overcast_sky, sun_path
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.effects import Light
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species import load_species
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand, stand_of
from screenplan.rules.limit_kinds import Limit, SunNeeded
from screenplan.rules.limits import MONTH_DAYS, limit_of
from screenplan.site.ownership import outline_known
from screenplan.site.terrain import Terrain
from screenplan.views.crowns import one_growth
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.obstacles import lay_obstacles
from screenplan.views.opened import standing_screens
from screenplan.views.timeline import Scene

#: Patches of the sky for windows, places and rows, and for each cell of the grid.
SKY, SKY_OF_CELL = 400, 100
#: Times as many days a month, and how much finer a step, the denser sample has.
MORE_DAYS, FINER = 3, 2
#: Losses of less than this, as a share, are rounding.
NO_LOSS = 1e-9


def count_light(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    position_deg: tuple[float, float] | None = None,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame, gpd.GeoDataFrame]:
    """Count the hours of sun, and the light of an overcast sky, with the row and without.

    Parameters
    ----------
    layers : mapping
        Parcels, planting lines and plants, and windows, buildings, existing screens, new screens and
        sun places, which are the owner's roof panels, beds and so on, if there are any: by their
        contracts, in local-frame metres.
    plan : Options, optional
        Of it [light], [growth] and the reported years of [views].
    terrain : Terrain, optional
        Ground heights; it casts shade as far as the raster goes.
    position_deg : tuple of 2 floats, optional
        Longitude and latitude of the site; without them the layers are empty.
    limits, species_table : mapping, optional
        By default the shipped ones.

    Returns
    -------
    light : GeoDataFrame
        One row for each window, garden, panel or bed, and for each row of plants.
    light_months : DataFrame
        Sun hours by month and reported year, typical growth.
    sun_grid : GeoDataFrame
        Sun hours a year by cell, typical growth, for the raster.

    Notes
    -----
    All is compared with the same site without the row, and without new screens, which count from the first day. A
    crown is taken as opaque.
    """
    parcels, plants, lines = (layers[name] for name in ("parcels", "plants", "planting_lines"))
    buildings, option = layers.get("buildings"), plan.light
    ground = Terrain.flat() if terrain is None else terrain
    if position_deg is None:
        return _layers(plan, parcels.crs)
    sun = _sun_of(position_deg, option, option.days, option.step)
    if not outline_known(parcels):
        return _layers(plan, parcels.crs)
    species_table = load_species() if species_table is None else species_table
    stand = planned_stand(plants, plan, species_table)
    crowns = crowns_of(stand)
    runs = runs_of(stand, crowns)
    obstacles = lay_obstacles(buildings, layers.get("existing_screens"), ground)
    before, screens = None, list(lines.geometry)
    if has_rows(layers.get("new_screens")):
        before = lay_obstacles(buildings, standing_screens(layers), ground)
        screens.extend(layers["new_screens"].geometry)
    scene = Scene(obstacles, runs, crowns, before=before)
    rises = ground_rise(obstacles.ground)
    # The grid has many points: only typical growth is followed for it.
    coarse = replace(scene, crowns=one_growth(crowns, TYPICAL))
    close = windows_in_light(layers.get("windows"), buildings, ground, parcels)
    close += sun_places_in_light(layers.get("sun_places"), ground, option.cell)
    gardens, grid = gardens_in_light(
        parcels, buildings, screens, ground, reach_m=option.reach, cell_m=option.cell
    )
    found = [_Counted(target, sun, *part) for target, part in _count(close, sun, scene, SKY, rises)]
    denser = _sun_of(position_deg, option, min(MORE_DAYS * option.days, 31), _finer(option.step))
    for counted, (target, part) in zip(
        found, _count(close, denser, scene, SKY_OF_CELL, rises), strict=True
    ):
        counted.error = abs(_Counted(target, denser, *part).lost_share - counted.lost_share)
    in_gardens = list(_count(gardens, sun, coarse, SKY_OF_CELL, rises))
    found += [_Counted(target, sun, *part) for target, part in in_gardens]
    # The row's own plants: what they get from the site, without the shade of their own kind.
    bare = stand_of(plants.iloc[:0], years=plan.growth.years)
    alone = Scene(obstacles, runs_of(bare, crowns_of(bare)), crowns_of(bare))
    standing = rows_in_light(lines, plants)
    found += [
        _Counted(target, sun, *part) for target, part in _count(standing, sun, alone, SKY, rises)
    ]
    needed = limit_of(limits, SunNeeded)
    season = growing_months(position_deg[1])
    years = plan.views.report_years
    light = [
        counted.row(years, season, _asked(counted, plants, species_table, needed))
        for counted in found
    ]
    for row in light:
        row["over"] = _over(row, option)
    return _layers(plan, parcels.crs, light, found, in_gardens, grid, sun)


def _sun_of(position_deg, light: Light, days: int, step_minutes: int) -> SunPath:
    return sun_path(
        *position_deg, time_zone=light.time_zone, calendar_year=light.calendar_year,
        days_a_month=days, step_minutes=step_minutes,
    )  # fmt: skip


def _count(targets: Sequence[Target], sun: SunPath, scene: Scene, patches: int, ground):
    """Sun by month, light of the sky, and clock times of new shade, for each target."""
    if not targets:
        return
    points = np.concatenate([target.points for target in targets])
    normals = np.concatenate([target.normals for target in targets])
    ends = np.cumsum([len(target.points) for target in targets])
    growth = min(TYPICAL, scene.crowns.height.shape[1] - 1)
    last = scene.years - 1
    clock = np.full((2, len(targets), MONTHS), [[[1 << 20]], [[-1]]])
    belongs = np.repeat(np.arange(len(targets)), np.diff(ends, prepend=0))

    def note(point, way, stands, left, masks):
        lost = np.bitwise_or.reduce(masks[:, :, growth], axis=1)
        lost = (stands > 0.0) & (((lost >> last) & 1 == 1) | (left < stands))
        at = belongs[point[lost]], sun.month[way[lost]]
        np.minimum.at(clock[0], at, sun.minute[way[lost]])
        np.maximum.at(clock[1], at, sun.minute[way[lost]])

    hours = light_at(
        points,
        normals,
        Source(sun.direction, sun.hours, sun.month, MONTHS, sun.bare),
        scene,
        seen=note if scene.crowns.height.shape[1] > 1 else None,
        ground=ground,
    )
    overcast = Source(*overcast_sky(patches), np.zeros(patches, np.int64), 1, cosine=True)
    sky = light_at(points, normals, overcast, scene, ground=ground)
    for number, (target, end) in enumerate(zip(targets, ends, strict=True)):
        mine = slice(end - len(target.points), end)
        yield target, (_part(hours, mine), _part(sky, mine), clock[:, number])


def _part(lit: Lit, mine: slice) -> Lit:
    return Lit(lit.free[mine], lit.now[mine], lit.open[mine])


class _Counted:
    """Light of one target, over its points."""

    def __init__(self, target: Target, sun: SunPath, hours: Lit, sky: Lit, clock):
        self.target, self.hours, self.clock = target, hours, clock
        self.step = sun.step_minutes
        self.free = hours.free.mean(axis=0)
        self.now = hours.now.mean(axis=0)
        self.open = hours.open.mean(axis=0)  # (months, growths, years)
        self.growth = min(TYPICAL, self.open.shape[1] - 1)
        self.error: float | None = None
        whole = sky.free.sum()
        self.sky_now = sky.now.sum() / whole
        self.sky = sky.open.sum(axis=(0, 1)) / whole  # (growths, years)

    @property
    def lost_share(self) -> float:
        """Share of the sun of today that is lost in the worst year, 0 where there is none."""
        now = self.now.sum()
        return _share(now - self.open[:, self.growth].sum(axis=0).min(), now) or 0.0

    def row(self, report_years, season, asked) -> dict:
        target, g = self.target, self.growth
        year = self.open[:, g].sum(axis=0)
        now, lost = self.now.sum(), self.now.sum() - year
        worst = int(lost.argmax())
        months = self.now - self.open[:, g, worst]
        shades = target.kind != "row"
        days = self.hours.now[:, season].sum(axis=1) / _days(season)
        high = self.open[:, -1].sum(axis=0)
        row = {
            "light_id": f"{target.kind} {target.name}",
            "kind": target.kind,
            "target_id": target.name,
            "parcel_id": target.owner or None,
            "sun_free_h": self.free.sum(),
            "sun_now_h": now,
            "sun_lost": _share(lost[worst], now) if shades else None,
            "sun_lost_high": _share(now - high.min(), now) if shades else None,
            "error_share": self.error if shades and now > NO_LOSS else None,
            "year_worst": worst if shades and lost[worst] > NO_LOSS else None,
            "worst_month": int(months.argmax()) + 1 if shades and lost[worst] > NO_LOSS else None,
            "worst_month_h": float(months.max()) if shades else None,
            "sky_now": self.sky_now,
            "sky_lost": _share(self.sky_now - self.sky[g].min(), self.sky_now) if shades else None,
            "season_h": float(days.min()),
            **asked,
            "geometry": target.geometry,
        }
        for reported in report_years:
            row[year_column("sun", reported)] = year[reported] if shades else None
            row[year_column("sky", reported)] = self.sky[g, reported] if shades else None
        return row

    def months(self, report_years: Sequence[int]) -> dict[str, Sequence]:
        """Give the columns of its rows of the layer by months, month by month and year by year."""
        years, last = np.array(report_years, int), self.open.shape[2] - 1
        month, year = np.repeat(np.arange(MONTHS), len(years)), np.tile(years, MONTHS)
        now, sun = self.now[month], self.open[month, self.growth, year]
        shades = np.flatnonzero((year == last) & (self.clock[1, month] >= 0))
        begins, ends = np.full((2, len(month)), None, object)
        for row in shades:
            begin, end = self.clock[:, month[row]]
            begins[row], ends[row] = _clock(begin - self.step / 2), _clock(end + self.step / 2)
        return {
            "light_id": [f"{self.target.kind} {self.target.name}"] * len(month),
            "month": month + 1,
            "year": year,
            "sun_now_h": now,
            "sun_h": sun,
            "lost_h": np.maximum(now - sun, 0.0),
            "shade_from": begins,
            "shade_to": ends,
        }


def _asked(counted: _Counted, plants, species_table, needed: SunNeeded | None) -> dict:
    """Sun a day that the row's species asks for, if its tolerance of shade has a source."""
    if counted.target.kind != "row" or needed is None:
        return {"asked_h": None}
    mine = plants.loc[plants["line_id"].astype(str) == counted.target.name, "species"].astype(str)
    found = [
        needed.hours.get(species_table[key].tolerances["shade"])
        for key in mine.unique()
        if "shade" in species_table[key].tolerances and "shade" in species_table[key].sources
    ]
    return {"asked_h": max((hours for hours in found if hours is not None), default=None)}


def _over(row: dict, limit: Light) -> str | None:
    """Name the user's limits that a target's losses break; the sky counts for windows."""
    held = [("sun", row["sun_lost"], limit.most_sun_lost)]
    if row["kind"] == "window":
        held.append(("sky", row["sky_lost"], limit.most_sky_lost))
    broken = [
        what for what, lost, most in held
        if lost is not None and most is not None and lost > most + NO_LOSS
    ]  # fmt: skip
    return " and ".join(broken) or None


def _finer(step_minutes: int) -> int:
    """Give a finer step that divides a day too; the same if there is none."""
    finer = step_minutes // FINER
    return finer if finer >= 1 and 1440 % finer == 0 else step_minutes


def _share(lost: float, of: float) -> float | None:
    """Share of something that is lost; empty where there is nothing to lose."""
    return float(min(max(lost / of, 0.0), 1.0)) if of > NO_LOSS else None


def _days(months) -> int:
    return int(np.array(MONTH_DAYS)[months].sum())


def _clock(minute: float) -> str:
    minute = round(minute) % 1440
    return f"{minute // 60:02d}:{minute % 60:02d}"


def _days_in_words(days: int) -> str:
    """Say which days of a month the sun is followed on."""
    if days >= 31:
        return "every day is taken"
    return f"{days} days stand for each month" if days > 1 else "one day stands for each month"


def _layers(plan: Options, crs, light=(), found=(), in_gardens=(), grid=None, sun=None):
    notes, report_years = [], plan.views.report_years
    if sun is not None and light:
        notes.append(
            f"sun hours are counted in steps of {sun.step_minutes} minutes: each change between sun and "
            f"shade is placed to within {sun.step_minutes / 2:g} minutes; crowns are taken as opaque, "
            f"{_days_in_words(plan.light.days)}; clouds are not counted, and hills beyond the terrain raster cast no shade"
        )
    names = [column.name for column in LIGHT.columns if not column.per_year]
    names += [year_column(stem, year) for stem in ("sun", "sky") for year in report_years]
    layer = layer_of_columns(
        LIGHT,
        {name: [row[name] for row in light] for name in names},
        [row["geometry"] for row in light],
        crs,
    )
    by_month = [counted.months(report_years) for counted in found if counted.target.kind != "row"]
    months = table_of_columns(
        LIGHT_MONTHS,
        {
            column.name: list(chain(*(part[column.name] for part in by_month)))
            for column in LIGHT_MONTHS.columns
        },
    )
    return with_notes(layer, notes), months, _grid_layer(plan, crs, in_gardens, grid)


def _grid_layer(plan: Options, crs, in_gardens, grid) -> gpd.GeoDataFrame:
    """Sun hours of cells; ground that two parcels share is one cell, and told of both gardens."""
    points, now, years = np.zeros((0, 3)), np.zeros(0), np.zeros((0, plan.growth.years + 1))
    column = line = np.zeros(0, int)
    if in_gardens:
        column, line = grid
        points = np.concatenate([target.points for target, _ in in_gardens])
        now = np.concatenate([hours.now.sum(axis=1) for _, (hours, _, _) in in_gardens])
        years = np.concatenate([hours.open[:, :, 0].sum(axis=1) for _, (hours, _, _) in in_gardens])
    _, first = np.unique(np.column_stack([column, line]), axis=0, return_index=True)
    kept = np.sort(first)
    columns = {
        "cell_id": np.arange(1, len(kept) + 1),
        "column": column[kept],
        "line": line[kept],
        "cell_m": np.full(len(kept), plan.light.cell),
        "sun_now_h": now[kept],
        **{year_column("sun", year): years[kept, year] for year in plan.views.report_years},
    }
    return layer_of_columns(SUN_GRID, columns, shapely.points(points[kept, :2]), crs)
