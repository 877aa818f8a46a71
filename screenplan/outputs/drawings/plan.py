"""Plans: the planting plan that a crew sets out from, and how the screen grows seen from above."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
import shapely

from screenplan.contracts.tables import has_rows
from screenplan.contracts.views import OPEN_TODAY
from screenplan.outputs.drawings.crowns import add_crowns
from screenplan.outputs.drawings.kind_marks import kind_marks
from screenplan.outputs.drawings.scale import (
    MARGIN_MM,
    Sheet,
    draw_dimension,
    draw_north_arrow,
    draw_scale_bar,
    lay_sheet_with_bar,
)
from screenplan.outputs.drawings.site_base import add_areas, add_lines, draw_site, parts_of
from screenplan.outputs.drawings.style import (
    HAIR,
    HEAVY,
    LINE,
    SMALL,
    THIN,
    new_figure,
    plain_axes,
    write,
    year_gid,
)
from screenplan.outputs.palette import COLOURS

#: Every plant has its number if they are this far apart on paper; else every fifth.
NUMBER_EVERY_MM = 4.0
#: Distance on paper from a stem to the middle of its number, and to where the number has ended.
NUMBER_MM, PAST_NUMBERS_MM = 2.3, 3.7
#: Room on paper between boundary and row in which the row's length is written.
ROOM_FOR_LENGTH_MM = 8.0
#: Codes of views are written together if their places on paper are nearer than this.
TOGETHER_MM = (12.0, 3.2)
#: A peg so near to the line of something new marks it, metres: the fit to measured distances moves pegs by less.
ON_LINE_M = 0.2
#: Lines of a drawing without labels, which is small, are so much thinner.
SMALL_LINES = 0.55


def plan_sheet(layers: Mapping, *, units: str = "metric") -> Sheet:
    """Choose scale and extent so that the subject parcel and the rows are on the sheet.

    Where only the row is known the private places are on it too.
    """
    parcels, places = layers["parcels"], layers.get("private_places")
    shapes = [
        parcels.geometry[parcels["is_subject"].astype(bool)].union_all(),
        layers["planting_lines"].geometry.union_all().buffer(1.0),
    ]
    if not len(parcels) and places is not None:
        shapes.append(places.geometry.union_all())
    bounds = shapely.bounds(shapely.union_all(shapes))
    return lay_sheet_with_bar(bounds, kept_visible(layers), units=units)


def sight_sheet(layers: Mapping, *, units: str = "metric") -> Sheet:
    """Choose scale and extent so that the houses and windows that see in are on the sheet too.

    What lies farther from the parcel and the rows than they are wide is left out.
    """
    plan = plan_sheet(layers, units=units)
    reach = plan.metres(max(plan.width_mm, plan.height_mm))
    ground = shapely.box(plan.west, plan.south, plan.east, plan.north)
    views = layers["views"]
    seen = views.loc[views["status"].isin(OPEN_TODAY)]
    shapes = [
        ground.buffer(-plan.metres(MARGIN_MM)),
        *shapely.get_point(seen.geometry.to_numpy(), 0),
    ]
    windows, buildings = layers.get("windows"), layers.get("buildings")
    if windows is not None and buildings is not None:
        houses = windows.loc[windows["window_id"].isin(seen["window_id"]), "building_id"]
        shapes += list(buildings.geometry[buildings["building_id"].isin(houses.dropna())])
    near = ground.buffer(reach, join_style="mitre")
    bounds = shapely.bounds(shapely.intersection(shapely.union_all(shapes), near))
    return lay_sheet_with_bar(bounds, kept_visible(layers), units=units)


def draw_plan(layers: Mapping, ax=None, *, sheet: Sheet | None = None, units: str = "metric"):
    """Draw the planting plan: rows, plants with their numbers, dimensions, ground kept clear.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        By contract name, in metres east and north. Needed are ``parcels``, ``planting_lines`` and
        ``plants``; what else is there is drawn.
    ax : Axes, optional
        Where to; by default new axes that fill a figure of the sheet's size, so that the drawing
        is at the sheet's scale when the figure is printed at its size.
    sheet : Sheet, optional
        Scale and extent; by default the largest round scale that fits A4 and Letter.
    units : {"metric", "us"}
        Of the labels, if there is no ``sheet``.

    Returns
    -------
    Axes
    """
    sheet = plan_sheet(layers, units=units) if sheet is None else sheet
    ax = sheet_axes(ax, sheet)
    window = (sheet.west, sheet.south, sheet.east, sheet.north)
    draw_site(ax, layers, window)
    _forbidden(ax, layers)
    _mature(ax, layers)
    draw_rows(ax, layers)
    draw_numbers(ax, layers, sheet)
    _fence(ax, layers.get("fence_posts"), layers.get("fence_wires"))
    _pegs(ax, layers, sheet)
    _dimensions(ax, layers, sheet)
    draw_north_arrow(ax, sheet, layers)
    draw_scale_bar(ax, sheet, kept_visible(layers))
    return ax


def draw_growth(
    layers: Mapping,
    ax=None,
    *,
    years: Sequence[int] = (5,),
    codes: Mapping[str, str] | None = None,
    sheet: Sheet | None = None,
    units: str = "metric",
    furniture: bool = True,
):
    """Draw the crowns of one or several years, and the sight lines that are open or closed then.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        Needed are ``parcels``, ``planting_lines``, ``plants``, ``crowns`` and ``views``.
    ax : Axes, optional
    years : sequence of int
        Years since planting. What belongs to one year has an identifier of its own (``gid``),
        so that a page can show one year at a time; in a notebook give one year.
    codes : mapping, optional
        Short names of the views, by ``view_id``; written at the windows' ends.
    sheet : Sheet, optional
    units : {"metric", "us"}
    furniture : bool
        Whether labels, scale bar and north arrow are drawn.

    Returns
    -------
    Axes
    """
    sheet = plan_sheet(layers, units=units) if sheet is None else sheet
    ax = sheet_axes(ax, sheet)
    window = (sheet.west, sheet.south, sheet.east, sheet.north)
    draw_site(ax, layers, window, labels=furniture)
    add_lines(ax, layers["planting_lines"].geometry, color=COLOURS["quiet"], linewidth=HAIR,
              zorder=9)  # fmt: skip
    for year in years:
        fill_crowns(ax, layers, year)
        draw_sights(ax, layers, year, sheet, codes)
    if furniture:
        draw_north_arrow(ax, sheet, layers)
        draw_scale_bar(ax, sheet, kept_visible(layers))
    else:
        for artist in (*ax.collections, *ax.lines, *ax.patches):
            artist.set_linewidth(np.multiply(artist.get_linewidth(), SMALL_LINES))
    return ax


def closed_by(views: pd.DataFrame, year: int) -> np.ndarray:
    """Tell which views are closed in a year, typical growth."""
    return (views["year_closed"] <= year).fillna(False).to_numpy(bool)


def kept_visible(layers, *, houses: bool = True):
    """Give what no scale bar should hide: the subject's outline, the rows, the houses."""
    parcels = layers["parcels"]
    shapes = [*parcels.geometry[parcels["is_subject"].astype(bool)].boundary]
    shapes += list(layers["planting_lines"].geometry.buffer(1.0).boundary)
    if houses and layers.get("buildings") is not None:
        shapes += list(layers["buildings"].geometry.boundary)
    return shapely.union_all(shapes)


