"""What a county gives: a row for each parcel and side, its plants and lines, and what was set aside."""

from __future__ import annotations

from screenplan.contracts.columns import (
    integer,
    metres,
    money,
    number,
    sentence,
    text,
    words,
    year,
)
from screenplan.contracts.model import Contract
from screenplan.contracts.presentation import PLAN, Place

#: Classes of sides, in the order in which a person meets them.
FRONT, SIDE, REAR = SIDE_CLASSES = ("front", "side", "rear")
#: Years for which closed views are counted.
COUNTED_YEARS = (5, 10, 20)
#: The parcel's place in its file, and its name.
_PARCEL = (
    integer("parcel_row", "Row of the parcel in its file, from 1", "Row of the parcel"),
    text("parcel_id", "Identifier of the parcel", "Parcel"),
)

COUNTY_SIDES = Contract(
    "county_sides",
    ("LineString",),
    "One side of one parcel of a county: the row that is planted along it, and the views that come in across it",
    key="",
    title="Sides of the county's parcels",
    optional="needed_m year_closed cost cause",
    place=Place("Planting", 60, (PLAN,)),
    columns=(
        *_PARCEL,
        text("side_id", "Name of the side by the compass", "Side"),
        words(
            "side_class",
            "front: a road lies across it; rear: it faces away from the longest front; side: all others",
            "Class of the side",
            choices=SIDE_CLASSES,
        ),
        metres("length_m", "Its level length", low=0.0),
        metres(
            "plantable_m", "Level length that may be planted along its row", "Plantable length", low=0.0
        ),
        integer("plants", "New plants along it", low=0),
        integer("windows", "Windows with a view of a private place that comes in across it", "Windows that look in", low=0),
        metres(
            "needed_m",
            "Greatest height above the ground that stops the asked share of the rays across its row; empty without a row",
            "Needed height",
        ),
        integer(
            "views_open",
            "Views across it that are open on the day of planting, before the plants count",
            "Open views",
            low=0,
        ),
        integer(
            "closed",
            "Of these the views that are closed by that year and stay so, typical growth",
            "Closed views",
            low=0,
            per_year=True,
        ),
        year(
            "year_closed",
            "First year in which all of them are closed and stay so, typical growth; empty if one stays open, or none is open",
            "Year by which all are closed",
        ),
        money("cost", "Cost of its plants in the user's currency; empty if one has no price", "Cost of the plants"),
        sentence("cause", "Why it has no row, or why no view across it is looked at; empty otherwise", "Why nothing is planted"),
        metres("target_spacing_m", "Distance between the points of a place that were looked at", "Distance between targets"),
        number("rays", "Rays that were followed for the parcel", "Rays of the parcel", low=0.0),
    ),
)  # fmt: skip


COUNTY_LINES = Contract(
    "county_lines",
    ("LineString",),
    "The line of one row of one parcel of a county, from its zero peg to its end peg, gaps included",
    key="",
    title="Rows of the county",
    optional="offset_m",
    place=Place("Planting", 61, (PLAN,)),
    columns=(
        *_PARCEL,
        text("line_id", "Its identifier on the parcel", "Planting line"),
        text("side_id", "The side along which it runs", "Side"),
        integer("row", "1 for the row nearest to the boundary, 2 for the second"),
        metres("offset_m", "Distance from the boundary line", "Offset from the boundary"),
        metres("length_m", "Level length"),
        metres("plantable_m", "Level length that may be planted", "Plantable length"),
    ),
)


COUNTY_PLANTS = Contract(
    "county_plants",
    ("Point",),
    "One plant of one parcel of a county, at its stem",
    key="",
    title="Plants of the county",
    place=Place("Planting", 62, (PLAN,)),
    columns=(
        *_PARCEL,
        integer("plant_id", "Number along the parcel's rows, from 1", "Plant"),
        text("line_id", "The planting line on which it stands", "Planting line"),
        text("side_id", "The side along which its row runs", "Side"),
        metres("station_m", "Running distance along the line from its zero peg, level", "Station"),
        text("species", "Key in the species table", form="species"),
        metres("stock_height_m", "Height when planted", "Height when planted"),
    ),
)


COUNTY_SKIPPED = Contract(
    "county_skipped",
    (),
    "A row that was set aside: a parcel that is not planned, or a thing beside parcels that is not looked at",
    key="",
    title="What was set aside",
    optional="source_row parcel_id remedy",
    columns=(
        text("layer", "The layer in which it stands", "Layer"),
        integer("source_row", "Its row in its file, from 1; empty for a layer as a whole", "Row"),
        text("parcel_id", "Of a parcel its identifier", "Parcel"),
        sentence("reason", "What is wrong with it", "Reason"),
        sentence("remedy", "How to mend it", "Remedy"),
    ),
)
