"""Elevations along a planting line: the screen by year, and how tall it must be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import year_column
from screenplan.contracts.tables import numbers
from screenplan.contracts.views import OPEN_TODAY
from screenplan.ground.said import FOOT_M
from screenplan.outputs.drawings.crowns import crown_outline
from screenplan.outputs.drawings.plan import closed_by
from screenplan.outputs.drawings.scale import SHEET_MM
from screenplan.outputs.drawings.site_base import add_areas
from screenplan.outputs.drawings.style import (
    DASHES,
    HAIR,
    LINE,
    SMALL,
    THIN,
    clean,
    new_figure,
    write,
    year_gid,
    year_words,
)
from screenplan.outputs.palette import COLOURS

#: Width of an elevation on paper, and the least and greatest height, millimetres.
WIDTH_MM, LEAST_MM, MOST_MM = SHEET_MM[0], 42.0, 80.0
#: Room on paper beside the axes for labels: left, right, below, above, millimetres.
ROOM_MM = (11.0, 15.0, 10.0, 6.0)
#: Ground shown beyond the ends of the row, metres, at least.
BEYOND_M = 1.5


def unit_of(units: str) -> tuple[float, str]:
    """Give the factor from metres and the short name of a unit of length."""
    return (1.0 / FOOT_M, "ft") if units == "us" else (1.0, "m")


def figure_axes(wide_m: float, high_m: float):
    """Make a figure and axes at paper width in which heights and lengths have one scale.

    Heights are drawn larger where the drawing would be too low otherwise.

    Returns
    -------
    ax : Axes
    times : int
        By how much heights are drawn larger; 1 is a true shape.
    """
    left, right, below, above = ROOM_MM
    inner = WIDTH_MM - left - right
    times = 1
    while high_m * times / wide_m * inner < LEAST_MM - below - above and times < 20:
        times += 1
    height = min(high_m * times / wide_m * inner, MOST_MM - below - above)
    tall = height + below + above
    figure = new_figure(WIDTH_MM, tall)
    # Too tall for its room: narrower, so that the shape stays true.
    share = min(height / (high_m * times / wide_m * inner), 1.0)
    ax = figure.add_axes((left / WIDTH_MM, below / tall, inner * share / WIDTH_MM, height / tall))
    return ax, times


def draw_elevation(
    layers: Mapping,
    line_id: str,
    ax=None,
    *,
    years: Sequence[int] | None = None,
    filled: Sequence[int] = (),
    codes: Mapping[str, str] | None = None,
    units: str = "metric",
):
    """Draw a row from the side: its outline by year, and where the views pass through it.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        Needed are ``planting_lines``, ``plants``, ``crowns`` and ``views``; ``sight_outlines``
        shows where the views pass.
    line_id : str
        The planting line.
    ax : Axes, optional
        Data coordinates are stations and heights in metres.
    years : sequence of int, optional
        Years whose outline is drawn; by default those of ``crowns``.
    filled : sequence of int
        Years whose crowns are filled and whose views are marked open or closed, each under an
        identifier of its own (``gid``); in a notebook give one year.
    codes : mapping, optional
        Short names of the views.
    units : {"metric", "us"}
        Of the labels.

    Returns
    -------
    Axes
    """
    plants = _row(layers, line_id)
    crowns = layers["crowns"]
    crowns = crowns.loc[
        crowns["plant_id"].isin(plants["plant_id"]) & (crowns["growth"] == "typical")
    ]
    years = sorted(crowns["year"].unique()) if years is None else sorted(years)
    ground, datum = _ground(layers, line_id, plants)
    length = float(_line(layers, line_id).length_m)
    tall = float(crowns["height_m"].max()) if len(crowns) else 2.0
    window = (-BEYOND_M, length + BEYOND_M)
    top = float(ground(np.linspace(0, length, 50)).max()) + tall * 1.04
    low = float(ground(np.linspace(*window, 50)).min()) - 0.8
    times = 1
    if ax is None:
        ax, times = figure_axes(window[1] - window[0], top - low)
    _earth(ax, ground, window, low)
    for number, year in enumerate(years):
        rows = crowns.loc[crowns["year"] == year]
        _outline(ax, rows, plants, ground, DASHES[number % len(DASHES)], year)
    for year in filled:
        rows = crowns.loc[crowns["year"] == year]
        _fill(ax, rows, plants, ground, year)
    _passages(ax, layers, line_id, ground, codes, filled)
    _year_labels(ax, crowns, plants, ground, years, window[1])
    _stems(ax, plants, ground)
    ax.set_xlim(*window)
    ax.set_ylim(low, top)
    _ticks(ax, units, datum)
    seen = "outside" if _left_inside(layers, line_id) else "inside"
    note = f"from the zero peg on the left; seen from {seen} the parcel"
    ax.set_xlabel(f"station, {unit_of(units)[1]}, {note}", labelpad=1.5)
    _tell_times(ax, times)
    return ax


def draw_needed_height(
    layers: Mapping, line_id: str, ax=None, *, years: Sequence[int] | None = None, units="metric"
):
    """Draw how tall the screen must be along a planting line, and how far up it has closed by year.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        Needed is ``needed_profile``.
    line_id : str
    ax : Axes, optional
        Data coordinates are stations and heights above the ground in metres.
    years : sequence of int, optional
        Years whose closed height is drawn; by default those of the table, year 0 left out.
    units : {"metric", "us"}

    Returns
    -------
    Axes
    """
    profile = layers["needed_profile"]
    profile = profile.loc[profile["line_id"] == line_id]
    station = profile["station_m"].to_numpy(float)
    needed = profile["needed_m"].to_numpy(float)
    if years is None:
        names = [name for name in profile.columns if name.startswith("closed_y")]
        years = sorted(int(name.removeprefix("closed_y")) for name in names)
    closed = {
        year: profile[year_column("closed", year)].to_numpy(float) for year in years if year > 0
    }
    length = float(_line(layers, line_id).length_m)
    heights = [needed, *(values[np.isfinite(values)] for values in closed.values())]
    most = max((float(np.max(values)) for values in heights if len(values)), default=0.0)
    # Closed heights far above every need would only flatten the drawing.
    top = max(min(most, 2.0 * max(float(needed.max()) if len(needed) else 0.0, 1.0)), 1.0) * 1.08
    times = 1
    if ax is None:
        ax, times = figure_axes(length + 2 * BEYOND_M, top)
    ax.fill_between(station, needed, facecolor="none", edgecolor=COLOURS["need"], hatch="///",
                    linewidth=0.0, zorder=3)  # fmt: skip
    ax.plot(station, needed, color=COLOURS["need"], linewidth=LINE * 1.5, zorder=6)
    below = -np.inf
    for number, (year, values) in enumerate(closed.items(), start=1):
        if not np.nanmax(np.nan_to_num(values), initial=0.0) > 0.0:
            continue  # crowns do not meet yet
        ax.plot(station, values, color=COLOURS["plant"], linewidth=THIN, zorder=5,
                linestyle=DASHES[number % len(DASHES)])  # fmt: skip
        last = values[np.isfinite(values)]
        if len(last) and last[-1] <= top:
            below = max(last[-1], below + 0.06 * top)
            write(ax, length + 0.4, below, f"closed, {year_words(year)}", ha="left",
                  role="plant", fontsize=SMALL)  # fmt: skip
    if len(needed) and needed.max() > 0:
        at = int(np.argmax(needed))
        factor, unit = unit_of(units)
        write(ax, station[at], needed[at] + 0.05 * top, f"{needed[at] * factor:.1f} {unit}",
              role="need", fontsize=SMALL, fontweight="bold", va="bottom")  # fmt: skip
    ax.axhline(0.0, color=COLOURS["ink"], linewidth=THIN, zorder=4)
    ax.set_xlim(-BEYOND_M, length + BEYOND_M)
    ax.set_ylim(0.0, top * 1.08)
    _ticks(ax, units, None)
    unit = unit_of(units)[1]
    ax.set_xlabel(f"station, {unit}, from the zero peg on the left", labelpad=1.5)
    ax.set_ylabel(f"above the ground, {unit}", labelpad=2)
    _tell_times(ax, times)
    return ax


def _line(layers, line_id):
    lines = layers["planting_lines"]
    return lines.loc[lines["line_id"] == line_id].iloc[0]


def _row(layers, line_id):
    plants = layers["plants"]
    return plants.loc[plants["line_id"] == line_id].sort_values("station_m")


def _left_inside(layers, line_id) -> bool:
    """Tell whether the parcel lies on the left of the line's way."""
    xy = shapely.get_coordinates(_line(layers, line_id).geometry)
    along = xy[-1] - xy[0]
    parcels = layers["parcels"]
    if not len(parcels):
        return True
    middle = parcels.geometry[parcels["is_subject"].astype(bool)].union_all().centroid
    return float(along[0] * (middle.y - xy[0][1]) - along[1] * (middle.x - xy[0][0])) >= 0.0