def sheet_axes(ax, sheet: Sheet):
    """Give axes of a sheet's extent; new ones fill a figure of its size."""
    if ax is None:
        figure = new_figure(sheet.width_mm, sheet.height_mm)
        ax = figure.add_axes((0, 0, 1, 1))
    plain_axes(ax)
    ax.set_xlim(sheet.west, sheet.east)
    ax.set_ylim(sheet.south, sheet.north)
    return ax


def _forbidden(ax, layers) -> None:
    zones, parcels = layers.get("no_plant_zones"), layers["parcels"]
    if zones is None or not len(zones):
        return
    ground = shapely.union_all(zones.geometry.to_numpy())
    if len(parcels):
        mine = parcels.geometry[parcels["is_subject"].astype(bool)].union_all()
        ground = shapely.intersection(ground, mine)
    built = layers.get("buildings")
    if built is not None and len(built):
        ground = shapely.difference(ground, shapely.union_all(built.geometry.to_numpy()))
    add_areas(ax, parts_of(ground, "Polygon"), facecolor="none", edgecolor=COLOURS["forbid"],
              hatch="///", linewidth=HAIR, alpha=0.55, zorder=3)  # fmt: skip


def _mature(ax, layers) -> None:
    crowns = layers.get("crowns")
    if crowns is None or not len(crowns):
        return
    last = crowns.loc[(crowns["year"] == crowns["year"].max()) & (crowns["growth"] == "typical")]
    add_crowns(ax, _feet(last, layers), last, facecolor="none", edgecolor=COLOURS["plant"],
               linewidth=HAIR, linestyle=(0, (3, 2)), zorder=9)  # fmt: skip


