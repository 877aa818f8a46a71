"""Sun and sky light with and without the screen."""

from __future__ import annotations

from screenplan.contracts.columns import SOURCE, YEARS, metres_column
from screenplan.contracts.model import ANY, Column, Contract

LIGHT = Contract(
    "light",
    ANY,
    "The light of one window, garden, panel or bed with the row and without, or of one row",
    key="light_id",
    columns=(
        Column("light_id", "text", "Its kind and identifier", required=True),
        Column("kind", "text", "window, garden, panel, bed, … or row", required=True),
        Column("target_id", "text", "Its identifier in its own layer", required=True),
        Column("parcel_id", "text", "The parcel to which it belongs"),
        Column(
            "sun_free_h",
            "number",
            "Hours of sun a year with nothing in the way",
            unit="h",
            required=True,
        ),
        Column(
            "sun_now_h",
            "number",
            "Hours of sun a year with what stands already",
            unit="h",
            required=True,
        ),
        Column(
            "sun_lost",
            "number",
            "Share of them that the row takes in the year in which it takes most, typical growth; "
            "empty where there are none to lose",
            unit="share",
            low=0.0,
            high=1.0,
        ),
        Column(
            "sun_lost_high", "number", "The same, high growth; in gardens typical", unit="share"
        ),
        Column(
            "error_share",
            "number",
            "Error of that share that the sampled days and steps leave, by a denser sample; empty for "
            "gardens, which many cells even out",
            unit="share",
            low=0.0,
        ),
        Column("year_worst", "integer", "That year, typical growth", unit="year"),
        Column("worst_month", "integer", "Month in which most hours are lost then"),
        Column("worst_month_h", "number", "Hours lost in that month", unit="h"),
        Column(
            "sky_now",
            "number",
            "Share of an overcast sky's light that reaches it today, of what its plane could see",
            unit="share",
            required=True,
        ),
        Column(
            "sky_lost",
            "number",
            "Share of that which the row takes at most, typical growth",
            unit="share",
        ),
        Column(
            "over",
            "text",
            "Which of the user's limits it breaks: sun, sky, sun and sky; empty if none, or none is set",
            choices=("sun", "sky", "sun and sky"),
        ),
        Column(
            "season_h",
            "number",
            "Hours of sun a day in the growing season today, where there are fewest",
            unit="h",
            required=True,
        ),
        Column("asked_h", "number", "Hours a day that the row's species asks for", unit="h"),
        Column(
            "sun", "number", "Hours of sun in that year of growth, typical", unit="h", per_year=True
        ),
        Column(
            "sky",
            "number",
            "Share of an overcast sky's light in that year of growth, typical",
            unit="share",
            per_year=True,
        ),
    ),
)


LIGHT_MONTHS = Contract(
    "light_months",
    (),
    "Hours of sun of one window, garden, panel or bed in one month of one year of growth",
    key="",
    columns=(
        Column("light_id", "text", "What the sun falls on", required=True),
        Column("month", "integer", "Month, 1 to 12", required=True),
        Column("year", "integer", "Years since planting", unit="year", required=True),
        Column("sun_now_h", "number", "Hours without the row", unit="h", required=True),
        Column("sun_h", "number", "Hours with it, typical growth", unit="h", required=True),
        Column("lost_h", "number", "Hours that it takes", unit="h", required=True),
        Column(
            "shade_from", "text", "Clock time at which its shade begins, in the last year looked at"
        ),
        Column("shade_to", "text", "Clock time at which its shade ends"),
    ),
)


SUN_GRID = Contract(
    "sun_grid",
    ("Point",),
    "Hours of sun a year on one cell of ground, at its middle",
    key="cell_id",
    columns=(
        Column("cell_id", "integer", "Number", required=True),
        Column("column", "integer", "Place in the grid, to the east", required=True),
        Column("line", "integer", "Place in the grid, to the north", required=True),
        metres_column("cell_m", "Size of a cell", required=True),
        Column("sun_now_h", "number", "Hours without the row", unit="h", required=True),
        Column("sun", "number", "Hours in that year of growth, typical", unit="h", per_year=True),
    ),
)


HEDGE_HEIGHTS = Contract(
    "hedge_heights",
    ("Point", "Polygon", "MultiPolygon"),
    "The height to which published guidance lets a row grow before one window or garden",
    key="height_id",
    columns=(
        Column("height_id", "text", "Line, and window or garden", required=True),
        Column("line_id", "text", "The planting line", required=True),
        Column("kind", "text", "window or garden", required=True, choices=("window", "garden")),
        Column("target_id", "text", "The window, or the parcel of the garden", required=True),
        Column("formula", "text", "How the row stands to it", required=True),
        metres_column("distance_m", "Distance of the row", required=True),
        metres_column("guided_m", "Height by the formula, above the ground there", required=True),
        metres_column(
            "keep_below_m",
            "Height to which the row may be kept, above the ground at the row, never under the least",
            required=True,
        ),
        *YEARS,
        Column("status", "text", "How the factors are known", required=True),
        SOURCE,
    ),
)
