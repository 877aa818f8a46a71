"""Sides, zones, lines and plants."""

from __future__ import annotations

from screenplan.contracts.columns import (
    boolean,
    degrees,
    integer,
    metres,
    money,
    number,
    sentence,
    share,
    tape,
    text,
    year,
)
from screenplan.contracts.model import GROWTHS, HIGHEST_PLANT_M, POLYGONS, Contract
from screenplan.contracts.presentation import EFFECTS, MAY_STAND, PLAN, SIGHT, Place, Shown
from screenplan.ground.crown_shapes import POWER, shape_words

SIDES = Contract(
    "sides",
    ("LineString",),
    "One side of the subject parcel, from real corner to real corner, anticlockwise",
    key="side_id",
    optional="across looked_across",
    place=Place("Site", 60, (MAY_STAND,)),
    columns=(
        text(
            "side_id",
            "Name by the compass (north, south-west, east-2): where the outward normal points",
        ),
        metres("length_m", "Length along the ground, level", low=0.0),
        metres(
            "chord_m", "Straight distance between its two corners", "Straight distance", low=0.0
        ),
        degrees("bearing_deg", "Direction of travel from its first to its last corner"),
        degrees("facing_deg", "Direction of its outward normal", "Faces"),
        text("across", "What lies across it: a parcel's id, a road's name, or empty", "Across it"),
        text(
            "across_kind",
            "parcel, road or unknown",
            "What lies across",
            choices=("parcel", "road", "unknown"),
        ),
        boolean("curved", "True if it bends by more than a tenth of its chord"),
        share(
            "looked_across",
            "Share of the straight lines from windows and onlookers to private places that cross it, in plan",
        ),
    ),
)


NO_PLANT_ZONES = Contract(
    "no_plant_zones",
    POLYGONS,
    "Ground where no stem may stand, by one rule for one thing",
    key="zone_id",
    title="No-plant zones",
    optional="species",
    place=Place("Ground", 20, (MAY_STAND,)),
    columns=(
        text("zone_id", "Its identifier"),
        text("rule", "Key of the rule that made it"),
        text("feature", "Class of the thing that is kept clear", "What is kept clear"),
        text("source_layer", "Layer in which that thing stands", "Layer of the thing"),
        text("source_id", "Identifier of that thing", "Identifier of the thing"),
        metres(
            "distance_m",
            "Distance from the thing's outside edge to the stem",
            "Distance kept clear",
        ),
        sentence("reason", "Why no plant may stand here", "Why no plant may stand here"),
        sentence("source", "Where the rule comes from"),
        boolean("confirm_locally", "True if the local code decides"),
        text("species", "Species for which alone it holds; empty for all that are planted"),
    ),
)


PLANTABLE_ZONE = Contract(
    "plantable_zone",
    POLYGONS,
    "Ground of the subject where a stem may stand by every rule",
    key="zone_id",
    place=Place("Ground", 10, (PLAN, MAY_STAND)),
    columns=(
        text("zone_id", "Its identifier"),
        number("area_m2", "Area", unit="m2", low=0.0),
    ),
)


PLANTING_LINES = Contract(
    "planting_lines",
    ("LineString",),
    "The line of one row from its zero peg to its end peg, gaps included",
    key="line_id",
    optional="offset_m bound_by",
    place=Place("Planting", 30, (PLAN, SIGHT, MAY_STAND)),
    columns=(
        text("line_id", "Its identifier", "Planting line"),
        text("side_id", "The side along which it runs, or the drawn line's id"),
        integer("row", "1 for the row nearest to the boundary, 2 for the second"),
        metres("offset_m", "Distance from the boundary line", "Offset from the boundary"),
        metres("length_m", "Level length"),
        metres("plantable_m", "Level length that may be planted", "Plantable length"),
        text("bound_by", "Keys of the rules that set the offset", "Bound by rules"),
    ),
)


PLANTS = Contract(
    "plants",
    ("Point",),
    "One plant, at its stem",
    key="plant_id",
    optional="offset_m gap_before_m hangs_share hangs_view replace_first",
    place=Place("Planting", 10, (PLAN, SIGHT, EFFECTS, MAY_STAND)),
    report=(
        Shown(
            "stakes",
            20,
            whole=True,
            title="Stations",
            columns="plant_id line_id station_m slope_station_m offset_m moved_m species",
            lead="Running distances from each row's zero peg.",
            tick=True,
            keep=lambda frame: frame.loc[~frame["existing"].astype(bool)],
        ),
    ),
    columns=(
        integer("plant_id", "Number along the rows, from 1"),
        text("line_id", "The planting line on which it stands", "Planting line", heading="row"),
        text("side_id", "The side along which its row runs"),
        integer("row", "Row, counted from the boundary"),
        tape(
            "station_m",
            "Running distance along the line from its zero peg, level",
            heading="level from zero",
        ),
        tape(
            "slope_station_m",
            "The same distance along the ground, as a tape reads it",
            "Station on the ground",
            heading="along the ground",
            same_as="station_m",
        ),
        tape(
            "offset_m",
            "Distance from the boundary line",
            "Offset from the boundary",
            heading="from the boundary",
        ),
        metres(
            "gap_before_m",
            "Level distance to the plant before it in its row",
            "Gap to the plant before",
        ),
        metres("ground_m", "Height of the ground at the stem", "Height of the ground"),
        text("species", "Key in the species table", heading="plant", form="species"),
        text(
            "stock",
            "Kind of stock (plug, bare_root, container, balled; standing if it is there)",
            "Kind of stock",
        ),
        metres(
            "stock_height_m",
            "Height when planted, or today if it stands already",
            "Height when planted, or today",
            low=0.0,
            high=HIGHEST_PLANT_M,
        ),
        boolean("existing", "True if it stands already", "Stands already"),
        tape(
            "moved_m",
            "How far it was moved along the line to clear an exclusion or a corner's plant",
            "Moved along the line",
            heading="moved",
        ),
        share(
            "hangs_share",
            "How much hangs on it: the greatest share of any one view that opens if it is missing",
            "Share of a view that hangs on it",
        ),
        text("hangs_view", "The view that opens most if it is missing", "View that hangs on it"),
        integer(
            "replace_first",
            "Order in which plants that fail are replaced: 1 for the one whose loss opens most views again",
            "Order of replacement",
        ),
    ),
)


