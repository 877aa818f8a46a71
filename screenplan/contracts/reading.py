"""Layers that a person may bring."""

from __future__ import annotations

from typing import Literal, get_args

from screenplan.contracts.columns import (
    DERIVED,
    NAME,
    SET_APART,
    boolean,
    date,
    degrees,
    height_column,
    integer,
    metres,
    number,
    share,
    text,
)
from screenplan.contracts.model import ANY, HIGHEST_BUILDING_M, LINES, POINTS, POLYGONS, Contract
from screenplan.contracts.presentation import (
    EFFECTS,
    MAY_STAND,
    PLAN,
    SIGHT,
    STAKE_OUT,
    THEMES,
    Place,
)

#: What stands already; a plant is one of a row that is to be kept and filled up.
ScreenKind = Literal["wall", "fence", "hedge", "tree", "plant"]

PARCELS = Contract(
    "parcels",
    POLYGONS,
    "A parcel of land",
    key="parcel_id",
    optional="is_subject",
    place=Place("Site", 80, THEMES),
    columns=(
        text("parcel_id", "The parcel's identifier"),
        boolean(
            "is_subject",
            "True for the parcel that is planned",
            "Is the planned parcel",
            default=False,
        ),
    ),
)


BUILDINGS = Contract(
    "buildings",
    POLYGONS,
    "A building's footprint, or that of one wing of it",
    key="building_id",
    optional="building_id name parcel_id height_m storeys kind roof ridge_m floor_m",
    place=Place("Site", 30, THEMES),
    columns=(
        text("building_id", "The building's identifier; by default its row number"),
        text("name", "What people call it, such as No. 9; windows are named by it"),
        text("parcel_id", "The parcel on which most of it stands; found when read"),
        height_column(
            "Height of the eaves or flat roof above the ground",
            HIGHEST_BUILDING_M,
            label="Height of the eaves",
        ),
        integer(
            "storeys", "Number of storeys, used for the height if none is given", low=1, high=120
        ),
        text("kind", "house, shed, garage, …", "Kind of building", default="house"),
        text(
            "roof",
            "Shape of the roof: flat, or a ridge along the longer axis of the footprint",
            default="flat",
            choices=("flat", "ridge"),
        ),
        metres(
            "ridge_m",
            "Height of the ridge above the ground, for a roof with one",
            "Height of the ridge",
            low=0.0,
            high=HIGHEST_BUILDING_M,
        ),
        metres(
            "floor_m",
            "Height of the ground-floor datum, to which storeys and sills refer; by default the mean ground under the footprint",
            "Height of the ground floor",
        ),
    ),
)


WINDOWS = Contract(
    "windows",
    ("Point",),
    "A window, as a point on the outer face of its wall",
    key="window_id",
    optional="name building_id storey height_m width_m facing_deg floor_m derived set_apart",
    place=Place("Views", 10, (PLAN, SIGHT, EFFECTS)),
    columns=(
        text("window_id", "The window's identifier; by default its row number"),
        NAME,
        text("building_id", "The building whose wall it is in, empty if none is near"),
        integer(
            "storey",
            "Storey, 0 at the ground; by default that in which the sill lies",
            low=0,
            high=119,
        ),
        metres(
            "sill_m",
            "Height of the sill above the building's ground-floor datum, or above the ground where there is no building",
            "Height of the sill",
            low=0.0,
            high=HIGHEST_BUILDING_M,
        ),
        height_column(
            "Height of the opening, sill to head", 10.0, label="Height of the opening", default=1.2
        ),
        metres(
            "width_m",
            "Width of the opening, jamb to jamb",
            "Width of the opening",
            low=0.05,
            high=30.0,
            default=1.2,
        ),
        degrees(
            "facing_deg",
            "Direction in which one looks straight out; by default the wall's",
            "Faces",
        ),
        metres("floor_m", "Height of the floor of the room", "Height of the room's floor"),
        DERIVED,
        SET_APART,
    ),
)


PRIVATE_PLACES = Contract(
    "private_places",
    ("Polygon", "MultiPolygon", "Point"),
    "A place where people want not to be seen",
    key="place_id",
    optional="name eye_seated_m eye_standing_m deck_m weight derived",
    place=Place("Views", 70, (PLAN, SIGHT, EFFECTS)),
    columns=(
        text("place_id", "The place's identifier; by default its row number"),
        NAME,
        metres(
            "eye_seated_m",
            "Height of a seated head above the ground",
            "Eyes, seated",
            default=1.2,
            low=0.0,
            high=3.0,
        ),
        metres(
            "eye_standing_m",
            "Height of a standing head above the ground",
            "Eyes, standing",
            default=1.6,
            low=0.0,
            high=3.0,
        ),
        metres(
            "deck_m",
            "Height of its level floor above the mean ground under it, for a raised deck or a roof terrace; 0 where people stand on the ground",
            "Floor of the deck above the ground",
            default=0.0,
            low=0.0,
            high=100.0,
        ),
        number(
            "weight", "How much the place matters among others", default=1.0, low=0.0, high=1000.0
        ),
        DERIVED,
    ),
)


