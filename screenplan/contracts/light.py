"""Sun and sky light with and without the screen."""

from __future__ import annotations

from screenplan.contracts.columns import (
    SOURCE,
    YEARS,
    hours,
    integer,
    metres,
    sentence,
    share,
    text,
    words,
    year,
)
from screenplan.contracts.model import ANY, Contract
from screenplan.contracts.presentation import EFFECTS, Place, Shown

LIGHT = Contract(
    "light",
    ANY,
    "The light of one window, garden, panel or bed with the row and without, or of one row",
    key="light_id",
    optional="parcel_id sun_lost sun_lost_high error_share year_worst worst_month worst_month_h sky_lost over asked_h sun sky",
    place=Place("Effects", 80, (EFFECTS,)),
    place_of_areas=Place("Ground", 50, (EFFECTS,)),
    report=(
        Shown(
            "effects",
            90,
            title="Light of windows and gardens",
            columns="kind target_id parcel_id sun_now_h sun_lost sky_lost year_worst over",
        ),
    ),
    columns=(
        text("light_id", "Its kind and identifier", "What the light falls on"),
        words(
            "kind",
            "window, garden, panel, bed, … or row",
            "What the light falls on, by kind",
            heading="of",
        ),
        text(
            "target_id",
            "Its identifier in its own layer",
            "Identifier of the target",
            heading="which",
            form="target",
        ),
        text("parcel_id", "The parcel to which it belongs"),
        hours(
            "sun_free_h", "Hours of sun a year with nothing in the way", "Sun, nothing in the way"
        ),
        hours(
            "sun_now_h",
            "Hours of sun a year with what stands already",
            "Sun a year today",
            heading="hours of sun a year now",
            form="hours",
        ),
        share(
            "sun_lost",
            "Share of them that the row takes in the year in which it takes most, typical growth; empty where there are none to lose",
            heading="of it lost at most",
        ),
        share(
            "sun_lost_high",
            "The same, high growth; in gardens typical",
            "Sun lost, high growth",
            low=None,
            high=None,
        ),
        share(
            "error_share",
            "Error of that share that the sampled days and steps leave, by a denser sample; empty for gardens, which many cells even out",
            "Error of the sun lost",
            high=None,
        ),
        year("year_worst", "That year, typical growth", "Worst year", heading="in year"),
        integer("worst_month", "Month in which most hours are lost then"),
        hours("worst_month_h", "Hours lost in that month", "Sun lost in the worst month"),
        share(
            "sky_now",
            "Share of an overcast sky's light that reaches it today, of what its plane could see",
            "Sky light today",
            low=None,
            high=None,
        ),
        share(
            "sky_lost",
            "Share of that which the row takes at most, typical growth",
            "Sky light lost",
            heading="of the sky lost",
            low=None,
            high=None,
        ),
        text(
            "over",
            "Which of the user's limits it breaks: sun, sky, sun and sky; empty if none, or none is set",
            "Over your limit for",
            choices=("sun", "sky", "sun and sky"),
        ),
        hours(
            "season_h",
            "Hours of sun a day in the growing season today, where there are fewest",
            "Sun a day in the season",
        ),
        hours("asked_h", "Hours a day that the row's species asks for", "Sun a day asked for"),
        hours("sun", "Hours of sun in that year of growth, typical", per_year=True),
        share(
            "sky",
            "Share of an overcast sky's light in that year of growth, typical",
            "Sky light",
            per_year=True,
            low=None,
            high=None,
        ),
    ),
)


LIGHT_MONTHS = Contract(
    "light_months",
    (),
    "Hours of sun of one window, garden, panel or bed in one month of one year of growth",
    optional="shade_from shade_to",
    columns=(
        text("light_id", "What the sun falls on", "What the light falls on"),
        integer("month", "Month, 1 to 12"),
        year("year", "Years since planting"),
        hours("sun_now_h", "Hours without the row", "Sun without the row"),
        hours("sun_h", "Hours with it, typical growth", "Sun with the row"),
        hours("lost_h", "Hours that it takes", "Sun lost"),
        text(
            "shade_from",
            "Clock time at which its shade begins, in the last year looked at",
            "Shade begins",
        ),
        text("shade_to", "Clock time at which its shade ends", "Shade ends"),
    ),
)


SUN_GRID = Contract(
    "sun_grid",
    ("Point",),
    "Hours of sun a year on one cell of ground, at its middle",
    key="cell_id",
    optional="sun",
    place=Place("Ground", 60),
    columns=(
        integer("cell_id", "Number"),
        integer("column", "Place in the grid, to the east", "Column, to the east"),
        integer("line", "Place in the grid, to the north", "Line, to the north"),
        metres("cell_m", "Size of a cell", "Size of the cell"),
        hours("sun_now_h", "Hours without the row", "Sun without the row"),
        hours("sun", "Hours in that year of growth, typical", per_year=True),
    ),
)


HEDGE_HEIGHTS = Contract(
    "hedge_heights",
    ("Point", "Polygon", "MultiPolygon"),
    "The height to which published guidance lets a row grow before one window or garden",
    key="height_id",
    optional="year_low year year_high",
    place=Place("Effects", 70),
    place_of_areas=Place("Ground", 40),
    report=(Shown("effects", 80),),
    columns=(
        text("height_id", "Line, and window or garden", "Line and target", heading="height"),
        text("line_id", "The planting line", "Planting line", heading="line"),
        text(
            "kind",
            "window or garden",
            "Window or garden",
            heading="kind",
            choices=("window", "garden"),
        ),
        text(
            "target_id",
            "The window, or the parcel of the garden",
            "Identifier of the target",
            heading="target",
            form="target",
        ),
        sentence(
            "formula", "How the row stands to it", "How the row stands to it", heading="formula"
        ),
        metres("distance_m", "Distance of the row", "Distance of the row", heading="distance"),
        metres(
            "guided_m",
            "Height by the formula, above the ground there",
            "Guided height",
            heading="guided",
        ),
        metres(
            "keep_below_m",
            "Height to which the row may be kept, above the ground at the row, never under the least",
        ),
        *YEARS,
        sentence(
            "status", "How the factors are known", "How the factors are known", heading="status"
        ),
        SOURCE,
    ),
)