def _ground(layers, line_id, plants):
    """Give the ground as a function of the station, from its lowest point, and that point's height."""
    parts = [plants[["station_m", "ground_m"]]]
    profile = layers.get("needed_profile")
    if profile is not None:
        parts.append(profile.loc[profile["line_id"] == line_id, ["station_m", "ground_m"]])
    known = pd.concat(parts).dropna().drop_duplicates("station_m").sort_values("station_m")
    station, level = known["station_m"].to_numpy(float), known["ground_m"].to_numpy(float)
    if not len(station):
        return (lambda s: np.zeros(np.shape(s))), 0.0
    datum = float(level.min())
    return (lambda s: np.interp(s, station, level - datum)), datum


def _earth(ax, ground, window, low) -> None:
    station = np.linspace(window[0], window[1], 120)
    ax.fill_between(station, ground(station), low, facecolor=COLOURS["ground"],
                    edgecolor="none", zorder=1)  # fmt: skip
    ax.plot(station, ground(station), color=COLOURS["ink"], linewidth=LINE, zorder=6)


def _silhouettes(crowns, plants, ground) -> list[np.ndarray]:
    station = plants.set_index("plant_id")["station_m"].loc[crowns["plant_id"]].to_numpy(float)
    feet = np.column_stack([station, ground(station)])
    columns = (crowns[name] for name in ("shape", "height_m", "spread_m", "clear_stem_m"))
    exponents = numbers(crowns, "profile_exponent", np.nan)
    return [
        np.add(crown_outline(*crown), foot)
        for *crown, foot in zip(*columns, exponents, feet, strict=True)
    ]