ONLOOKERS = Contract(
    "onlookers",
    ANY,
    "Where people are who look out of no window: a terrace, a balcony, a road, a path",
    key="onlooker_id",
    optional="onlooker_id name kind eye_m raised_m",
    place=Place("Views", 20, (PLAN, SIGHT)),
    columns=(
        text("onlooker_id", "Its identifier; by default its row number"),
        NAME,
        text("kind", "terrace, balcony, road, path, …", "Where they are", default="path"),
        metres(
            "eye_m",
            "Height of their eyes above what they stand or sit on",
            "Height of the eyes",
            default=1.6,
            low=0.0,
            high=5.0,
        ),
        metres(
            "raised_m",
            "Height of that floor above the ground: a balcony's, a raised terrace's",
            "Floor above the ground",
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
    optional="utility_id diameter_m height_m",
    place=Place("Site", 10, THEMES),
    columns=(
        text("utility_id", "Its identifier; by default its row number"),
        text("kind", "water, gas, sewer, drain, electric, telecom, …", "Kind of line"),
        text(
            "position",
            "Whether it runs in the ground or in the air",
            choices=("buried", "overhead"),
        ),
        metres(
            "diameter_m", "Outside diameter", "Outside diameter", default=0.0, low=0.0, high=10.0
        ),
        height_column(
            "Height of a wire above the ground at its lowest", 200.0, label="Height of the wire"
        ),
    ),
)


KEEP_OUTS = Contract(
    "keep_outs",
    ANY,
    "Ground on which nothing may be planted",
    key="keep_out_id",
    optional="keep_out_id name",
    title="Keep-outs",
    place=Place("Site", 40, (PLAN, STAKE_OUT, MAY_STAND)),
    columns=(
        text("keep_out_id", "Its identifier; by default its row number", "Ground kept clear"),
        text(
            "kind",
            "driveway, gate, septic_field, easement, pond, path, livestock, …",
            "Kind of ground kept clear",
        ),
        NAME,
    ),
)


ROADS = Contract(
    "roads",
    LINES,
    "The centre line of a road",
    key="road_id",
    optional="road_id name speed_kmh width_m",
    place=Place("Site", 70, THEMES),
    columns=(
        text("road_id", "Its identifier; by default its row number"),
        NAME,
        number("speed_kmh", "Speed at which traffic runs", unit="km/h", low=0.0, high=200.0),
        metres(
            "width_m",
            "Width between its edges",
            "Width between its edges",
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
    optional="screen_id width_m opacity species planted_on age_years root_zone_m",
    place=Place("Site", 20, THEMES),
    columns=(
        text("screen_id", "Its identifier; by default its row number"),
        text(
            "kind",
            "What it is; 'plant' is one plant of a row that is to be kept and filled up",
            "Kind of screen",
            choices=get_args(ScreenKind),
        ),
        height_column("Its height above the ground today", 100.0, label="Height today"),
        metres(
            "width_m",
            "Thickness of a wall or hedge, spread of a tree or plant",
            "Thickness or spread",
            low=0.0,
            high=60.0,
        ),
        share("opacity", "Share of the light that it stops", "Share of light stopped", default=1.0),
        text("species", "Key in the species table, for a plant that goes on growing"),
        date("planted_on", "Day of planting"),
        number(
            "age_years",
            "Years since planting, of a plant, tree or hedge that is not clipped: with its species and height it counts as one of your own measured plants",
            "Years since planting",
        ),
        metres(
            "root_zone_m",
            "Radius around a tree in which nothing is planted; by default half its spread",
            "Radius of the root zone",
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
    optional="sun_place_id name kind height_m tilt_deg facing_deg",
    place=Place("Site", 50, (EFFECTS,)),
    columns=(
        text("sun_place_id", "Its identifier; by default its row number"),
        NAME,
        text("kind", "panel, bed, greenhouse, …", "Kind of place", default="bed"),
        metres(
            "height_m",
            "Height of its middle above the ground",
            "Height of its middle",
            default=0.1,
            low=0.0,
            high=100.0,
        ),
        degrees(
            "tilt_deg", "Slope of its plane: 0 lies flat, 90 stands upright", default=0.0, high=90.0
        ),
        degrees("facing_deg", "Direction in which a tilted plane faces", "Faces", default=180.0),
    ),
)


PLANTING_LINE = Contract(
    "planting_line",
    LINES,
    "A line that the person drew for the row",
    key="line_id",
    optional="line_id name",
    columns=(text("line_id", "Its identifier; by default its row number", "Planting line"), NAME),
)


MARKS = Contract(
    "marks",
    POINTS,
    "A point that a crew finds on the ground: a monument, a pin, a nail, a hydrant",
    key="mark_id",
    optional="mark_id name kind",
    columns=(
        text("mark_id", "Its identifier; by default its row number"),
        NAME,
        text("kind", "monument, pin, nail, hydrant, …", default="mark"),
    ),
)
