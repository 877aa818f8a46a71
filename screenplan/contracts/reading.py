"""Layers that a person may bring."""

from __future__ import annotations

from screenplan.contracts.columns import DERIVED, NAME, height_column
from screenplan.contracts.model import (
    ANY,
    HIGHEST_BUILDING_M,
    LINES,
    POINTS,
    POLYGONS,
    Column,
    Contract,
)

PARCELS = Contract(
    "parcels",
    POLYGONS,
    "A parcel of land",
    key="parcel_id",
    columns=(
        Column("parcel_id", "text", "The parcel's identifier", required=True),
        Column("is_subject", "boolean", "True for the parcel that is planned", default=False),
    ),
)


BUILDINGS = Contract(
    "buildings",
    POLYGONS,
    "A building's footprint, or that of one wing of it",
    key="building_id",
    columns=(
        Column("building_id", "text", "The building's identifier; by default its row number"),
        Column("parcel_id", "text", "The parcel on which most of it stands; found when read"),
        height_column("Height of the eaves or flat roof above the ground", HIGHEST_BUILDING_M),
        Column(
            "storeys",
            "integer",
            "Number of storeys, used for the height if none is given",
            low=1,
            high=120,
        ),
        Column("kind", "text", "house, shed, garage, …", default="house"),
        Column(
            "roof",
            "text",
            "Shape of the roof: flat, or a ridge along the longer axis of the footprint",
            default="flat",
            choices=("flat", "ridge"),
        ),
        Column(
            "ridge_m",
            "number",
            "Height of the ridge above the ground, for a roof with one",
            unit="m",
            low=0.0,
            high=HIGHEST_BUILDING_M,
        ),
        Column(
            "floor_m",
            "number",
            "Height of the ground-floor datum, to which storeys and sills refer; "
            "by default the mean ground under the footprint",
            unit="m",
        ),
    ),
)


WINDOWS = Contract(
    "windows",
    ("Point",),
    "A window, as a point on the outer face of its wall",
    key="window_id",
    columns=(
        Column(
            "window_id", "text", "The window's identifier; by default its row number", required=True
        ),
        NAME,
        Column("building_id", "text", "The building whose wall it is in, empty if none is near"),
        Column(
            "storey",
            "integer",
            "Storey, 0 at the ground; by default that in which the sill lies",
            low=0,
            high=119,
        ),
        Column(
            "sill_m",
            "number",
            "Height of the sill above the building's ground-floor datum, or above "
            "the ground where there is no building",
            unit="m",
            required=True,
            low=0.0,
            high=HIGHEST_BUILDING_M,
        ),
        height_column("Height of the opening, sill to head", 10.0, default=1.2),
        Column(
            "width_m",
            "number",
            "Width of the opening, jamb to jamb",
            unit="m",
            low=0.05,
            high=30.0,
            default=1.2,
        ),
        Column(
            "facing_deg",
            "number",
            "Direction in which one looks straight out; by default the wall's",
            unit="deg",
            low=0.0,
            high=360.0,
        ),
        Column("floor_m", "number", "Height of the floor of the room", unit="m"),
        DERIVED,
    ),
)


PRIVATE_PLACES = Contract(
    "private_places",
    ("Polygon", "MultiPolygon", "Point"),
    "A place where people want not to be seen",
    key="place_id",
    columns=(
        Column(
            "place_id", "text", "The place's identifier; by default its row number", required=True
        ),
        NAME,
        Column(
            "eye_seated_m",
            "number",
            "Height of a seated head above the ground",
            unit="m",
            default=1.2,
            low=0.0,
            high=3.0,
        ),
        Column(
            "eye_standing_m",
            "number",
            "Height of a standing head above the ground",
            unit="m",
            default=1.6,
            low=0.0,
            high=3.0,
        ),
        Column(
            "deck_m",
            "number",
            "Height of its level floor above the mean ground under it, for a raised deck or a "
            "roof terrace; 0 where people stand on the ground",
            unit="m",
            default=0.0,
            low=0.0,
            high=100.0,
        ),
        Column(
            "weight",
            "number",
            "How much the place matters among others",
            default=1.0,
            low=0.0,
            high=1000.0,
        ),
        DERIVED,
    ),
)


ONLOOKERS = Contract(
    "onlookers",
    ANY,
    "Where people are who look out of no window: a terrace, a balcony, a road, a path",
    key="onlooker_id",
    columns=(
        Column("onlooker_id", "text", "Its identifier; by default its row number"),
        NAME,
        Column("kind", "text", "terrace, balcony, road, path, …", default="path"),
        Column(
            "eye_m",
            "number",
            "Height of their eyes above what they stand or sit on",
            unit="m",
            default=1.6,
            low=0.0,
            high=5.0,
        ),
        Column(
            "raised_m",
            "number",
            "Height of that floor above the ground: a balcony's, a raised terrace's",
            unit="m",
            default=0.0,
            low=0.0,
            high=100.0,
        ),
    ),
)


