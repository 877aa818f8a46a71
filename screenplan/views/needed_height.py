"""How tall a row must be along its line, before any species is chosen.

The row is taken as an opaque sheet that stands on the line. At each stretch of it, the rays of all
views that nothing existing stops cross at known heights; the needed height is the least one whose
sheet stops the asked share of their light. A row of real plants is such a sheet only up to the
height at which its crowns meet, and from that at which they begin to, so that band is what each species
is held against: it must hold the lowest ray and the needed height. The sheet is opaque also
where the views let light through leaves: a row of that height then closes a little less.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely.ops

from screenplan.contracts import NEEDED_HEIGHT, NEEDED_PROFILE, NEEDED_YEARS, year_column
from screenplan.contracts.tables import layer_of, table_of
from screenplan.ground.errors import refuse
from screenplan.planting.mixes import GROUP, Kinds, kinds_in, name_kinds
from screenplan.planting.species import Species, load_species
from screenplan.views.closing import RowClosing, row_closing
from screenplan.views.holes import cross_line
from screenplan.views.setting import Sampling, Setting, lay_setting

#: Needed heights are rounded up to this.
ROUND_UP_M = 0.001
#: A sheet of the needed height must stop the ray that asks for it, not touch it.
OVER_M = 1e-6


@dataclass(frozen=True)
class Crossings:
    """Where the rays of all views cross one planting line.

    Parameters
    ----------
    station, above, light : ndarray, (crossings,)
        Distance along the line, height above the ground there, and light of the ray.
    view : ndarray of int, (crossings,)
        Number of the view.
    """

    station: np.ndarray
    above: np.ndarray
    light: np.ndarray
    view: np.ndarray


def find_needed_height(
    windows: gpd.GeoDataFrame,
    private_places: gpd.GeoDataFrame,
    planting_lines: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    existing_screens: gpd.GeoDataFrame | None = None,
    terrain=None,
    onlookers: gpd.GeoDataFrame | None = None,
    *,
    share: float = 0.9,
    step_m: float = 1.0,
    spacing_m: float = 1.5,
    species: Kinds = "thuja_occidentalis",
    group: int = GROUP,
    stock_height_m: float | None = None,
    years: int = 30,
    report_years: Sequence[int] = (0, 1, 2, 3, 5, 10, 15, 20, 30),
    curve: str = "smooth",
    eye_inside_m: float = 1.0,
    eye_seated_m: float = 1.2,
    eye_standing_m: float = 1.6,
    eyes_across: int = 3,
    target_spacing_m: float = 1.0,
    most_targets: int = 100,
    onlooker_spacing_m: float = 5.0,
    onlooker_reach_m: float = 60.0,
    table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame, pd.DataFrame]:
    """Find how tall an opaque sheet on each planting line must be, stretch by stretch.

    Parameters
    ----------
    windows, private_places, planting_lines, buildings, existing_screens, onlookers : GeoDataFrame
        Layers of the contracts, in local-frame metres.
    terrain : Terrain, optional
        Ground heights; by default level ground at 0.
    share : float
        Share of the light through each stretch that the sheet should stop, above 0 to 1.
    step_m : float
        Length of a stretch, about: the line is cut into equal ones of at most that.
    spacing_m : float
        Asked spacing of the plants in a row, for the years in which species reach the height.
    species : Species, str or sequence of these
        The planned species, one or several.
    group : int
        Plants of one kind that stand side by side in a mixed row.
    stock_height_m : float, optional
        Its height when planted; by default the species table's. Other species start at theirs.
    years : int
        Last year looked at.
    report_years : sequence of int
        Years with a column of their own in the profile.
    curve : {"smooth", "straight"}
        Growth curve.
    table : mapping, optional
        Species by key; by default the shipped table.

    The other parameters are those of `trace_views`.

    Returns
    -------
    needed_height : GeoDataFrame
        One row per stretch. Each line is looked at alone, as if no other row stood.
    needed_profile : DataFrame
        The same as the corners of a stepped outline, with the height up to which a row of the
        planned species has closed.
    needed_years : DataFrame
        For each line and species, and for the planned mixed row, the years in which its row reaches
        the line's greatest height.

    Raises
    ------
    InputError
        On parameters out of range, and by row as `lay_setting` says.
    """
    if not 0.0 < share <= 1.0:
        raise refuse(f"the needed share {share} is no share", "Give a number above 0, up to 1")
    for key, value in (("views.needed_step", step_m), ("rows.spacing", spacing_m)):
        if not (np.isfinite(value) and value > 0.0):
            raise refuse(f"{value} m is no length here", "Give a length above 0 m", key=key)
    sampling = Sampling(
        eye_inside_m, eye_seated_m, eye_standing_m, eyes_across, target_spacing_m, most_targets,
        onlooker_spacing_m, onlooker_reach_m,
    )  # fmt: skip
    table = load_species() if table is None else table
    planned = kinds_in(species, table)
    setting = lay_setting(
        windows, private_places, planting_lines, onlookers, buildings, existing_screens, terrain,
        sampling=sampling,
    )  # fmt: skip
    growth = {"years": years, "curve": curve}
    row = row_closing(planned, spacing_m, group=group, stock_height_m=stock_height_m, **growth)
    mixed = len(set(planned)) > 1
    shapes_planned = {kind.shape for kind in planned}
    closings = [
        (
            key,
            kind.shape,
            row if planned[0] == kind and not mixed else row_closing(kind, spacing_m, **growth),
        )
        for key, kind in table.items()
    ]
    if mixed:
        shape = shapes_planned.pop() if len(shapes_planned) == 1 else None
        closings.insert(0, (name_kinds([kind.key for kind in planned]), shape, row))
    names = [view_id for view_id, *_ in setting.pairs()]
    crossings = cross_lines(setting, list(planting_lines.geometry))
    stretches, shapes, profile, lines = [], [], [], []
    for line_id, line, met in zip(
        planting_lines["line_id"].astype(str), planting_lines.geometry, crossings, strict=True
    ):
        mine = _stretches(line_id, line, met, setting, names, share, step_m, row)
        stretches += mine
        shapes += [shapely.ops.substring(line, one["from_m"], one["to_m"]) for one in mine]
        profile += _profile(mine, row, report_years)
        needed = max((one["needed_m"] for one in mine), default=0.0)
        lowest = min((one["lowest_m"] for one in mine if one["lowest_m"] is not None), default=None)
        lines += [
            {
                "line_id": line_id, "species": name, "planned": closing is row,
                "shape": shape, "spacing_m": spacing_m, "needed_m": needed,
                "lowest_m": lowest, "mature_closed_height_m": closing.mature_height_m,
                "mature_closed_from_m": closing.mature_from_m, **_reached(closing, needed, lowest),
            }
            for name, shape, closing in closings
        ]  # fmt: skip
    return (
        layer_of(NEEDED_HEIGHT, stretches, shapes, planting_lines.crs),
        _profile_table(profile, report_years),
        table_of(NEEDED_YEARS, lines),
    )


def cross_lines(setting: Setting, lines: list) -> list[Crossings]:
    """Cut the rays of all views that nothing existing stops with planting lines.

    Parameters
    ----------
    setting : Setting
        Who looks at what.
    lines : list of LineString
        Lines in plan.
    """
    found: list[list] = [[] for _ in lines]
    for view, _, origin, target, light in setting.rays():
        origin, target, light = (part[light > 0.0] for part in (origin, target, light))
        for k, line in enumerate(lines):
            ray, station, t = cross_line(origin, target, shapely.get_coordinates(line))
            at = origin[ray] + t[:, None] * (target[ray] - origin[ray])
            above = at[:, 2] - setting.ground.height_at(at[:, 0], at[:, 1])
            found[k].append((station, above, light[ray], np.full(len(ray), view)))
    none = (np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0, np.int64))
    return [
        Crossings(*(np.concatenate(part) for part in zip(none, *parts, strict=True)))
        for parts in found
    ]


def height_for(above, light, share: float) -> float:
    """Give the least height of a sheet that stops a share of the light, in metres; 0 for no ray.

    Parameters
    ----------
    above, light : ndarray
        Heights at which rays cross, and their light.
    share : float
        Share to be stopped.
    """
    if not len(above):
        return 0.0
    order = np.argsort(above)
    stopped = np.cumsum(light[order])
    last = np.searchsorted(stopped, share * stopped[-1] * (1.0 - 1e-12))
    height = max(float(above[order[min(last, len(order) - 1)]]), 0.0)
    return float(np.ceil((height + OVER_M) / ROUND_UP_M) * ROUND_UP_M)


def _stretches(line_id, line, met: Crossings, setting, names, share, step_m, row) -> list[dict]:
    count = max(int(np.ceil(line.length / step_m - 1e-9)), 1)
    ends = np.linspace(0.0, line.length, count + 1)
    middles = shapely.line_interpolate_point(line, 0.5 * (ends[1:] + ends[:-1]))
    ground = setting.ground.height_at(shapely.get_x(middles), shapely.get_y(middles))
    place = np.clip(np.searchsorted(ends, met.station, side="right") - 1, 0, count - 1)
    rows = []
    for k in range(count):
        mine = np.flatnonzero(place == k)
        above, light = met.above[mine], met.light[mine]
        needed = height_for(above, light, share)
        lowest = float(above.min()) if len(mine) else None
        rows.append(
            {
                "needed_id": f"{line_id}/{k + 1}", "line_id": line_id,
                "from_m": float(ends[k]), "to_m": float(ends[k + 1]), "ground_m": float(ground[k]),
                "rays": len(mine), "needed_m": needed,
                "needed_for_all_m": height_for(above, light, 1.0),
                "lowest_m": lowest,
                "view_id": names[met.view[mine[np.argmax(np.round(above, 2))]]] if len(mine) else None,
                **_reached(row, needed, lowest),
            }
        )  # fmt: skip
    return rows


def _reached(closing: RowClosing, needed: float, lowest: float | None) -> dict:
    """Years in which a row is closed between the lowest ray and the needed height."""
    begin = max(lowest or 0.0, 0.0)
    low, typical, high = (closing.year_reached(growth, needed, begin) for growth in range(3))
    return {
        "year_reached_low": low, "year_reached": typical, "year_reached_high": high,
        "reached": closing.in_words(needed, begin),
    }  # fmt: skip


def _profile(stretches: list[dict], row: RowClosing, report_years) -> list[dict]:
    return [
        {
            "line_id": one["line_id"], "station_m": one[end], "ground_m": one["ground_m"],
            "needed_m": one["needed_m"],
            **{year_column("closed", year): row.closed_height(year) for year in report_years},
        }
        for one in stretches
        for end in ("from_m", "to_m")
    ]  # fmt: skip


def _profile_table(rows: list[dict], report_years) -> pd.DataFrame:
    plain = table_of(NEEDED_PROFILE, rows).drop(columns="closed")
    for year in report_years:
        name = year_column("closed", year)
        plain[name] = np.array([row[name] for row in rows], float)
    return plain