def _outline(ax, crowns, plants, ground, dashes, year) -> None:
    """Draw the outline of all crowns of a year together, as the eye sees the row."""
    outlines = _silhouettes(crowns, plants, ground)
    if not outlines:
        return
    together = shapely.union_all([shapely.Polygon(points) for points in outlines])
    add_areas(ax, [together], facecolor="none", edgecolor=COLOURS["plant"], linewidth=THIN,
              linestyle=dashes, zorder=7, gid=f"outline-{year:02d}")  # fmt: skip


def _fill(ax, crowns, plants, ground, year) -> None:
    from matplotlib.collections import PolyCollection

    outlines = _silhouettes(crowns, plants, ground)
    if outlines:
        ax.add_collection(
            PolyCollection(
                outlines, facecolor=COLOURS["crown"], edgecolor=COLOURS["plant"],
                linewidth=HAIR, zorder=3, gid=year_gid(year, "row"),
            ),
            autolim=False,
        )  # fmt: skip


def _passages(ax, layers, line_id, ground, codes, filled) -> None:
    """Draw where the rays of each view that is open today cross the line."""
    outlines = layers.get("sight_outlines")
    if outlines is None or not len(outlines):
        return
    views = layers["views"]
    views = views.loc[views["status"].isin(OPEN_TODAY)]
    here = outlines.loc[outlines["line_id"] == line_id]
    rings = {}
    for view_id, rows in here.groupby("view_id", sort=False):
        rows = rows.sort_values("corner")
        station = rows["station_m"].to_numpy(float)
        rings[view_id] = np.column_stack([station, rows["above_m"].to_numpy() + ground(station)])
    shown = views.loc[views["view_id"].isin(rings)]
    _frames(ax, [rings[view_id] for view_id in shown["view_id"]], False, None)
    for year in filled:
        shut = closed_by(shown, year)
        for state in (False, True):
            mine = [rings[view_id] for view_id in shown.loc[shut == state, "view_id"]]
            _frames(ax, mine, state, year_gid(year, "shut" if state else "open"))
    taken: list[tuple[float, float]] = []
    high = ax.get_ylim()[1]
    for view_id in shown["view_id"] if codes else ():
        ring = rings[view_id]
        x, y = float(ring[:, 0].mean()), float(ring[:, 1].max()) + 0.16
        while any(abs(x - a) < 0.9 and abs(y - b) < 0.42 for a, b in taken) and y < high + 20:
            y += 0.42
        taken.append((x, y))
        write(ax, x, y, clean(codes.get(view_id, "")), role="open", fontsize=SMALL,
              fontweight="bold")  # fmt: skip