def _feet(crowns, layers) -> np.ndarray:
    plants = layers["plants"].set_index("plant_id").geometry
    return shapely.get_coordinates(plants.loc[crowns["plant_id"]].to_numpy())


def draw_rows(ax, layers) -> None:
    """Draw the planting lines, and the stems that are planted or stand already."""
    add_lines(ax, layers["planting_lines"].geometry, color=COLOURS["plant"], linewidth=THIN,
              zorder=10)  # fmt: skip
    plants = layers["plants"]
    stands = plants["existing"].astype(bool)
    for key, mark in kind_marks(plants).items():
        draw_stems(ax, plants.loc[~stands & (plants["species"] == key)], mark.marker, mark.fill)
    draw_stems(ax, plants.loc[stands], "^", COLOURS["plant"])
    dropped = layers.get("dropped_stations")
    if dropped is not None and len(dropped):
        ax.plot(dropped.geometry.x, dropped.geometry.y, linestyle="none", marker="x",
                markersize=4, color=COLOURS["ink"], markeredgewidth=LINE, zorder=15)  # fmt: skip


def draw_stems(ax, plants, marker: str, fill: str) -> None:
    """Draw stems with one mark."""
    if not len(plants):
        return
    hollow = fill == COLOURS["paper"]
    ax.plot(
        plants.geometry.x, plants.geometry.y, linestyle="none", marker=marker,
        markersize=3.2 if hollow else 3.6, color=fill, zorder=15,
        markeredgecolor=COLOURS["plant"] if hollow else COLOURS["paper"],
        markeredgewidth=0.8 if hollow else 0.4,
    )  # fmt: skip


def inner_side(line, layers) -> np.ndarray:
    """Give the unit vector square to a planting line, towards the inside of the parcel.

    Where the parcel is not known it is the left of the line.
    """
    xy = shapely.get_coordinates(line)
    along = xy[-1] - xy[0]
    size = float(np.hypot(*along))
    if size == 0.0:
        return np.array([0.0, 1.0])
    left = np.array([-along[1], along[0]]) / size
    parcels = layers["parcels"]
    if not len(parcels):
        return left
    middle = parcels.geometry[parcels["is_subject"].astype(bool)].union_all().centroid
    return left if (np.array([middle.x, middle.y]) - xy[0]) @ left >= 0.0 else -left


def draw_numbers(ax, layers, sheet) -> None:
    """Write the plants' numbers on the inner side of their rows, every fifth where they stand tight."""
    plants = layers["plants"]
    for line_id, line in zip(
        layers["planting_lines"]["line_id"], layers["planting_lines"].geometry, strict=True
    ):
        row = plants.loc[plants["line_id"] == line_id].sort_values("station_m")
        if row.empty:
            continue
        gap = np.diff(row["station_m"].to_numpy(float))
        tight = len(gap) and np.median(gap) < sheet.metres(NUMBER_EVERY_MM)
        side = inner_side(line, layers) * sheet.metres(NUMBER_MM)
        for number, plant in enumerate(row.itertuples()):
            if not tight or number in (0, len(row) - 1) or plant.plant_id % 5 == 0:
                write(ax, plant.geometry.x + side[0], plant.geometry.y + side[1],
                      plant.plant_id, role="plant", fontsize=SMALL)  # fmt: skip


def _fence(ax, posts, wires) -> None:
    if posts is None or wires is None or not len(wires):
        return
    lines = wires.loc[wires["role"] != "gate"]
    add_lines(ax, lines.geometry, color=COLOURS["ink"], linewidth=LINE,
              linestyle=(0, (5, 1.2, 1, 1.2)), zorder=11)  # fmt: skip
    gates = wires.loc[wires["role"] == "gate"]
    add_lines(ax, gates.geometry, color=COLOURS["forbid"], linewidth=HEAVY * 1.4, zorder=11.5)
    posts = posts.loc[posts["role"] != "cage"]
    if len(posts):
        ax.plot(posts.geometry.x, posts.geometry.y, linestyle="none", marker="s", markersize=2,
                color=COLOURS["ink"], zorder=12)  # fmt: skip


