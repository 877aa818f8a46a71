"""Sides, zones, lines and plants."""

from __future__ import annotations

from screenplan.contracts.model import (
    CROWN_SHAPES,
    HIGHEST_PLANT_M,
    POLYGONS,
    Column,
    Contract,
)

SIDES = Contract(
    "sides",
    ("LineString",),
    "One side of the subject parcel, from real corner to real corner, anticlockwise",
    key="side_id",
    columns=(
        Column(
            "side_id",
            "text",
            "Name by the compass (north, south-west, east-2): where the outward normal points",
            required=True,
        ),
        Column(
            "length_m", "number", "Length along the ground, level", unit="m", required=True, low=0.0
        ),
        Column(
            "chord_m",
            "number",
            "Straight distance between its two corners",
            unit="m",
            required=True,
            low=0.0,
        ),
        Column(
            "bearing_deg",
            "number",
            "Direction of travel from its first to its last corner",
            unit="deg",
            required=True,
            low=0.0,
            high=360.0,
        ),
        Column(
            "facing_deg",
            "number",
            "Direction of its outward normal",
            unit="deg",
            required=True,
            low=0.0,
            high=360.0,
        ),
        Column("across", "text", "What lies across it: a parcel's id, a road's name, or empty"),
        Column(
            "across_kind",
            "text",
            "parcel, road or unknown",
            required=True,
            choices=("parcel", "road", "unknown"),
        ),
        Column(
            "curved", "boolean", "True if it bends by more than a tenth of its chord", required=True
        ),
        Column(
            "looked_across",
            "number",
            "Share of the straight lines from windows and onlookers to private places that cross it, in "
            "plan",
            unit="share",
            low=0.0,
            high=1.0,
        ),
    ),
)


NO_PLANT_ZONES = Contract(
    "no_plant_zones",
    POLYGONS,
    "Ground where no stem may stand, by one rule for one thing",
    key="zone_id",
    columns=(
        Column("zone_id", "text", "Its identifier", required=True),
        Column("rule", "text", "Key of the rule that made it", required=True),
        Column("feature", "text", "Class of the thing that is kept clear", required=True),
        Column("source_layer", "text", "Layer in which that thing stands", required=True),
        Column("source_id", "text", "Identifier of that thing", required=True),
        Column(
            "distance_m",
            "number",
            "Distance from the thing's outside edge to the stem",
            unit="m",
            required=True,
        ),
        Column("reason", "text", "Why no plant may stand here", required=True),
        Column("source", "text", "Where the rule comes from", required=True),
        Column("confirm_locally", "boolean", "True if the local code decides", required=True),
    ),
)


PLANTABLE_ZONE = Contract(
    "plantable_zone",
    POLYGONS,
    "Ground of the subject where a stem may stand by every rule",
    key="zone_id",
    columns=(
        Column("zone_id", "text", "Its identifier", required=True),
        Column("area_m2", "number", "Area", unit="m2", required=True, low=0.0),
    ),
)


PLANTING_LINES = Contract(
    "planting_lines",
    ("LineString",),
    "The line of one row from its zero peg to its end peg, gaps included",
    key="line_id",
    columns=(
        Column("line_id", "text", "Its identifier", required=True),
        Column(
            "side_id", "text", "The side along which it runs, or the drawn line's id", required=True
        ),
        Column(
            "row",
            "integer",
            "1 for the row nearest to the boundary, 2 for the second",
            required=True,
        ),
        Column("offset_m", "number", "Distance from the boundary line", unit="m"),
        Column("length_m", "number", "Level length", unit="m", required=True),
        Column(
            "plantable_m", "number", "Level length that may be planted", unit="m", required=True
        ),
        Column("bound_by", "text", "Keys of the rules that set the offset"),
    ),
)


