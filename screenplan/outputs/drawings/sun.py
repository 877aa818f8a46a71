"""Where the screen takes the sun: hours lost on the ground, and at windows, panels and beds."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
import pandas as pd
import shapely

from screenplan.ground.units import format_amount
from screenplan.outputs.drawings.effects import SAMPLE_MM, draw_legend, legend_mm
from screenplan.outputs.drawings.plan import draw_rows, kept_visible, sheet_axes
from screenplan.outputs.drawings.scale import (
    SHEET_MM,
    Sheet,
    draw_north_arrow,
    lay_sheet,
    lengthen,
)
from screenplan.outputs.drawings.site_base import add_areas, draw_site
from screenplan.outputs.drawings.style import HAIR, LINE, SMALL, clean, write, year_words
from screenplan.outputs.palette import COLOURS

#: Hours a year from which on a class of loss counts, with its hatch and the depth of its grey.
CLASSES = ((100.0, "..", 0.05), (400.0, "//", 0.12), (1000.0, "xx", 0.22), (2000.0, "xxxx", 0.36))
#: Greatest height of the drawing, legend included, millimetres.
TALLEST_MM = 165.0
#: Labels of windows are written together if they are nearer than this on paper.
TOGETHER_MM = (9.0, 4.0)
#: Shares below this are left out; half a per cent rounds to nothing.
LEAST_SHARE = 0.005
#: Windows, panels and beds named in the text for those who do not see the drawing.
MOST_NAMED = 12
#: Points of an outline nearer than this to a straight line are left out, in cells.
STRAIGHT = 0.01
_KINDS = ("window", "panel", "bed")


def lost_hours(layers: Mapping) -> tuple[pd.Series, int] | None:
    """Give the hours of sun a year that each cell of ``sun_grid`` loses, and in which year.

    The year is the one in which all cells together lose most. None if there is no grid.
    """
    grid = layers.get("sun_grid")
    years = [] if grid is None else [c for c in grid if c.startswith("sun_y") and c[5:].isdigit()]
    if grid is None or not len(grid) or not years:
        return None
    worst = min(years, key=lambda name: float(grid[name].sum()))
    return grid["sun_now_h"] - grid[worst], int(worst[5:])


def lit_shares(layers: Mapping) -> pd.DataFrame | None:
    """Give the windows, panels and beds that lose sun, and whether more than allowed; None if none does.

    The column ``too_much`` is true where the user's limit for sun is broken.
    """
    light = layers.get("light")
    if light is None or not len(light):
        return None
    rows = light.loc[light["kind"].isin(_KINDS) & (light["sun_lost"].fillna(0.0) >= LEAST_SHARE)]
    over = rows["over"].fillna("") if "over" in rows else pd.Series("", index=rows.index)
    return rows.assign(too_much=over.str.contains("sun")) if len(rows) else None


def sun_classes(layers: Mapping) -> list[tuple[float, float, shapely.Geometry]]:
    """Give the ground of each class of loss: from and to so many hours a year, and its outline."""
    found = lost_hours(layers)
    if found is None:
        return []
    lost, _ = found
    grid = layers["sun_grid"]
    # Cells by their number in the grid share their corners to the last digit.
    column, row = grid["column"].to_numpy(float), grid["line"].to_numpy(float)
    cells = shapely.box(column - 0.5, row - 0.5, column + 0.5, row + 0.5)
    size = float(grid["cell_m"].iloc[0])
    origin = (
        float(np.mean(grid.geometry.x - column * size)),
        float(np.mean(grid.geometry.y - row * size)),
    )
    edges = [edge[0] for edge in CLASSES] + [np.inf]
    made = []
    for low, high in pairwise(edges):
        mine = ((lost >= low) & (lost < high)).to_numpy()
        if mine.any():
            shape = shapely.simplify(shapely.coverage_union_all(cells[mine]), STRAIGHT)
            made.append((low, high, shapely.transform(shape, lambda xy: xy * size + origin)))
    return made


def draw_sun(layers: Mapping, ax=None, *, sheet: Sheet | None = None, units: str = "metric"):
    """Draw the hours of sun that the screen takes, in the year in which it takes most.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        By contract name; ``parcels``, ``planting_lines`` and ``plants`` are needed, drawn are
        ``sun_grid`` and the windows, panels and beds of ``light``.
    ax : Axes, optional
    sheet : Sheet, optional
    units : {"metric", "us"}

    Returns
    -------
    Axes or None
        None if no sun is lost.
    """
    ground, lit = sun_classes(layers), lit_shares(layers)
    if not ground and lit is None:
        return None
    entries = [
        (_sampler(low), f"{_hours(low, high)} of sun lost a year") for low, high, _ in ground
    ]
    if lit is not None:
        says = (
            "Share of its sun lost; “over”: more than you allow"
            if lit["too_much"].any()
            else "Share of its sun that a window, panel or bed loses"
        )
        entries.append((_share_sample, says))
    strip = legend_mm(len(entries))
    sheet = _sheet(layers, ground, lit, strip, units) if sheet is None else sheet
    ax = sheet_axes(ax, sheet)
    draw_site(ax, layers, (sheet.west, sheet.south + sheet.metres(strip), sheet.east, sheet.north),
              labels=False)  # fmt: skip
    for low, _, shape in ground:
        _fill(ax, shape, low, zorder=3.5)
    draw_rows(ax, layers)
    if lit is not None:
        _shares(ax, lit, sheet)
    draw_north_arrow(ax, sheet, layers)
    draw_legend(ax, sheet, entries, strip)
    return ax


def sun_words(layers: Mapping, *, units: str = "metric") -> str:
    """Say what the drawing of the sun shows, for those who do not see it."""
    parts = ["Plan seen from above, north up, of the sun that the screen takes."]
    ground, lit = sun_classes(layers), lit_shares(layers)
    found = lost_hours(layers)
    if ground and found is not None:
        lost, year = found
        areas = ", ".join(
            f"{format_amount(shape.area, 'm2', units)} lose {_hours(low, high)}"
            for low, high, shape in ground
        )
        parts.append(
            f"A year, in {year_words(year)}, typical growth: {areas}; the most is {lost.max():.0f} hours."
        )
    if lit is not None:
        most = lit.sort_values("sun_lost", ascending=False, kind="stable")[:MOST_NAMED]
        names = ", ".join(
            f"{clean(row.kind)} {clean(row.target_id)} {row.sun_lost:.0%}" + _over_words(row)
            for row in most.itertuples(index=False)
        )
        which = "Those that lose most of theirs" if len(most) < len(lit) else "Those that lose sun"
        parts.append(f"{which}: {names}.")
    return " ".join(parts)


def _over_words(row) -> str:
    return " (more than you allow)" if row.too_much else ""


def _hours(low, high) -> str:
    return f"{low:.0f} to {high:.0f} hours" if np.isfinite(high) else f"{low:.0f} hours and more"


def _sheet(layers, ground, lit, strip, units) -> Sheet:
    # Ground that loses least may run out of the drawing.
    strong = [shape for low, _, shape in ground if low > CLASSES[0][0]]
    shapes = [kept_visible(layers, houses=False), *strong]
    if lit is not None:
        shapes += list(shapely.buffer(lit.geometry.to_numpy(), 2.0))
    bounds = shapely.union_all([shapely.box(*shape.bounds) for shape in shapes]).bounds
    sheet = lay_sheet(bounds, units=units, paper_mm=(SHEET_MM[0], TALLEST_MM - strip))
    return lengthen(sheet, strip)


def _fill(ax, shape, low, *, zorder) -> None:
    """Fill ground of a class: a grey that deepens, and over it a hatch that thickens."""
    _, hatch, depth = next(entry for entry in CLASSES if entry[0] == low)
    # Two artists: in an SVG the fill's opacity would fade the hatch too.
    add_areas(ax, [shape], facecolor=COLOURS["ink"], edgecolor="none", alpha=depth, zorder=zorder)
    made = add_areas(ax, [shape], facecolor="none", edgecolor=COLOURS["quiet"], linewidth=HAIR,
                     hatch=hatch, zorder=zorder + 0.1)  # fmt: skip
    made.set_gid(f"sun.{low:.0f}")


def _sampler(low):
    def draw(ax, x, y, mm) -> None:
        box = shapely.box(x + mm, y - 1.5 * mm, x + (SAMPLE_MM - 1.0) * mm, y + 1.5 * mm)
        _fill(ax, box, low, zorder=31)

    return draw


def _share_sample(ax, x, y, mm) -> None:
    _dot(ax, x + 2.2 * mm, y)
    write(ax, x + 3.4 * mm, y, "25 %", role="open", fontsize=SMALL, fontweight="bold", ha="left",
          halo=False, zorder=32)  # fmt: skip


def _dot(ax, x, y) -> None:
    ax.plot(x, y, marker="o", markersize=3.4, color=COLOURS["paper"], zorder=31,
            markeredgecolor=COLOURS["open"], markeredgewidth=LINE, linestyle="none")  # fmt: skip


def _shares(ax, lit, sheet) -> None:
    """Write the shares; those of windows above and beside one another are written as a span."""
    near = (sheet.metres(TOGETHER_MM[0]), sheet.metres(TOGETHER_MM[1]))
    groups: list[list[tuple[float, float, float, bool]]] = []
    for row in lit.itertuples():
        point = row.geometry.representative_point()
        _dot(ax, point.x, point.y)
        for group in groups:
            if any(abs(point.x - x) < near[0] and abs(point.y - y) < near[1] for x, y, *_ in group):
                break
        else:
            group = []
            groups.append(group)
        group.append((point.x, point.y, float(row.sun_lost), bool(row.too_much)))
    for group in groups:
        x, y = np.mean([mark[0] for mark in group]), max(mark[1] for mark in group)
        low, high = (round(100 * f([mark[2] for mark in group])) for f in (min, max))
        text = f"{low} %" if low == high else f"{low}–{high} %"
        text += ", over" if any(mark[3] for mark in group) else ""
        write(ax, x, y + sheet.metres(2.4), text, role="open", fontsize=SMALL, fontweight="bold")
