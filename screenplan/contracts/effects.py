"""Limits, and what the screen does to others; the checks."""

from __future__ import annotations

from screenplan.contracts.columns import CAUTION, PLANT, RULE, SOURCE, YEARS, metres_column
from screenplan.contracts.model import POLYGONS, Column, Contract

RULES = Contract(
    "rules",
    (),
    "One rule or limit, and whether and why it applies to the plan",
    key="rule",
    columns=(
        Column("rule", "text", "Its key", required=True),
        Column("kind", "text", "setback, or the kind of limit", required=True),
        Column("applies", "boolean", "True if it applies to the plan", required=True),
        Column("why", "text", "Why it does or does not", required=True),
        Column("says", "text", "Its figures", required=True),
        Column("reason", "text", "What it is for", required=True),
        SOURCE,
        Column("status", "text", "How the figure is known", required=True),
        Column("date", "text", "When the figure was taken from its source"),
        Column("confirm_locally", "boolean", "True if the local code decides", required=True),
    ),
)


SIGHT_AREAS = Contract(
    "sight_areas",
    ("Polygon", "MultiPolygon"),
    "Ground over which a driver must see",
    key="area_id",
    columns=(
        Column("area_id", "text", "Its identifier", required=True),
        Column(
            "kind",
            "text",
            "A triangle at a drive or corner, or what lies before a driver's eye along the road",
            required=True,
            choices=("drive", "corner", "stopping", "emerging"),
        ),
        Column("at", "text", "The drive, or the two sides of the corner", required=True),
        metres_column(
            "distance_m", "Leg of the triangle, or distance along the road", required=True
        ),
        metres_column("clear_from_m", "Nothing may stand above this height", required=True),
        metres_column("clear_to_m", "And below this one; empty where there is no upper one"),
        Column(
            "is_minimum",
            "boolean",
            "True for the least distance, in which others can only just stop",
            required=True,
        ),
        Column("plants", "integer", "Plants that grow into it", required=True),
        Column("first_year", "integer", "First year in which one does, any growth", unit="year"),
        RULE,
        Column("reason", "text", "What it is for", required=True),
        SOURCE,
        Column("status", "text", "How the figures are known", required=True),
    ),
)


SIGHT_PLANTS = Contract(
    "sight_plants",
    ("Point",),
    "A plant that grows into ground over which a driver must see",
    key="sight_plant_id",
    columns=(
        Column("sight_plant_id", "text", "Plant and area", required=True),
        PLANT,
        Column("area_id", "text", "The area", required=True),
        Column("kind", "text", "Its kind", required=True),
        metres_column("limit_m", "Height above which it is in the way", required=True),
        *YEARS,
    ),
)


WIRE_PLANTS = Contract(
    "wire_plants",
    ("Point",),
    "A plant that outgrows the height allowed near an overhead line, or comes near the wire",
    key="wire_plant_id",
    columns=(
        Column("wire_plant_id", "text", "Plant, line and rule", required=True),
        PLANT,
        Column("utility_id", "text", "The line", required=True),
        Column(
            "what",
            "text",
            "zoning, the wire itself, or its sag and swing",
            required=True,
            choices=("zoning", "wire", "sag and swing"),
        ),
        metres_column("distance_m", "Level distance from stem to line", required=True),
        metres_column("allowed_m", "Height allowed there", required=True),
        metres_column("height_m", "Its height in the last year, typical growth", required=True),
        *YEARS,
        RULE,
        SOURCE,
    ),
)


LOCATE_ZONES = Contract(
    "locate_zones",
    POLYGONS,
    "Ground about a buried line in which nothing is dug but by hand, once the line is located",
    key="zone_id",
    columns=(
        Column("zone_id", "text", "Its identifier", required=True),
        Column("utility_id", "text", "The line", required=True),
        Column("kind", "text", "What runs in it", required=True),
        metres_column("width_m", "Width of the zone, its own diameter included", required=True),
        RULE,
        Column("reason", "text", "What it is for", required=True),
        SOURCE,
        CAUTION,
    ),
)


