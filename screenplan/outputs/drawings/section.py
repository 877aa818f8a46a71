"""A section through one view: the window, the ground, the screen by year, the place."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from screenplan.contracts import year_column
from screenplan.contracts.called import observer_names, place_names
from screenplan.outputs.drawings.elevation import _tell_times, _ticks, figure_axes, unit_of
from screenplan.outputs.drawings.style import DASHES, LINE, SMALL, THIN, write, year_words
from screenplan.outputs.palette import COLOURS

#: Room left of the window's wall, metres.
BEFORE_M = 1.6
#: A head, and the wall in which a window is, metres.
HEAD_M, WALL_M = 0.24, 0.3


def section_ids(layers: Mapping) -> list[str]:
    """Give the views of which there is a section, the ones that stay open longest first."""
    table = layers.get("sections")
    return [] if table is None else list(dict.fromkeys(table["view_id"]))


def draw_section(layers: Mapping, view_id: str, ax=None, *, units: str = "metric"):
    """Draw the vertical cut along a view's sight line.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        Needed are ``sections`` and ``sight_lines``; ``windows`` and ``private_places`` give names.
    view_id : str
        One of `section_ids`.
    ax : Axes, optional
        Data coordinates are the distance from the window and heights in metres.
    units : {"metric", "us"}
        Of the labels.

    Returns
    -------
    Axes

    Raises
    ------
    KeyError
        If there is no section of that view.
    """
    rows = layers["sections"]
    rows = rows.loc[rows["view_id"] == view_id].sort_values("distance_m")
    if rows.empty:
        raise KeyError(view_id)
    sight_lines = layers["sight_lines"]
    sight_line = sight_lines.loc[sight_lines["view_id"] == view_id].iloc[0]
    distance = rows["distance_m"].to_numpy(float)
    datum = float(rows["ground_m"].min())
    ground = rows["ground_m"].to_numpy(float) - datum
    years = sorted(
        int(name.removeprefix("crown_to_y"))
        for name in rows.columns
        if name.startswith("crown_to_y")
    )
    eye, head = sight_line.eye_z_m - datum, sight_line.head_z_m - datum
    has_window = sight_line.top_z_m == sight_line.top_z_m
    tops = [eye, head] + ([sight_line.top_z_m - datum] if has_window else [])
    for name in ("stands_to_m", *(year_column("crown_to", year) for year in years)):
        values = rows[name].to_numpy(float) - datum
        tops += list(values[np.isfinite(values)])
    top, low = max(tops) + 0.9, -0.8
    times = 1
    if ax is None:
        ax, times = figure_axes(distance[-1] + BEFORE_M, top - low)
    x = np.concatenate([[-BEFORE_M], distance])
    level = np.concatenate([[ground[0]], ground])
    ax.fill_between(x, level, low, facecolor=COLOURS["ground"], edgecolor="none", zorder=1)
    ax.plot(x, level, color=COLOURS["ink"], linewidth=LINE, zorder=5)
    _standing(ax, rows, datum, distance)
    _crowns(ax, rows, years, datum, distance)
    if has_window:
        _wall(ax, sight_line, datum, ground[0], top)
    else:
        ax.plot([0, 0], [ground[0], eye], color=COLOURS["ink"], linewidth=LINE, zorder=8)
        _head(ax, 0.0, eye)
    ax.plot([0, sight_line.length_m], [eye, head], color=COLOURS["open"], linewidth=LINE, zorder=12)
    end = float(np.interp(sight_line.length_m, distance, ground))
    ax.plot(
        [sight_line.length_m] * 2, [end, head], color=COLOURS["place"], linewidth=LINE, zorder=11
    )
    _head(ax, sight_line.length_m, head)
    _names(ax, layers, sight_line, eye, head)
    ax.set_xlim(-BEFORE_M, distance[-1])
    ax.set_ylim(low, top)
    _ticks(ax, units, datum)
    ax.set_xlabel(f"distance from the window or onlooker, {unit_of(units)[1]}", labelpad=1.5)
    _tell_times(ax, times)
    return ax


def _crowns(ax, rows, years, datum, distance) -> None:
    """Draw the cut crowns, largest behind; each year has its dashes and its label."""
    from matplotlib.patches import Polygon

    placed: list[float] = []
    for number, year in reversed(list(enumerate(years))):
        low = rows[year_column("crown_from", year)].to_numpy(float) - datum
        high = rows[year_column("crown_to", year)].to_numpy(float) - datum
        there = np.isfinite(high)
        if not there.any():
            continue
        ax.fill_between(distance, low, high, where=there, facecolor=COLOURS["crown"], alpha=0.35,
                        edgecolor="none", zorder=6)  # fmt: skip
        runs = np.split(
            np.flatnonzero(there), np.flatnonzero(np.diff(np.flatnonzero(there)) > 1) + 1
        )
        for run in runs:
            ring = np.concatenate(
                [np.column_stack([distance[run], high[run]]), np.column_stack([distance[run], low[run]])[::-1]]
            )  # fmt: skip
            # The limits are set already; an artist does not work them out again, as a fill does.
            ax.add_artist(
                Polygon(ring, facecolor="none", edgecolor=COLOURS["plant"], linewidth=THIN,
                        linestyle=DASHES[number % len(DASHES)], zorder=7)
            )  # fmt: skip
        at = int(np.nanargmax(high))
        place = high[at]
        while any(abs(place - other) < 0.4 for other in placed):
            place -= 0.1
        placed.append(place)
        edge = distance[there].max()
        ax.plot([distance[at], edge + 0.5], [high[at], place], color=COLOURS["plant"],
                linewidth=0.4, zorder=9)  # fmt: skip
        write(ax, edge + 0.6, place, year_words(year), ha="left", role="plant", fontsize=SMALL)


def _standing(ax, rows, datum, distance) -> None:
    low, high = (rows[name].to_numpy(float) - datum for name in ("stands_from_m", "stands_to_m"))
    there = np.isfinite(high)
    if there.any():
        ax.fill_between(distance, low, high, where=there, facecolor=COLOURS["built"],
                        edgecolor=COLOURS["ink"], linewidth=THIN, hatch="..", zorder=4)  # fmt: skip


def _wall(ax, sight_line, datum, foot, top) -> None:
    from matplotlib.patches import Rectangle

    sill, head = sight_line.sill_z_m - datum, sight_line.top_z_m - datum
    roof = min(head + 0.7, top)
    for low, high, face in ((foot, sill, "built"), (sill, head, "paper"), (head, roof, "built")):
        if high > low:
            ax.add_artist(
                Rectangle((-WALL_M, low), WALL_M, high - low, facecolor=COLOURS[face],
                          edgecolor=COLOURS["ink"], linewidth=THIN, zorder=8)
            )  # fmt: skip


def _head(ax, x, z) -> None:
    from matplotlib.patches import Ellipse

    ax.add_artist(
        Ellipse((x, z), HEAD_M, HEAD_M, facecolor=COLOURS["paper"], edgecolor=COLOURS["ink"],
                linewidth=LINE, zorder=13)
    )  # fmt: skip


def _names(ax, layers, sight_line, eye, head) -> None:
    observer, place = str(sight_line.window_id), str(sight_line.place_id)
    observer = observer_names(layers).get(observer, observer)
    place = place_names(layers.get("private_places")).get(place, place)
    write(ax, 0.35, eye + 0.5, observer, ha="left", va="bottom", fontsize=SMALL)
    write(ax, sight_line.length_m, head + 0.45, place, ha="right", va="bottom", fontsize=SMALL,
          role="place")  # fmt: skip