DROPPED = Contract(
    "dropped_stations",
    ("Point",),
    "A station of the pattern where no plant may stand",
    key="station_id",
    title="Stations left out",
    place=Place("Planting", 20, (PLAN, MAY_STAND)),
    columns=(
        integer("station_id", "Number"),
        text("line_id", "The planting line", "Planting line"),
        metres("station_m", "Running distance along the line from its zero peg, level"),
        text("rules", "Keys of the rules that forbid it"),
    ),
)


CROWNS = Contract(
    "crowns",
    ("Polygon",),
    "A plant's crown seen from above, in one year",
    key="crown_id",
    optional="profile_exponent",
    place=Place("Planting", 40, (PLAN, SIGHT, EFFECTS)),
    columns=(
        text("crown_id", "Plant and year", "Plant and year"),
        integer("plant_id", "The plant"),
        year("year", "Years since planting"),
        text("growth", "Which growth", choices=GROWTHS),
        metres("height_m", "Height"),
        metres("spread_m", "Diameter of the crown; of a clipped hedge its length along the row"),
        metres(
            "width_m",
            "Width across the row: the diameter, or what a clipped hedge is kept at",
            "Width across the row",
        ),
        metres("clear_stem_m", "Height of its lowest leaves", "Lowest leaves"),
        text("shape", "Shape of the crown", choices=shape_words()),
        number(
            "profile_exponent",
            f"Of the shape {POWER}: the radius falls by this power of the depth below the tip, from 0 for a column through 0.5 for a paraboloid to 1 for a cone; empty of other shapes",
            "Exponent of the profile",
            low=0.0,
            high=1.0,
        ),
    ),
)


PLANTS_IN_HAND = Contract(
    "plants_in_hand",
    (),
    "What the plants or the money in hand are good for",
    optional="given surplus spacing_to_fill_m reach_m stock_height_m cost",
    report=(
        Shown(
            "order",
            30,
            title="Plants and money in hand",
            columns="line_id needed given surplus spacing_to_fill_m reach_m stock_height_m cost",
            keep=lambda frame: frame.loc[frame[["given", "reach_m", "cost"]].notna().any(axis=1)],
        ),
    ),
    columns=(
        text("line_id", "The planting line, or all", "Planting line", heading="row"),
        integer("needed", "Plants that the pattern asks for", "Plants needed", heading="needed"),
        integer("given", "Plants in hand", "Plants in hand", heading="in hand"),
        integer(
            "surplus", "Plants over; negative when short", "Plants over", heading="over (− short)"
        ),
        metres(
            "spacing_to_fill_m",
            "Spacing at which the plants in hand just fill the line",
            "Spacing that fills the line",
            heading="they fill the rows at a spacing of",
        ),
        metres(
            "reach_m",
            "Length that they fill at the asked spacing",
            "Length that they fill",
            heading="or so much of them at the asked one",
        ),
        metres(
            "stock_height_m",
            "Tallest stock that the budget buys for all",
            "Tallest that the budget buys",
            heading="tallest stock for the budget",
        ),
        money(
            "cost",
            "What that costs, in the user's currency",
            "Cost of the plants",
            heading="which costs",
        ),
    ),
)


CLOSURE = Contract(
    "closure",
    (),
    "When and how far up neighbouring crowns of a row meet",
    optional="year_closed evidence",
    report=(
        Shown(
            "growth",
            10,
            title="When the rows close",
            columns="line_id growth spacing_m asked_from_m asked_height_m year_closed mature_closed_from_m mature_closed_height_m evidence",
        ),
    ),
    columns=(
        text("line_id", "The planting line", "Planting line", heading="row"),
        text("growth", "Which growth", choices=GROWTHS),
        metres(
            "spacing_m",
            "Widest gap between neighbours that no exclusion explains",
            "Widest gap between neighbours",
            heading="widest gap",
        ),
        metres(
            "asked_from_m",
            "Height from which the row should close: the lowest sight line across it, or the ground",
            heading="closed from",
        ),
        metres("asked_height_m", "Height up to which the row should close", heading="up to"),
        year(
            "year_closed",
            "Year from which it does, and stays so until its plants are grown; empty if not in the years looked at",
            heading="in year",
            form="never",
        ),
        metres(
            "mature_closed_height_m",
            "Height up to which it closes in the end; 0 if crowns never meet",
            "Closes in the end up to",
            heading="up to",
        ),
        metres(
            "mature_closed_from_m",
            "Height from which it closes then: above 0 with clear stems or rounded crowns",
            "Closes in the end from",
            heading="in the end from",
        ),
        text(
            "evidence",
            "What the growth of its plants rests on: the weakest grade of height and width of all its species",
            "Evidence of the growth",
            heading="growth",
        ),
    ),
)