HOLES_AT_LINES = Contract(
    "holes_at_lines",
    ("Polygon",),
    "A planting hole that touches the zone about a buried line",
    key="hole_id",
    columns=(
        Column("hole_id", "text", "Plant and line", required=True),
        PLANT,
        Column("utility_id", "text", "The line", required=True),
        metres_column(
            "edge_m", "From the edge of the hole to the outside of the line", required=True
        ),
        RULE,
        CAUTION,
    ),
)


DEEP_ROOTS = Contract(
    "deep_roots",
    ("Point",),
    "A plant that grows taller than it stands away from a septic field",
    key="root_id",
    columns=(
        Column("root_id", "text", "Plant and field", required=True),
        PLANT,
        Column("keep_out_id", "text", "The field", required=True),
        metres_column("distance_m", "From the stem to the field", required=True),
        metres_column(
            "needed_m", "Distance needed in the last year, typical growth", required=True
        ),
        *YEARS,
        RULE,
        SOURCE,
    ),
)


OUTGROWN = Contract(
    "outgrown",
    ("Point",),
    "A plant that outgrows the boundary or a wall, and from when it must be clipped",
    key="outgrown_id",
    columns=(
        Column("outgrown_id", "text", "Plant, and what it outgrows", required=True),
        PLANT,
        Column(
            "what",
            "text",
            "What it outgrows",
            required=True,
            choices=(
                "crown over the line",
                "height at the line",
                "crown at a wall",
                "height at a wall",
            ),
        ),
        Column("thing_id", "text", "The parcel or building", required=True),
        metres_column("distance_m", "From the stem to it; negative beyond the line", required=True),
        metres_column("limit_m", "Radius or height that it may reach", required=True),
        metres_column(
            "over_m", "By how much it is over in the last year, typical growth", required=True
        ),
        *YEARS,
        metres_column("clip_m", "Most that is clipped in a year from then on, typical growth"),
        RULE,
        SOURCE,
    ),
)


NOISE_PATHS = Contract(
    "noise_paths",
    ("LineString",),
    "The way of the sound from a road to a private place",
    key="path_id",
    columns=(
        Column("path_id", "text", "Road and place", required=True),
        Column("road_id", "text", "The road", required=True),
        Column("place_id", "text", "The place", required=True),
        metres_column("length_m", "Its length", required=True),
        metres_column(
            "foliage_m", "How much of it lies in the crowns of the last year", required=True
        ),
        Column(
            "loss_db",
            "number",
            "What the standard's table counts for that at 500 Hz",
            unit="dB",
            required=True,
        ),
        Column("by_band", "text", "The same for each octave band", required=True),
        metres_column(
            "belt_m", "Dense belt that the wished reduction would need; empty if none gives it"
        ),
        Column("says", "text", "The finding in a sentence", required=True),
        RULE,
        SOURCE,
    ),
)


PLANT_HEALTH = Contract(
    "plant_health",
    (),
    "How much hangs on one species or genus, or how well a species stands the site",
    key="",
    columns=(
        Column(
            "topic",
            "text",
            "species, genus, hardiness, browse, salt, shade or wet",
            required=True,
        ),
        Column("name", "text", "The species or genus", required=True),
        Column("share", "number", "Its share of all plants", unit="share"),
        Column("limit", "number", "The user's limit", unit="share"),
        Column("meets", "boolean", "Whether it is met; empty if that cannot be told"),
        Column("says", "text", "The finding in a sentence", required=True),
        Column("needs", "text", "What would be needed to tell"),
        Column("source", "text", "Where the figure comes from"),
    ),
)


CHECKS = Contract(
    "checks",
    (),
    "One rule or goal, and whether the plan meets it",
    key="check",
    columns=(
        Column("check", "text", "What is checked", required=True),
        Column(
            "result",
            "text",
            "passes, fails, or cannot be judged",
            required=True,
            choices=("passes", "fails", "cannot be judged"),
        ),
        Column("says", "text", "The finding in a sentence", required=True),
        Column("needs", "text", "What would be needed to judge it"),
        Column("caution", "text", "What to confirm, and with whom"),
    ),
)
