"""Which stretches of the planting lines are planted: those whose plants stop a sight line, unless a side is to be filled.

The lines are planted in full first, and each plant is looked at as if it stood alone. What stops no ray of a view
that is open today, in no year and with no kind of the plan, closes nothing: without it every view closes in the
same year at typical growth. So the years of a row that is cut are those of the row that fills the side.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
from shapely.ops import substring

from screenplan.contracts import PLANTING_LINES
from screenplan.contracts.tables import has_rows, layer_of, notes_of, records_of, with_notes
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.existing import stands_as_row
from screenplan.planting.growth import TYPICAL
from screenplan.planting.maturity import MATURE_YEAR
from screenplan.planting.mixes import kinds_in
from screenplan.planting.rows import set_plants
from screenplan.planting.setting import shared_corners
from screenplan.planting.spans import plantable_stretches
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.planting.stock import planted_height
from screenplan.planting.trimming import CRUMB_M
from screenplan.planting.zones import plantable_ground
from screenplan.site.terrain import Terrain
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.opened import Rays, open_rays
from screenplan.views.sight import sight_of
from screenplan.views.stoppers import list_stoppers

#: Years in which plants are looked at, beside the last one; crowns that rise on stems stop other rays later.
LOOKED_AT = (0, 2, 5, 10, 15, 20, 30)
#: A line needs two ends, and so two plants.
FEWEST = 2


def keep_stretches(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> gpd.GeoDataFrame:
    """Keep of the planting lines the stretches whose plants stop a sight line, or tell how many plants do not.

    Parameters
    ----------
    layers : mapping
        Windows, private places, planting lines and the ground on which plants may stand, and onlookers, buildings,
        existing screens and a drawn line if there are any: by their contracts, in local-frame metres.
    plan : Options, optional
        Of it [rows], [plants], how runs are cut by [design], and how views are looked at.
    terrain : Terrain, optional
        Ground heights; by default level ground at 0.
    species_table : mapping, optional
        Species by key; by default the shipped table.
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    GeoDataFrame
        The planting lines: of one that is cut each part by itself, its zero peg at its first plant. ``attrs["notes"]``
        says how many plants were left out, or stand for looks. Where nobody looks they stay as they are.

    Raises
    ------
    InputError
        If no plant of a side that was chosen for its views stops a sight line.
    """
    lines = layers["planting_lines"]
    runs = _Cutting(max(plan.design.least_run, FEWEST), plan.design.least_gap)
    sight = sight_of(layers, plan.views, terrain, kept)
    if not len(lines) or not len(sight.pairs):
        return lines
    rays = open_rays(sight, plan.views.threshold)
    asked = _asked_to_fill(plan, layers)
    if not len(rays.view):
        if asked:
            return lines
        raise _idle("no view is open today")

    def planted(lines):
        ground = layers["plantable_zone"], layers["no_plant_zones"], layers.get("existing_screens")
        return set_plants(lines, *ground, terrain, plan=plan, species_table=species_table)[0]

    plants = planted(lines)
    useful = stop_rays(plants, rays, plan, species_table)
    new = ~plants["existing"].to_numpy(bool)
    idle, count = int((new & ~useful).sum()), int(new.sum())
    if asked and count:
        looks = (
            f"{idle} of {count} new plants stop no sight line of a view that is open today, and stand for looks"
            if idle
            else f"Each of {count} new plants stops a sight line of a view that is open today"
        )
        told = f"{looks}: {asked}. A design may need fewer plants: set design.wanted to true"
        return with_notes(lines.copy(), [*notes_of(lines), told])
    if not idle:
        return lines
    if not useful.any():
        raise _idle("no plant on the sides that are looked across would stop a sight line")
    cut = _cut(layers, plants, useful | ~new, runs)
    left = count - int((~planted(cut)["existing"].to_numpy(bool)).sum())
    told = (
        f"{left} of {count} plants that the sides have room for are left out, because they stop no sight line of a "
        "view that is open today: set rows.fill to true to plant the sides from end to end. A design may need fewer "
        "plants still: set design.wanted to true"
    )
    return with_notes(cut, [*notes_of(lines), told] if left else notes_of(lines))


def stop_rays(
    plants: gpd.GeoDataFrame,
    rays: Rays,
    plan: Options,
    species_table: Mapping[str, Species] | None = None,
) -> np.ndarray:
    """Tell which plants stop a ray at typical growth, each by itself, in some year, (plants,).

    A new plant is looked at with each of the plan's kinds in turn, because its kind hangs on where its line begins.
    """
    standing = plants["existing"].to_numpy(bool)
    useful = np.zeros(len(plants), bool)
    for kind in dict.fromkeys(kinds_in(plan.plants.species, species_table)):
        height = planted_height(kind, plan.plants.stock_height)
        layer = plants.assign(
            species=np.where(standing, plants["species"], kind.key),
            stock_height_m=np.where(standing, plants["stock_height_m"], height),
        )
        useful |= crowns_stop(layer, rays, plan, species_table)
        if useful.all():
            break
    return useful


def crowns_stop(
    plants: gpd.GeoDataFrame,
    rays: Rays,
    plan: Options,
    species_table: Mapping[str, Species] | None = None,
) -> np.ndarray:
    """Tell of which plants, as they are, the crown stops a ray at typical growth in some year, (plants,)."""
    last = plan.growth.years
    years = sorted({*(year for year in LOOKED_AT if year <= last), last, MATURE_YEAR})
    stand = planned_stand(plants, plan, species_table, years)
    crowns = crowns_of(stand)
    runs = runs_of(stand, crowns)
    useful = np.zeros(len(plants), bool)
    for year in range(len(years) - 1, -1, -1):
        _, stoppers = list_stoppers(rays.origin, rays.target, runs, crowns, year, TYPICAL)
        useful[stand.order[stoppers]] = True
        if useful.all():
            break
    return useful


def _asked_to_fill(plan: Options, layers: Mapping[str, Any]) -> str:
    """Say why the lines are planted from end to end; nothing where they are not."""
    rows = plan.rows
    if rows.fill is not None:
        return "rows.fill asks for them" if rows.fill else ""
    if has_rows(layers.get("planting_line")):
        return (
            "the planting line is drawn, and is planted from end to end unless rows.fill is false"
        )
    if rows.along:
        return "rows.along names the sides, and they are planted from end to end unless rows.fill is false"
    if stands_as_row(layers.get("existing_screens")):
        return "the row stands already"
    return ""


def _idle(what: str) -> InputError:
    return refuse(
        f"{what}, and so nothing is planted",
        "Name the sides in rows.along, or set rows.fill to true, to plant them for looks",
        key=DEFAULTS.rows.key("fill"),
        kind="onlookers",
    )


class _Cutting(NamedTuple):
    """Plants of a run at least, and stations that are free between two at least."""

    least: int
    gap: int


@dataclass(frozen=True)
class _Part:
    """A stretch of a planting line, by its number, from one running distance to another."""

    line: int
    begin: float
    end: float


def _cut(layers, plants, useful, runs: _Cutting) -> gpd.GeoDataFrame:
    """Cut the lines to the runs of useful plants, each long enough and far enough from the next."""
    lines = layers["planting_lines"]
    stations = _stations(lines, plants, useful)
    zone = plantable_ground(layers["plantable_zone"], layers["no_plant_zones"], lines)
    parts = [
        part
        for line, (at, marks) in stations.items()
        for part in _runs(
            line, plantable_stretches(lines.geometry.iloc[line], zone), at, marks, runs
        )
    ]
    parts += _behind(lines, parts)
    return _lines_of(layers, parts)


def _stations(lines, plants, useful) -> dict[int, tuple[np.ndarray, np.ndarray]]:
    """Give stations and whether plants are useful there, by the number of each line of the first row.

    The plant of a corner belongs to both lines; a plant of the second row makes those before it useful.
    """
    names, shapes = lines["line_id"].astype(str).to_list(), lines.geometry.to_numpy()
    row = lines["row"].to_numpy(int)
    of = np.array([names.index(name) for name in plants["line_id"].astype(str)], int)
    at = plants["station_m"].to_numpy(float)
    found = {}
    for line in np.flatnonzero(row == 1):
        mine = np.flatnonzero(of == line)
        mine = mine[np.argsort(at[mine], kind="stable")]
        found[int(line)] = (at[mine], useful[mine].copy())
    for starts, ends in shared_corners(lines).items():
        if row[starts] != 1 or starts == ends:
            continue
        here, mine = found[starts]
        if not len(here) or here[0] > CRUMB_M:
            continue
        there, other = found[ends]
        shared = bool(mine[0] and len(other) and other[-1])
        found[ends] = (np.append(there, shapes[ends].length), np.append(other, shared))
    behind = np.flatnonzero((row[of] == 2) & useful)
    sides = lines["side_id"].astype(str).to_numpy()
    for plant in behind.tolist():
        point = plants.geometry.iloc[plant]
        firsts = [line for line in found if sides[line] == sides[of[plant]] and len(found[line][0])]
        if not firsts:
            continue
        nearest = min(firsts, key=lambda first: shapes[first].distance(point))
        station, marks = found[nearest]
        place = int(np.searchsorted(station, shapes[nearest].project(point)))
        marks[max(place - 1, 0) : place + 1] = True
    return found


def _runs(line: int, stretches, at, useful, runs: _Cutting) -> list[_Part]:
    """Give the runs of useful plants of one line: too short ones are lengthened, too narrow gaps filled.

    Neither reaches over ground on which no plant may stand, but a run goes on behind it.
    """
    marks, of = np.array(useful, bool), _stretch_of(at, stretches)
    for begin, end in _spans(marks, of):
        low, high = np.searchsorted(of, [of[begin], of[begin] + 1])
        marks[slice(*_lengthened(at, begin, end, min(runs.least, high - low), low, high))] = True
    for (one, end), (begin, _) in pairwise(_spans(marks, of)):
        if begin - end < runs.gap and of[one] == of[begin]:
            marks[end:begin] = True
    found = []
    for begin, end in _spans(marks):
        first, last = of[begin], of[end - 1]
        starts = begin == 0 or of[begin - 1] != first
        stops = end == len(at) or of[end] != last
        found.append(
            _Part(
                line,
                float(stretches[first][0] if starts else at[begin]),
                float(stretches[last][1] if stops else at[end - 1]),
            )
        )
    return found


def _stretch_of(at, stretches) -> np.ndarray:
    """Tell on which plantable stretch stations stand; a plant that stands beside all counts to the nearest."""
    low, high = np.array(stretches, float).reshape(-1, 2).T
    off = np.maximum(np.maximum(low - at[:, None], at[:, None] - high), 0.0)
    return np.maximum.accumulate(off.argmin(axis=1)) if len(at) else np.zeros(0, int)


def _spans(marks: np.ndarray, of: np.ndarray | None = None) -> list[tuple[int, int]]:
    """Give where marks begin and end, the ends not included; of one stretch each, if these are given."""
    of = np.zeros(len(marks), int) if of is None else of
    numbered = np.where(marks, of + 1, 0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], numbered, [0]])))
    spans = pairwise(edges.tolist())
    return [(begin, end) for begin, end in spans if marks[begin]]


def _lengthened(at, begin: int, end: int, least: int, low: int, high: int) -> tuple[int, int]:
    """Take neighbours of its stretch to a run until it is long enough, the nearest to its middle first."""
    middle = 0.5 * (at[begin] + at[end - 1])
    while end - begin < least:
        before = middle - at[begin - 1] if begin > low else np.inf
        after = at[end] - middle if end < high else np.inf
        begin, end = (begin - 1, end) if before < after else (begin, end + 1)
    return begin, end


def _behind(lines, parts: list[_Part]) -> list[_Part]:
    """Give the stretches of the second row that lie behind those of the first."""
    row, sides = lines["row"].to_numpy(int), lines["side_id"].astype(str).to_numpy()
    shapes = lines.geometry.to_numpy()
    found = []
    for line in np.flatnonzero(row == 2):
        spans = []
        for part in parts:
            if sides[part.line] != sides[line]:
                continue
            front = shapes[part.line]
            if part.begin <= 0.0 and part.end >= front.length and _alone(lines, part.line):
                ends = [0.0, shapes[line].length]
            else:
                ends = sorted(
                    shapes[line].project(front.interpolate(station))
                    for station in (part.begin, part.end)
                )
            if ends[1] - ends[0] > CRUMB_M:
                spans.append((float(ends[0]), float(ends[1])))
        found += [_Part(int(line), begin, end) for begin, end in sorted(spans)]
    return found


def _alone(lines, line: int) -> bool:
    """Tell whether a line is the only one of its side in the first row."""
    same = (lines["side_id"] == lines["side_id"].iloc[line]) & (lines["row"] == 1)
    return int(same.sum()) == 1


def _lines_of(layers, parts: list[_Part]) -> gpd.GeoDataFrame:
    """Make planting lines of the parts, in the order of the lines."""
    lines = layers["planting_lines"]
    zone = plantable_ground(layers["plantable_zone"], layers["no_plant_zones"], lines)
    records = records_of(lines)
    parts = sorted(parts, key=lambda part: (part.line, part.begin))
    of_row = [(records[part.line]["side_id"], records[part.line]["row"]) for part in parts]
    made, shapes = [], []
    number: dict = {}
    for part, key in zip(parts, of_row, strict=True):
        whole = lines.geometry.iloc[part.line]
        entire = part.begin <= 0.0 and part.end >= whole.length
        line = whole if entire else substring(whole, part.begin, part.end)
        number[key] = number.get(key, 0) + 1
        several = f"-part{number[key]}" if of_row.count(key) > 1 else ""
        stretches = plantable_stretches(line, zone)
        made.append(
            records[part.line]
            | {
                "line_id": f"{key[0]}-row{key[1]}{several}",
                "length_m": line.length,
                "plantable_m": sum(end - begin for begin, end in stretches),
            }
        )
        shapes.append(line)
    return layer_of(PLANTING_LINES, made, shapes, lines.crs)