def _pegs(ax, layers, sheet) -> None:
    """Mark pegs and tape points, or where there are none the ends of the planting lines."""
    style = {"markeredgecolor": COLOURS["ink"], "color": COLOURS["paper"], "zorder": 16}
    pegs, points = layers.get("pegs"), layers.get("tape_points")
    if pegs is None or not len(pegs):
        for line in layers["planting_lines"].geometry:
            ends = shapely.get_coordinates(line)[[0, -1]]
            ax.plot(*ends.T, linestyle="none", marker="s", markersize=4, **style)
        return
    rows, new = layers["planting_lines"], layers.get("new_screens")
    middle = np.array((rows if len(rows) else pegs).geometry.union_all().centroid.coords[0])
    built = list(new.geometry) if has_rows(new) else []
    for peg in pegs.itertuples():
        ax.plot(peg.geometry.x, peg.geometry.y, marker="s", markersize=4.2, **style)
        at = np.array([peg.geometry.x, peg.geometry.y])
        # The name of a peg of what is built stands beside its line, of others away from the rows.
        own = [line for line in built if line.distance(peg.geometry) < ON_LINE_M]
        away = inner_side(own[0], layers) if own else at - middle
        away = away / max(float(np.hypot(*away)), 1e-9) * sheet.metres(3.4)
        write(ax, at[0] + away[0], at[1] + away[1], peg.peg_id, fontsize=SMALL, fontweight="bold")
    used = points.loc[points["used"].astype(bool)] if points is not None else None
    for point in used.itertuples() if has_rows(used) else ():
        ax.plot(point.geometry.x, point.geometry.y, marker="o", markersize=7, zorder=19,
                color=COLOURS["paper"], markeredgecolor=COLOURS["ink"], markeredgewidth=LINE)  # fmt: skip
        write(ax, point.geometry.x, point.geometry.y, point.point_id, fontsize=SMALL,
              fontweight="bold", halo=False, zorder=21)  # fmt: skip


def _dimensions(ax, layers, sheet) -> None:
    sides, lines, plants = layers.get("sides"), layers["planting_lines"], layers["plants"]
    if sides is not None:
        for side in sides.itertuples():
            ends = shapely.get_coordinates(side.geometry)[[0, -1]]
            if not side.curved:
                text = f"{side.side_id} {_length(side.length_m, sheet)}"
                draw_dimension(ax, ends[1], ends[0], sheet, shift_mm=3.4, text=text, text_mm=1.7)
    first_rows = lines.loc[lines["row"] == lines.groupby("side_id")["row"].transform("min")]
    for line in first_rows.itertuples():
        inner = inner_side(line.geometry, layers)
        xy = shapely.get_coordinates(line.geometry)
        left = np.array([-(xy[-1] - xy[0])[1], (xy[-1] - xy[0])[0]])
        sign = 1.0 if inner @ left > 0 else -1.0
        side = None if sides is None else sides.loc[sides["side_id"] == line.side_id]
        known = side is not None and len(side) > 0 and line.offset_m == line.offset_m
        # Between row and boundary if there is room on paper, else on the inner side.
        room = known and line.offset_m > sheet.metres(ROOM_FOR_LENGTH_MM)
        if len(xy) == 2:
            shift, words = (-4.0, -1.7) if room else (7.5, 1.7)
            foot = 0.0 if room else PAST_NUMBERS_MM
            draw_dimension(ax, xy[0], xy[-1], sheet, shift_mm=sign * shift, foot_mm=foot,
                           text_mm=sign * words)  # fmt: skip
        stations = np.sort(plants.loc[plants["line_id"] == line.line_id, "station_m"])
        if len(stations) > 3:
            gap = int(0.6 * len(stations))
            a, b = (line.geometry.interpolate(s) for s in stations[[gap - 1, gap]])
            draw_dimension(ax, (a.x, a.y), (b.x, b.y), sheet, shift_mm=sign * 4.8,
                           foot_mm=PAST_NUMBERS_MM, text_mm=sign * 1.6)  # fmt: skip
        if known and side is not None:
            place = line.geometry.interpolate(_clear_station(stations))
            edge = side.geometry.iloc[0]
            foot = edge.interpolate(edge.project(place))
            draw_dimension(ax, (foot.x, foot.y), (place.x, place.y), sheet)