def _frames(ax, rings, shut: bool, gid) -> None:
    """Frame where views pass: hatched while they are open, dotted once they are closed."""
    from matplotlib.collections import PolyCollection

    rings = [ring for ring in rings if len(ring) >= 3]
    style: dict[str, Any] = {
        "edgecolor": COLOURS["closed"],
        "linestyle": (0, (1.5, 2)),
        "linewidth": THIN,
    }
    if not shut:
        style = {"edgecolor": COLOURS["open"], "linewidth": LINE if gid else THIN}
        if gid:
            style["hatch"] = "\\\\\\\\"
    if rings:
        ax.add_collection(
            PolyCollection(rings, facecolor="none", zorder=9, gid=gid, **style), autolim=False
        )


def _year_labels(ax, crowns, plants, ground, years, right) -> None:
    """Write the years at the tops of the last crown, kept apart from each other."""
    if plants.empty:
        return
    last = plants.iloc[-1]
    foot, below = float(ground(last.station_m)), -1.0
    for year in years:
        rows = crowns.loc[(crowns["year"] == year) & (crowns["plant_id"] == last.plant_id)]
        if len(rows):
            height = foot + float(rows["height_m"].iloc[0])
            place = max(height, below + 0.45)
            below = place
            ax.plot([last.station_m, right], [height, place], color=COLOURS["plant"],
                    linewidth=HAIR, zorder=8, clip_on=False)  # fmt: skip
            write(ax, right + 0.15, place, year_words(year), ha="left", fontsize=SMALL,
                  role="plant", clip_on=False)  # fmt: skip


def _stems(ax, plants, ground) -> None:
    stations = plants["station_m"].to_numpy(float)
    ax.plot(stations, ground(stations), linestyle="none", marker="^", markersize=2.6,
            color=COLOURS["ink"], zorder=10)  # fmt: skip
    gap = np.diff(stations)
    every = 5 if len(gap) and np.median(gap) < 0.8 else 1
    for number, plant in enumerate(plants.itertuples()):
        if number % every == 0:
            write(ax, plant.station_m, float(ground(plant.station_m)) - 0.42, plant.plant_id,
                  fontsize=5.5, halo=False)  # fmt: skip


def _ticks(ax, units, datum) -> None:
    """Put ticks at round lengths of the reader's units."""
    from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

    factor, unit = unit_of(units)
    for axis, (low, high) in ((ax.xaxis, ax.get_xlim()), (ax.yaxis, ax.get_ylim())):
        steps = MaxNLocator(nbins=8 if axis is ax.xaxis else 4, steps=[1, 2, 5, 10])
        ticks = steps.tick_values(low * factor, high * factor)
        step = float(ticks[1] - ticks[0]) if len(ticks) > 1 else 1.0
        axis.set_major_locator(MultipleLocator(step / factor))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value * factor:g}" if abs(value) > 1e-9 else "0"))  # fmt: skip
    if datum is not None:
        ax.set_ylabel(f"above its lowest ground, {unit}", labelpad=2)


def _tell_times(ax, times: int) -> None:
    if times > 1:
        ax.set_title(f"Heights are drawn {times} times as large as lengths.", fontsize=SMALL,
                     loc="left", color=COLOURS["quiet"], pad=2)  # fmt: skip
