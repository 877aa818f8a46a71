"""Views, what is open in them, and how tall the row must be."""

from __future__ import annotations

from screenplan.contracts.model import CROWN_SHAPES, Column, Contract

VIEWS = Contract(
    "views",
    ("LineString",),
    "One view, from a window or from where an onlooker is to a private place",
    key="view_id",
    columns=(
        Column("view_id", "text", "Window and place", required=True),
        Column("window_id", "text", "The window, or the onlooker", required=True),
        Column("place_id", "text", "The place", required=True),
        Column(
            "looks_from",
            "text",
            "window, or the onlooker's kind (terrace, balcony, road, path, …)",
            required=True,
        ),
        Column(
            "rays",
            "integer",
            "Number of sampled rays that pass the window's opening",
            required=True,
            low=0,
        ),
        Column(
            "closed_already",
            "number",
            "Share of rays that something existing stops",
            unit="share",
            required=True,
            low=0.0,
            high=1.0,
        ),
        Column(
            "closed_by", "text", "What stops most of them: a building's or screen's id, or terrain"
        ),
        Column(
            "open_now",
            "number",
            "Share open on the day of planting, before the plants count",
            unit="share",
            required=True,
            low=0.0,
            high=1.0,
        ),
        Column(
            "open",
            "number",
            "Share open in that year, typical growth, in the season in which more is open",
            unit="share",
            low=0.0,
            high=1.0,
            per_year=True,
        ),
        Column(
            "year_closed_low",
            "integer",
            "First year from which it stays closed until its plants are grown, low growth; empty if "
            "that is not in the years looked at",
            unit="year",
        ),
        Column("year_closed", "integer", "The same, typical growth", unit="year"),
        Column("year_closed_high", "integer", "The same, high growth", unit="year"),
        Column(
            "opens_again",
            "integer",
            "First year in which it is open after it was closed, typical growth, also after the years "
            "looked at (61 stands for all after 60); empty if it is not",
            unit="year",
        ),
        Column(
            "error_share",
            "number",
            "Sampling error of the open shares, by a second, denser sample",
            unit="share",
            low=0.0,
        ),
        Column(
            "terrain_error_share",
            "number",
            "Error of the open shares that the terrain's cell size leaves, by ground raised and "
            "lowered by what its bends tell; empty on a flat site",
            unit="share",
            low=0.0,
        ),
        Column(
            "status",
            "text",
            "no view, closed already, closes, stays open",
            required=True,
            choices=("no view", "closed already", "closes", "stays open"),
        ),
        Column(
            "last_station_m",
            "text",
            "Stations along the planting line through which the last open rays pass, as ranges",
        ),
    ),
)


VIEW_YEARS = Contract(
    "view_years",
    (),
    "Open share of one view in one year, growth and season",
    key="",
    columns=(
        Column("view_id", "text", "The view", required=True),
        Column("year", "integer", "Years since planting", unit="year", required=True),
        Column("growth", "text", "Which growth", required=True, choices=("low", "typical", "high")),
        Column(
            "season", "text", "Whether leaves are on", required=True, choices=("summer", "winter")
        ),
        Column(
            "open",
            "number",
            "Share of rays still open",
            unit="share",
            required=True,
            low=0.0,
            high=1.0,
        ),
    ),
)