def _clear_station(stations) -> float:
    """Give a station in the middle between two plants near a quarter of the row."""
    if len(stations) < 2:
        return float(stations[0]) if len(stations) else 0.0
    quarter = max(len(stations) // 4, 1)
    return 0.5 * float(stations[quarter - 1] + stations[quarter])


def _length(metres, sheet) -> str:
    from screenplan.ground.units import format_length

    return format_length(float(metres), sheet.units)


def fill_crowns(ax, layers, year) -> None:
    """Draw the crowns of a year, typical growth, filled."""
    crowns = layers["crowns"]
    rows = crowns.loc[(crowns["year"] == year) & (crowns["growth"] == "typical")]
    if len(rows):
        add_crowns(ax, _feet(rows, layers), rows, facecolor=COLOURS["crown"],
                   edgecolor=COLOURS["plant"], linewidth=THIN, zorder=14,
                   gid=year_gid(year, "crowns"))  # fmt: skip


def draw_sights(ax, layers, year, sheet, codes=None) -> None:
    """Draw the sight lines of a year, open and closed ones, and the codes of the open ones."""
    views = layers["views"]
    views = views.loc[views["status"].isin(OPEN_TODAY)]
    closed = closed_by(views, year)
    lines = _sight_geometry(views, layers)
    add_lines(ax, lines[closed], color=COLOURS["closed"], linewidth=HAIR * 1.6,
              linestyle=(0, (1.5, 2.5)), zorder=13, gid=year_gid(year, "closed"))  # fmt: skip
    add_lines(ax, lines[~closed], color=COLOURS["open"], linewidth=LINE, zorder=16,
              gid=year_gid(year, "open"))  # fmt: skip
    _arrows(ax, lines[~closed], sheet, year_gid(year, "tips"))
    if codes:
        _codes(ax, views, lines, closed, codes, sheet, year)


def _sight_geometry(views, layers) -> np.ndarray:
    """Give the sight lines of views: the ray that stands for each, else the view's own line."""
    found = layers.get("sight_lines")
    own = dict(zip(views["view_id"], views.geometry, strict=True))
    if found is not None:
        own |= {k: g for k, g in zip(found["view_id"], found.geometry, strict=True) if k in own}
    return np.array([own[view_id] for view_id in views["view_id"]], dtype=object)


def _arrows(ax, lines, sheet, gid) -> None:
    from matplotlib.collections import PolyCollection

    tips = []
    for start, end in (shapely.get_coordinates(line)[-2:] for line in lines):
        along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
        across = np.array([-along[1], along[0]]) * sheet.metres(0.7)
        foot = end - sheet.metres(2.2) * along
        tips.append(np.array([end, foot + across, foot - across]))
    if tips:
        ax.add_collection(
            PolyCollection(tips, facecolor=COLOURS["open"], edgecolor="none", zorder=16, gid=gid),
            autolim=False,
        )


def _codes(ax, views, lines, closed, codes, sheet, year) -> None:
    """Write the codes of the open views of each window or onlooker once, at its place."""
    west, south = sheet.west + sheet.metres(6), sheet.south + sheet.metres(14)
    east, north = sheet.east - sheet.metres(6), sheet.north - sheet.metres(6)
    near = (sheet.metres(TOGETHER_MM[0]), sheet.metres(TOGETHER_MM[1]))
    groups: list[list[tuple[str, float, float]]] = []
    inside = shapely.box(west, south, east, north)
    for view_id, line, shut in zip(views["view_id"], lines, closed, strict=True):
        seen = shapely.get_coordinates(shapely.intersection(line, inside))
        if shut or not len(seen):
            continue
        x, y = seen[0]
        for group in groups:
            if any(abs(x - a) < near[0] and abs(y - b) < near[1] for _, a, b in group):
                break
        else:
            group = []
            groups.append(group)
        group.append((codes.get(view_id, ""), x, y))
    for number, members in enumerate(groups):
        x, y = np.mean([(m[1], m[2]) for m in members], axis=0)
        made = write(ax, x, y, _ranges([m[0] for m in members]), role="open", fontsize=SMALL,
                     fontweight="bold")  # fmt: skip
        made.set_gid(year_gid(year, f"code{number}"))


def _ranges(codes: list[str]) -> str:
    """Shorten V1, V2, V3, V7 to V1–3, 7."""
    numbers = sorted(int(code[1:]) for code in set(codes) if code[1:].isdigit())
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    spans = [f"{p[0]}–{p[-1]}" if len(p) > 1 else str(p[0]) for p in parts]
    return "V" + ", ".join(spans) if spans else ""
