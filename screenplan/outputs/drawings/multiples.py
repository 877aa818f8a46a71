"""Small multiples: the same plan in several years, side by side, for paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from screenplan.contracts.views import OPEN_TODAY
from screenplan.outputs.drawings.plan import closed_by, draw_growth, sight_sheet
from screenplan.outputs.drawings.scale import SHEET_MM, Sheet
from screenplan.outputs.drawings.style import TEXT, new_figure, write, year_words

#: Panels beside each other, the gap between them and the room above each for its caption, mm.
ACROSS, GAP_MM, CAPTION_MM = 3, 4.0, 5.0


def draw_years(
    layers: Mapping, figure=None, *, years: Sequence[int] | None = None, units: str = "metric"
):
    """Draw the screen and the views in several years, one panel a year.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        As in `draw_growth`.
    figure : Figure, optional
        By default a new one, as wide as a sheet.
    years : sequence of int, optional
        By default those of ``crowns``.
    units : {"metric", "us"}

    Returns
    -------
    list of Axes
        One for each year.
    """
    years = sorted(layers["crowns"]["year"].unique()) if years is None else sorted(years)
    width = (SHEET_MM[0] - (ACROSS - 1) * GAP_MM) / ACROSS
    sheet = sight_sheet(layers, units=units)
    # The same extent as the large drawing, smaller; the caption tells no scale.
    panel = Sheet(
        sheet.scale * sheet.width_mm / width, width, sheet.height_mm * width / sheet.width_mm,
        sheet.west, sheet.south, units,
    )  # fmt: skip
    down = -(-len(years) // ACROSS)
    tall = down * (panel.height_mm + CAPTION_MM) + (down - 1) * GAP_MM
    if figure is None:
        figure = new_figure(SHEET_MM[0], tall)
    views = layers["views"]
    views = views.loc[views["status"].isin(OPEN_TODAY)]
    made = []
    for number, year in enumerate(years):
        column, row = number % ACROSS, number // ACROSS
        bottom = tall - (row + 1) * (panel.height_mm + CAPTION_MM) - row * GAP_MM
        ax = figure.add_axes(
            (
                column * (width + GAP_MM) / SHEET_MM[0], bottom / tall,
                width / SHEET_MM[0], panel.height_mm / tall,
            )
        )  # fmt: skip
        draw_growth(layers, ax, years=(year,), sheet=panel, furniture=False)
        shut = int(closed_by(views, year).sum())
        caption = f"{year_words(year).capitalize()}: {shut} of {len(views)} views closed"
        write(ax, panel.west, panel.north + panel.metres(1.2), caption, ha="left", va="bottom",
              fontsize=TEXT, fontweight="bold", halo=False, clip_on=False)  # fmt: skip
        made.append(ax)
    return made