VIEW_HOLES = Contract(
    "view_holes",
    ("LineString",),
    "A stretch of a planting line through which a view's last open rays pass",
    key="hole_id",
    columns=(
        Column("hole_id", "text", "View and number", required=True),
        Column("view_id", "text", "The view", required=True),
        Column("line_id", "text", "The planting line", required=True),
        Column(
            "year",
            "integer",
            "The year that is looked at: the last in which the view is open, or in which it opens again",
            unit="year",
            required=True,
        ),
        Column("from_m", "number", "Station where the stretch begins", unit="m", required=True),
        Column("to_m", "number", "Station where it ends", unit="m", required=True),
        Column(
            "low_m",
            "number",
            "Height above the ground of the lowest open ray there",
            unit="m",
            required=True,
        ),
        Column(
            "high_m",
            "number",
            "Height above the ground of the highest open ray there",
            unit="m",
            required=True,
        ),
        Column("rays", "integer", "Open rays through it", required=True),
        Column(
            "open_until",
            "integer",
            "Last year in which a ray passes there; empty if one does to the end",
            unit="year",
        ),
        Column(
            "kind",
            "text",
            "How the rays pass: over plants, beyond the row's end, through a wide gap, under the "
            "crowns, between plants, or where the line has no plant",
            required=True,
            choices=("over", "beyond", "gap", "under", "between", "bare"),
        ),
        Column("cause", "text", "The plants or the gap that leave it open", required=True),
    ),
)


SIGHT_LINES = Contract(
    "sight_lines",
    ("LineString",),
    "The ray that stands for a view, from the window to a head in the private place",
    key="view_id",
    columns=(
        Column("view_id", "text", "The view", required=True),
        Column("window_id", "text", "The window, or the onlooker", required=True),
        Column("place_id", "text", "The place", required=True),
        Column(
            "eye_z_m", "number", "Height at which it leaves the window", unit="m", required=True
        ),
        Column("head_z_m", "number", "Height of the head it ends at", unit="m", required=True),
        Column("length_m", "number", "Its level length", unit="m", required=True),
        Column("sill_z_m", "number", "Height of the window's sill", unit="m"),
        Column("top_z_m", "number", "Height of the window's head", unit="m"),
        Column("line_id", "text", "The first planting line that it crosses, if it crosses one"),
        Column("station_m", "number", "Where on that line", unit="m"),
        Column("above_m", "number", "Its height above the ground there", unit="m"),
    ),
)


SIGHT_OUTLINES = Contract(
    "sight_outlines",
    (),
    "A corner of the convex outline of all places where a view's rays cross a planting line",
    key="",
    columns=(
        Column("view_id", "text", "The view", required=True),
        Column("line_id", "text", "The planting line", required=True),
        Column("corner", "integer", "Number along the outline, from 0", required=True),
        Column("station_m", "number", "Station of the corner", unit="m", required=True),
        Column("above_m", "number", "Its height above the ground there", unit="m", required=True),
    ),
)


SECTIONS = Contract(
    "sections",
    (),
    "Heights along the sight line of one view, at one distance from the window",
    key="",
    columns=(
        Column("view_id", "text", "The view", required=True),
        Column("distance_m", "number", "Level distance from the window", unit="m", required=True),
        Column("ground_m", "number", "Height of the ground", unit="m", required=True),
        Column("sight_m", "number", "Height of the sight line; empty behind its end", unit="m"),
        Column("stands_from_m", "number", "Lowest height of what stands there already", unit="m"),
        Column("stands_to_m", "number", "Highest height of what stands there already", unit="m"),
        Column(
            "crown_from",
            "number",
            "Lowest height of a crown there in that year, typical growth",
            unit="m",
            per_year=True,
        ),
        Column(
            "crown_to",
            "number",
            "Highest height of a crown there in that year, typical growth",
            unit="m",
            per_year=True,
        ),
    ),
)


MISSING_PLANTS = Contract(
    "missing_plants",
    (),
    "One plant and one view that opens further if that plant alone is missing",
    key="",
    columns=(
        Column("plant_id", "integer", "The plant", required=True),
        Column("view_id", "text", "The view", required=True),
        Column("year", "integer", "The year looked at", unit="year", required=True),
        Column(
            "open",
            "number",
            "Share of the view that is open with every plant, typical growth, leaves on",
            unit="share",
            required=True,
            low=0.0,
            high=1.0,
        ),
        Column(
            "open_without",
            "number",
            "Share that is open without this plant",
            unit="share",
            required=True,
            low=0.0,
            high=1.0,
        ),
        Column(
            "reopens",
            "boolean",
            "True if the view counts as closed with it and as open without it",
            required=True,
        ),
    ),
)