UTILITIES = Contract(
    "utilities",
    LINES + POINTS,
    "A pipe, cable, wire or drain",
    key="utility_id",
    columns=(
        Column("utility_id", "text", "Its identifier; by default its row number"),
        Column("kind", "text", "water, gas, sewer, drain, electric, telecom, …", required=True),
        Column(
            "position",
            "text",
            "Whether it runs in the ground or in the air",
            required=True,
            choices=("buried", "overhead"),
        ),
        Column(
            "diameter_m", "number", "Outside diameter", unit="m", default=0.0, low=0.0, high=10.0
        ),
        height_column("Height of a wire above the ground at its lowest", 200.0),
    ),
)


KEEP_OUTS = Contract(
    "keep_outs",
    ANY,
    "Ground on which nothing may be planted",
    key="keep_out_id",
    columns=(
        Column("keep_out_id", "text", "Its identifier; by default its row number"),
        Column(
            "kind", "text", "driveway, gate, septic_field, easement, pond, path, …", required=True
        ),
        NAME,
    ),
)


ROADS = Contract(
    "roads",
    LINES,
    "The centre line of a road",
    key="road_id",
    columns=(
        Column("road_id", "text", "Its identifier; by default its row number"),
        NAME,
        Column(
            "speed_kmh", "number", "Speed at which traffic runs", unit="km/h", low=0.0, high=200.0
        ),
        Column(
            "width_m",
            "number",
            "Width between its edges",
            unit="m",
            low=0.0,
            high=100.0,
            default=6.0,
        ),
    ),
)


EXISTING_SCREENS = Contract(
    "existing_screens",
    ANY,
    "A wall, fence, hedge, tree or planted row that stands already",
    key="screen_id",
    columns=(
        Column("screen_id", "text", "Its identifier; by default its row number"),
        Column(
            "kind",
            "text",
            "What it is; 'plant' is one plant of a row that is to be kept and filled up",
            required=True,
            choices=("wall", "fence", "hedge", "tree", "plant"),
        ),
        height_column("Its height above the ground today", 100.0, required=True),
        Column(
            "width_m",
            "number",
            "Thickness of a wall or hedge, spread of a tree or plant",
            unit="m",
            low=0.0,
            high=60.0,
        ),
        Column(
            "opacity",
            "number",
            "Share of the light that it stops",
            unit="share",
            low=0.0,
            high=1.0,
            default=1.0,
        ),
        Column("species", "text", "Key in the species table, for a plant that goes on growing"),
        Column("planted_on", "date", "Day of planting"),
        Column(
            "root_zone_m",
            "number",
            "Radius around a tree in which nothing is planted; by default half its spread",
            unit="m",
            low=0.0,
            high=60.0,
        ),
    ),
)


SUN_PLACES = Contract(
    "sun_places",
    ("Polygon", "MultiPolygon", "Point"),
    "A place of the owner's that needs sun: roof panels, a bed, a greenhouse",
    key="sun_place_id",
    columns=(
        Column("sun_place_id", "text", "Its identifier; by default its row number"),
        NAME,
        Column("kind", "text", "panel, bed, greenhouse, …", default="bed"),
        Column(
            "height_m",
            "number",
            "Height of its middle above the ground",
            unit="m",
            default=0.1,
            low=0.0,
            high=100.0,
        ),
        Column(
            "tilt_deg",
            "number",
            "Slope of its plane: 0 lies flat, 90 stands upright",
            unit="deg",
            default=0.0,
            low=0.0,
            high=90.0,
        ),
        Column(
            "facing_deg",
            "number",
            "Direction in which a tilted plane faces",
            unit="deg",
            default=180.0,
            low=0.0,
            high=360.0,
        ),
    ),
)


PLANTING_LINE = Contract(
    "planting_line",
    LINES,
    "A line that the person drew for the row",
    key="line_id",
    columns=(Column("line_id", "text", "Its identifier; by default its row number"), NAME),
)


MARKS = Contract(
    "marks",
    POINTS,
    "A point that a crew finds on the ground: a monument, a pin, a nail, a hydrant",
    key="mark_id",
    columns=(
        Column("mark_id", "text", "Its identifier; by default its row number"),
        NAME,
        Column("kind", "text", "monument, pin, nail, hydrant, …", default="mark"),
    ),
)