PLANTS = Contract(
    "plants",
    ("Point",),
    "One plant, at its stem",
    key="plant_id",
    columns=(
        Column("plant_id", "integer", "Number along the rows, from 1", required=True),
        Column("line_id", "text", "The planting line on which it stands", required=True),
        Column("side_id", "text", "The side along which its row runs", required=True),
        Column("row", "integer", "Row, counted from the boundary", required=True),
        Column(
            "station_m",
            "number",
            "Running distance along the line from its zero peg, level",
            unit="m",
            required=True,
        ),
        Column(
            "slope_station_m",
            "number",
            "The same distance along the ground, as a tape reads it",
            unit="m",
            required=True,
        ),
        Column("offset_m", "number", "Distance from the boundary line", unit="m"),
        Column(
            "gap_before_m", "number", "Level distance to the plant before it in its row", unit="m"
        ),
        Column("ground_m", "number", "Height of the ground at the stem", unit="m", required=True),
        Column("species", "text", "Key in the species table", required=True),
        Column(
            "stock",
            "text",
            "Kind of stock (plug, bare_root, container, balled; standing if it is there)",
            required=True,
        ),
        Column(
            "stock_height_m",
            "number",
            "Height when planted, or today if it stands already",
            unit="m",
            required=True,
            low=0.0,
            high=HIGHEST_PLANT_M,
        ),
        Column("existing", "boolean", "True if it stands already", required=True),
        Column(
            "moved_m",
            "number",
            "How far it was moved along the line to clear an exclusion or a corner's plant",
            unit="m",
            required=True,
        ),
        Column(
            "hangs_share",
            "number",
            "How much hangs on it: the greatest share of any one view that opens if it is missing",
            unit="share",
            low=0.0,
            high=1.0,
        ),
        Column("hangs_view", "text", "The view that opens most if it is missing"),
    ),
)


DROPPED = Contract(
    "dropped_stations",
    ("Point",),
    "A station of the pattern where no plant may stand",
    key="station_id",
    columns=(
        Column("station_id", "integer", "Number", required=True),
        Column("line_id", "text", "The planting line", required=True),
        Column(
            "station_m",
            "number",
            "Running distance along the line from its zero peg, level",
            unit="m",
            required=True,
        ),
        Column("rules", "text", "Keys of the rules that forbid it", required=True),
    ),
)


CROWNS = Contract(
    "crowns",
    ("Polygon",),
    "A plant's crown seen from above, in one year",
    key="crown_id",
    columns=(
        Column("crown_id", "text", "Plant and year", required=True),
        Column("plant_id", "integer", "The plant", required=True),
        Column("year", "integer", "Years since planting", unit="year", required=True),
        Column("growth", "text", "Which growth", required=True, choices=("low", "typical", "high")),
        Column("height_m", "number", "Height", unit="m", required=True),
        Column(
            "spread_m",
            "number",
            "Diameter of the crown; of a clipped hedge its length along the row",
            unit="m",
            required=True,
        ),
        Column(
            "width_m",
            "number",
            "Width across the row: the diameter, or what a clipped hedge is kept at",
            unit="m",
            required=True,
        ),
        Column("clear_stem_m", "number", "Height of its lowest leaves", unit="m", required=True),
        Column(
            "shape",
            "text",
            "Shape of the crown",
            required=True,
            choices=CROWN_SHAPES,
        ),
    ),
)


PLANTS_IN_HAND = Contract(
    "plants_in_hand",
    (),
    "What the plants or the money in hand are good for",
    key="",
    columns=(
        Column("line_id", "text", "The planting line, or all", required=True),
        Column("needed", "integer", "Plants that the pattern asks for", required=True),
        Column("given", "integer", "Plants in hand"),
        Column("surplus", "integer", "Plants over; negative when short"),
        Column(
            "spacing_to_fill_m",
            "number",
            "Spacing at which the plants in hand just fill the line",
            unit="m",
        ),
        Column("reach_m", "number", "Length that they fill at the asked spacing", unit="m"),
        Column("stock_height_m", "number", "Tallest stock that the budget buys for all", unit="m"),
        Column("cost", "number", "What that costs, in the user's currency"),
    ),
)


CLOSURE = Contract(
    "closure",
    (),
    "When and how far up neighbouring crowns of a row meet",
    key="",
    columns=(
        Column("line_id", "text", "The planting line", required=True),
        Column("growth", "text", "Which growth", required=True, choices=("low", "typical", "high")),
        Column(
            "spacing_m",
            "number",
            "Widest gap between neighbours that no exclusion explains",
            unit="m",
            required=True,
        ),
        Column(
            "asked_from_m",
            "number",
            "Height from which the row should close: the lowest sight line across it, or the ground",
            unit="m",
            required=True,
        ),
        Column(
            "asked_height_m",
            "number",
            "Height up to which the row should close",
            unit="m",
            required=True,
        ),
        Column(
            "year_closed",
            "integer",
            "Year from which it does, and stays so until its plants are grown; empty if not in the "
            "years looked at",
            unit="year",
        ),
        Column(
            "mature_closed_height_m",
            "number",
            "Height up to which it closes in the end; 0 if crowns never meet",
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
    ),
)