NEEDED_HEIGHT = Contract(
    "needed_height",
    ("LineString",),
    "A stretch of a planting line, and how tall an opaque sheet must be there",
    key="needed_id",
    columns=(
        Column("needed_id", "text", "Line and number", required=True),
        Column("line_id", "text", "The planting line", required=True),
        Column("from_m", "number", "Station where the stretch begins", unit="m", required=True),
        Column("to_m", "number", "Station where it ends", unit="m", required=True),
        Column("ground_m", "number", "Height of the ground in its middle", unit="m", required=True),
        Column("rays", "integer", "Rays through it that nothing existing stops", required=True),
        Column(
            "needed_m",
            "number",
            "Height above the ground that stops the asked share of them; 0 where none passes",
            unit="m",
            required=True,
        ),
        Column(
            "needed_for_all_m", "number", "Height that stops all of them", unit="m", required=True
        ),
        Column("lowest_m", "number", "Height at which the lowest of them passes", unit="m"),
        Column("view_id", "text", "The view that asks for the most height there"),
        Column(
            "year_reached_low",
            "integer",
            "Year from which a row of the planned species at the asked spacing is closed from the "
            "lowest ray up to the needed height, low growth; empty if not in the years looked at",
            unit="year",
        ),
        Column("year_reached", "integer", "The same, typical growth", unit="year"),
        Column("year_reached_high", "integer", "The same, high growth", unit="year"),
        Column("reached", "text", "The same in words", required=True),
    ),
)


NEEDED_PROFILE = Contract(
    "needed_profile",
    (),
    "The needed height along a planting line, as the corners of a stepped outline",
    key="",
    columns=(
        Column("line_id", "text", "The planting line", required=True),
        Column("station_m", "number", "Station", unit="m", required=True),
        Column("ground_m", "number", "Height of the ground there", unit="m", required=True),
        Column("needed_m", "number", "Needed height above it", unit="m", required=True),
        Column(
            "closed",
            "number",
            "Height up to which a row of the planned species has closed in that year, typical "
            "growth",
            unit="m",
            per_year=True,
        ),
    ),
)


NEEDED_YEARS = Contract(
    "needed_years",
    (),
    "When a row of one species at the asked spacing is closed up to a line's needed height",
    key="",
    columns=(
        Column("line_id", "text", "The planting line", required=True),
        Column(
            "species",
            "text",
            "Key in the species table; of a mixed row all its keys, parted by commas",
            required=True,
        ),
        Column("planned", "boolean", "True for the row of the plan", required=True),
        Column(
            "shape",
            "text",
            "Shape of its crown; empty if a mixed row has several",
            choices=CROWN_SHAPES,
        ),
        Column("spacing_m", "number", "Asked spacing", unit="m", required=True),
        Column(
            "needed_m", "number", "Greatest needed height along the line", unit="m", required=True
        ),
        Column(
            "lowest_m",
            "number",
            "Height at which the lowest ray crosses the line; empty if none does",
            unit="m",
        ),
        Column(
            "mature_closed_height_m",
            "number",
            "Height up to which its row closes in the end, typical growth; 0 if crowns never meet",
            unit="m",
            required=True,
        ),
        Column(
            "mature_closed_from_m",
            "number",
            "Height from which it closes then: above 0 with clear stems or rounded crowns",
            unit="m",
            required=True,
        ),
        Column(
            "year_reached_low",
            "integer",
            "Year from which its row is closed from the lowest ray up to that height, low growth; "
            "empty if not in the years looked at",
            unit="year",
        ),
        Column("year_reached", "integer", "The same, typical growth", unit="year"),
        Column("year_reached_high", "integer", "The same, high growth", unit="year"),
        Column("reached", "text", "The same in words", required=True),
    ),
)
