"""Layer contracts: for each layer, what its rows are and what each column means.

The same contract checks what is read, checks what is written, gives the desktop GIS its field
aliases and fills the data dictionary. Inside the library every length is in metres and every
direction in degrees clockwise from north, so a contract's unit is the unit of the values.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

ColumnType = Literal["text", "number", "integer", "boolean", "date"]

#: A crown is never this tall: a height above it is a slip or a sentinel such as 9999.
HIGHEST_BUILDING_M = 500.0
#: The tallest planted screen that the growth model is meant for.
HIGHEST_PLANT_M = 60.0

POLYGONS = ("Polygon", "MultiPolygon")
LINES = ("LineString", "MultiLineString")
POINTS = ("Point", "MultiPoint")
ANY = POLYGONS + LINES + POINTS


@dataclass(frozen=True)
class Column:
    """One column of a layer.

    Parameters
    ----------
    name : str
        Its name in the layer, with the unit as a suffix (``height_m``).
    type : {"text", "number", "integer", "boolean", "date"}
        Dates are ISO 8601 text, ``YYYY-MM-DD``.
    meaning : str
        One line for the data dictionary, and the alias in a desktop GIS.
    unit : str
        ``m``, ``deg``, ``share`` (0 to 1), ``year`` (since planting), or empty.
    required : bool
        Whether an input must bring it, or an output always holds a value in it.
    default : object
        What an input that leaves it out gets.
    low, high : float, optional
        The range of values that are possible at all; outside it a row is refused.
    choices : tuple of str
        The values allowed, or empty.
    per_year : bool
        The name is a stem, and the layer has one column per reported year: ``open_y05``.
    """

    name: str
    type: ColumnType
    meaning: str
    unit: str = ""
    required: bool = False
    default: object = None
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    per_year: bool = False


@dataclass(frozen=True)
class Contract:
    """What one layer or table holds.

    Parameters
    ----------
    name : str
        Name of the layer in a GeoPackage, and of its GeoJSON file.
    geometry : tuple of str
        The geometry types that its rows may have; empty for a table.
    meaning : str
        What one row is.
    columns : tuple of Column
        In the order in which they are written.
    key : str
        The column that names a row.
    """

    name: str
    geometry: tuple[str, ...]
    meaning: str
    columns: tuple[Column, ...] = field(default=())
    key: str = ""

    def column(self, name: str) -> Column:
        """Give the column of that name, per-year columns included (``open_y05``).

        Raises
        ------
        KeyError
            If the contract has none.
        """
        for column in self.columns:
            if column.name == name or (column.per_year and name.startswith(f"{column.name}_y")):
                return column
        raise KeyError(name)

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the required columns."""
        return tuple(column.name for column in self.columns if column.required)


def year_column(stem: str, year: int) -> str:
    """Name of a per-year column: ``year_column("open", 5)`` is ``open_y05``."""
    return f"{stem}_y{year:02d}"


def _height(meaning: str, high: float, **options) -> Column:
    return Column("height_m", "number", meaning, unit="m", low=0.0, high=high, **options)


_NAME = Column("name", "text", "What people call it")
_DERIVED = Column(
    "derived", "boolean", "True if worked out from footprints, not surveyed", default=False
)
_FLOOR = Column("ground_m", "number", "Height of the ground at its foot", unit="m")

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
        _height("Height of the eaves or flat roof above the ground", HIGHEST_BUILDING_M),
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
        _NAME,
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
        _height("Height of the opening, sill to head", 10.0, default=1.2),
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
        _DERIVED,
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
        _NAME,
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
        _DERIVED,
    ),
)

ONLOOKERS = Contract(
    "onlookers",
    ANY,
    "Where people are who look out of no window: a terrace, a balcony, a road, a path",
    key="onlooker_id",
    columns=(
        Column("onlooker_id", "text", "Its identifier; by default its row number"),
        _NAME,
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
        _height("Height of a wire above the ground at its lowest", 200.0),
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
        _NAME,
    ),
)

ROADS = Contract(
    "roads",
    LINES,
    "The centre line of a road",
    key="road_id",
    columns=(
        Column("road_id", "text", "Its identifier; by default its row number"),
        _NAME,
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
        _height("Its height above the ground today", 100.0, required=True),
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
        _NAME,
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
    columns=(Column("line_id", "text", "Its identifier; by default its row number"), _NAME),
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
            "Share of the straight lines from windows to private places that cross it, in plan",
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
        Column("spread_m", "number", "Diameter of the crown", unit="m", required=True),
        Column("clear_stem_m", "number", "Height of its lowest leaves", unit="m", required=True),
        Column(
            "shape",
            "text",
            "Shape of the crown",
            required=True,
            choices=("cone", "column", "paraboloid", "ellipsoid"),
        ),
    ),
)

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
            "First year from which it stays closed, low growth; empty if it never does",
            unit="year",
        ),
        Column("year_closed", "integer", "The same, typical growth", unit="year"),
        Column("year_closed_high", "integer", "The same, high growth", unit="year"),
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
            "The year that is looked at: the last in which the view is open",
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
            "Year from which a row of the planned species at the asked spacing is closed up to the "
            "needed height, low growth; empty if not in the years looked at",
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
        Column("species", "text", "Key in the species table", required=True),
        Column("planned", "boolean", "True for the species of the plan", required=True),
        Column("shape", "text", "Shape of its crown", required=True),
        Column("spacing_m", "number", "Asked spacing", unit="m", required=True),
        Column(
            "needed_m", "number", "Greatest needed height along the line", unit="m", required=True
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
            "Year from which its row is closed up to that height, low growth; empty if not in the "
            "years looked at",
            unit="year",
        ),
        Column("year_reached", "integer", "The same, typical growth", unit="year"),
        Column("year_reached_high", "integer", "The same, high growth", unit="year"),
        Column("reached", "text", "The same in words", required=True),
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
            "asked_height_m",
            "number",
            "Height up to which the row should close",
            unit="m",
            required=True,
        ),
        Column("year_closed", "integer", "Year in which it does; empty if never", unit="year"),
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

_CAUTION = Column("caution", "text", "What to have done before anything else", required=True)
_RULE = Column("rule", "text", "Key of the rule or limit, or of the plan", required=True)
_SOURCE = Column("source", "text", "Where it comes from", required=True)
_PLANT = Column("plant_id", "integer", "The plant", required=True)
_YEARS = (
    Column(
        "year_low",
        "integer",
        "First year in which it does, low growth; empty if not in the years looked at",
        unit="year",
    ),
    Column("year", "integer", "The same, typical growth", unit="year"),
    Column("year_high", "integer", "The same, high growth", unit="year"),
)


def _metres(name: str, meaning: str, **options) -> Column:
    return Column(name, "number", meaning, unit="m", **options)


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
        _SOURCE,
        Column("status", "text", "How the figure is known", required=True),
        Column("date", "text", "When the figure was taken from its source"),
        Column("confirm_locally", "boolean", "True if the local code decides", required=True),
    ),
)

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
        _metres("cell_m", "Size of a cell", required=True),
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
        _metres("distance_m", "Distance of the row", required=True),
        _metres("guided_m", "Height by the formula, above the ground there", required=True),
        _metres(
            "keep_below_m",
            "Height to which the row may be kept, above the ground at the row, never under the least",
            required=True,
        ),
        *_YEARS,
        Column("status", "text", "How the factors are known", required=True),
        _SOURCE,
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
        _metres("distance_m", "Leg of the triangle, or distance along the road", required=True),
        _metres("clear_from_m", "Nothing may stand above this height", required=True),
        _metres("clear_to_m", "And below this one; empty where there is no upper one"),
        Column(
            "is_minimum",
            "boolean",
            "True for the least distance, in which others can only just stop",
            required=True,
        ),
        Column("plants", "integer", "Plants that grow into it", required=True),
        Column("first_year", "integer", "First year in which one does, any growth", unit="year"),
        _RULE,
        Column("reason", "text", "What it is for", required=True),
        _SOURCE,
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
        _PLANT,
        Column("area_id", "text", "The area", required=True),
        Column("kind", "text", "Its kind", required=True),
        _metres("limit_m", "Height above which it is in the way", required=True),
        *_YEARS,
    ),
)

WIRE_PLANTS = Contract(
    "wire_plants",
    ("Point",),
    "A plant that outgrows the height allowed near an overhead line, or comes near the wire",
    key="wire_plant_id",
    columns=(
        Column("wire_plant_id", "text", "Plant, line and rule", required=True),
        _PLANT,
        Column("utility_id", "text", "The line", required=True),
        Column(
            "what",
            "text",
            "zoning, or sag and swing",
            required=True,
            choices=("zoning", "sag and swing"),
        ),
        _metres("distance_m", "Level distance from stem to line", required=True),
        _metres("allowed_m", "Height allowed there", required=True),
        _metres("height_m", "Its height in the last year, typical growth", required=True),
        *_YEARS,
        _RULE,
        _SOURCE,
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
        _metres("width_m", "Width of the zone, its own diameter included", required=True),
        _RULE,
        Column("reason", "text", "What it is for", required=True),
        _SOURCE,
        _CAUTION,
    ),
)

HOLES_AT_LINES = Contract(
    "holes_at_lines",
    ("Polygon",),
    "A planting hole that touches the zone about a buried line",
    key="hole_id",
    columns=(
        Column("hole_id", "text", "Plant and line", required=True),
        _PLANT,
        Column("utility_id", "text", "The line", required=True),
        _metres("edge_m", "From the edge of the hole to the outside of the line", required=True),
        _RULE,
        _CAUTION,
    ),
)

DEEP_ROOTS = Contract(
    "deep_roots",
    ("Point",),
    "A plant that grows taller than it stands away from a septic field",
    key="root_id",
    columns=(
        Column("root_id", "text", "Plant and field", required=True),
        _PLANT,
        Column("keep_out_id", "text", "The field", required=True),
        _metres("distance_m", "From the stem to the field", required=True),
        _metres("needed_m", "Distance needed in the last year, typical growth", required=True),
        *_YEARS,
        _RULE,
        _SOURCE,
    ),
)

OUTGROWN = Contract(
    "outgrown",
    ("Point",),
    "A plant that outgrows the boundary or a wall, and from when it must be clipped",
    key="outgrown_id",
    columns=(
        Column("outgrown_id", "text", "Plant, and what it outgrows", required=True),
        _PLANT,
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
        _metres("distance_m", "From the stem to it; negative beyond the line", required=True),
        _metres("limit_m", "Radius or height that it may reach", required=True),
        _metres("over_m", "By how much it is over in the last year, typical growth", required=True),
        *_YEARS,
        _metres("clip_m", "Most that is clipped in a year from then on, typical growth"),
        _RULE,
        _SOURCE,
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
        _metres("length_m", "Its length", required=True),
        _metres("foliage_m", "How much of it lies in the crowns of the last year", required=True),
        Column(
            "loss_db",
            "number",
            "What the standard's table counts for that at 500 Hz",
            unit="dB",
            required=True,
        ),
        Column("by_band", "text", "The same for each octave band", required=True),
        _metres(
            "belt_m", "Dense belt that the wished reduction would need; empty if none gives it"
        ),
        Column("says", "text", "The finding in a sentence", required=True),
        _RULE,
        _SOURCE,
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

MARKS = Contract(
    "marks",
    POINTS,
    "A point that a crew finds on the ground: a monument, a pin, a nail, a hydrant",
    key="mark_id",
    columns=(
        Column("mark_id", "text", "Its identifier; by default its row number"),
        _NAME,
        Column("kind", "text", "monument, pin, nail, hydrant, …", default="mark"),
    ),
)

FENCE = Contract(
    "fence",
    ("Point", "LineString"),
    "A post of the fence, or a run of its wire",
    key="part_id",
    columns=(
        Column("part_id", "text", "Its identifier", required=True),
        Column("fence_id", "text", "The fence or cage to which it belongs", required=True),
        Column(
            "kind",
            "text",
            "post (a point), wire or gate (lines)",
            required=True,
            choices=("post", "wire", "gate"),
        ),
        Column(
            "role",
            "text",
            "Of a post: line, corner, end, gate, brace (a line post with a brace assembly), cage; "
            "of a line: wire, gate, cage",
            required=True,
            choices=("line", "corner", "end", "gate", "brace", "cage", "wire"),
        ),
        Column(
            "station_m",
            "number",
            "Running distance along the fence from its first post; empty for cages",
            unit="m",
        ),
        Column("length_m", "number", "Level length of a run of wire or of a gate", unit="m"),
        Column(
            "height_m", "number", "Height of the fence above the ground", unit="m", required=True
        ),
        Column("braces", "integer", "Brace assemblies at the post"),
        Column("plant_id", "integer", "The plant inside a cage"),
        Column("says", "text", "What to watch at this part"),
    ),
)

FENCE_OPTIONS = Contract(
    "fence_options",
    (),
    "One way to fence the plants, in material and money",
    key="scheme",
    columns=(
        Column(
            "scheme",
            "text",
            "perimeter (round the planting), outer_side or inner_side (along the rows, towards the "
            "boundary or away from it), cages",
            required=True,
            choices=("perimeter", "outer_side", "inner_side", "cages"),
        ),
        Column("chosen", "boolean", "True for the one that the plan asks for", required=True),
        Column("possible", "boolean", "False if there is no room for it", required=True),
        Column("height_m", "number", "Height", unit="m", required=True),
        Column("stands_years", "integer", "Years that it must stand", unit="year", required=True),
        Column("wire_m", "number", "Length of wire or mesh, gates left out", unit="m"),
        Column("rolls", "integer", "Rolls to buy"),
        Column("line_posts", "integer", "Line posts (cages: the posts of all cages)"),
        Column("corner_posts", "integer", "Corner and end posts"),
        Column("gate_posts", "integer", "Gate posts"),
        Column("braces", "integer", "Brace assemblies"),
        Column("gates", "integer", "Gates"),
        Column("staples", "integer", "Staples or clips"),
        Column("cost", "number", "What the material costs; empty if a price is missing"),
        Column(
            "says",
            "text",
            "What it is good for and what not, or why there is no room",
            required=True,
        ),
    ),
)

TAPE_POINTS = Contract(
    "tape_points",
    ("Point",),
    "A point that can be found on the ground, from which tapes start",
    key="point_id",
    columns=(
        Column("point_id", "text", "Letter on the stake-out sheet: A, B, …", required=True),
        Column("name", "text", "What it is, in words", required=True),
        Column(
            "kind",
            "text",
            "mark (found monument), house corner or parcel corner",
            required=True,
            choices=("mark", "house corner", "parcel corner"),
        ),
        Column("source_id", "text", "Identifier of the mark, building or parcel", required=True),
        Column(
            "x_m", "number", "East of the site's origin, after the refit", unit="m", required=True
        ),
        Column("y_m", "number", "North of it", unit="m", required=True),
        Column("ground_m", "number", "Height of the ground there", unit="m", required=True),
        Column(
            "moved_m",
            "number",
            "How far the refit to the measured distances moved it from its place on the map",
            unit="m",
            required=True,
        ),
        Column("used", "boolean", "True if a peg's tape starts here", required=True),
    ),
)

PEGS = Contract(
    "pegs",
    ("Point",),
    "A peg that two tapes set: an end of a base line, or a corner post of the fence",
    key="peg_id",
    columns=(
        Column("peg_id", "text", "Number on the stake-out sheet: P1, P2, …", required=True),
        Column(
            "role",
            "text",
            "zero (where the running distance starts), end, or fence",
            required=True,
            choices=("zero", "end", "fence"),
        ),
        Column("base_id", "text", "The base lines of which it is an end; empty for the fence"),
        Column("x_m", "number", "East of the site's origin", unit="m", required=True),
        Column("y_m", "number", "North of it", unit="m", required=True),
        Column("ground_m", "number", "Height of the ground there", unit="m", required=True),
        Column("point_a", "text", "Tape point from which the first tape starts", required=True),
        Column("tape_a_m", "number", "Level distance from it", unit="m", required=True),
        Column(
            "slope_a_m",
            "number",
            "What a taut tape from ground to ground reads",
            unit="m",
            required=True,
        ),
        Column("point_b", "text", "Tape point from which the second tape starts", required=True),
        Column("tape_b_m", "number", "Level distance from it", unit="m", required=True),
        Column("slope_b_m", "number", "What a taut tape reads", unit="m", required=True),
        Column(
            "side",
            "text",
            "Side of the line from point a to point b on which the peg stands, seen from a",
            required=True,
            choices=("left", "right"),
        ),
        Column(
            "crossing_deg",
            "number",
            "Angle at which the two tapes cross at the peg; good from 30 to 150",
            unit="deg",
            required=True,
            low=0.0,
            high=180.0,
        ),
        Column("point_c", "text", "Third tape point, for the check; empty if there is none"),
        Column("tape_c_m", "number", "Level distance from it", unit="m"),
        Column("slope_c_m", "number", "What a taut tape reads", unit="m"),
        Column(
            "tolerance_m",
            "number",
            "How far the peg can be out if both tapes are read to a centimetre",
            unit="m",
            required=True,
        ),
        Column("says", "text", "What to watch at this peg"),
    ),
)

BASE_LINES = Contract(
    "base_lines",
    ("LineString",),
    "A straight line between two pegs along which a tape is laid",
    key="base_id",
    columns=(
        Column("base_id", "text", "Its identifier: L1, L2, …", required=True),
        Column("line_ids", "text", "Planting lines that are staked from it", required=True),
        Column("from_peg", "text", "Its zero peg", required=True),
        Column("to_peg", "text", "Its end peg", required=True),
        Column("length_m", "number", "Level distance between the pegs", unit="m", required=True),
        Column(
            "slope_m",
            "number",
            "The same along the ground, as a tape reads it",
            unit="m",
            required=True,
        ),
        Column(
            "bearing_deg",
            "number",
            "Direction from the zero peg",
            unit="deg",
            required=True,
            low=0.0,
            high=360.0,
        ),
        Column(
            "stretch",
            "number",
            "Measured length per planned length along this tape; 1 if it was not measured",
            required=True,
        ),
        Column("stakes", "integer", "Stakes along it", required=True),
    ),
)

STAKES = Contract(
    "stakes",
    ("Point",),
    "A flag or paint mark where a plant goes",
    key="stake_id",
    columns=(
        Column("stake_id", "integer", "Number, the same as the plant's", required=True),
        Column("plant_id", "integer", "The plant", required=True),
        Column("line_id", "text", "Its planting line", required=True),
        Column("row", "integer", "Row, counted from the boundary", required=True),
        Column("base_id", "text", "The base line along which the tape lies", required=True),
        Column(
            "along_m",
            "number",
            "Running distance along the tape from the zero peg, level",
            unit="m",
            required=True,
        ),
        Column(
            "slope_along_m",
            "number",
            "The same as a tape on the ground reads it",
            unit="m",
            required=True,
        ),
        Column(
            "offset_m",
            "number",
            "Distance from the tape, square to it; 0 on the tape",
            unit="m",
            required=True,
            low=0.0,
        ),
        Column(
            "offset_side",
            "text",
            "left or right, seen from the zero peg towards the end peg; on the line if on the tape",
            required=True,
            choices=("left", "right", "on the line"),
        ),
        Column(
            "diagonal_m",
            "number",
            "Level distance from the zero peg straight to a stake off the tape: it proves the right "
            "angle; empty on the tape",
            unit="m",
        ),
        Column("x_m", "number", "East of the site's origin", unit="m", required=True),
        Column("y_m", "number", "North of it", unit="m", required=True),
        Column("ground_m", "number", "Height of the ground there", unit="m", required=True),
        Column(
            "tolerance_m",
            "number",
            "How far the stake can be out if every distance is read to a centimetre",
            unit="m",
            required=True,
        ),
        Column("mark", "text", "Flag or paint, in the user's words", required=True),
        Column("species", "text", "Key in the species table", required=True),
    ),
)

STAKE_CHECKS = Contract(
    "stake_checks",
    (),
    "A distance that proves the stake-out, or that the user measured",
    key="check_id",
    columns=(
        Column("check_id", "text", "Its identifier", required=True),
        Column("base_id", "text", "The base line; empty if it is about tape points"),
        Column(
            "kind",
            "text",
            "closing (zero peg to end peg), diagonal (a right angle), between (two pegs of different "
            "base lines), measured (given by the user)",
            required=True,
            choices=("closing", "diagonal", "between", "measured"),
        ),
        Column(
            "from_name", "text", "Where the tape starts: a peg, stake or tape point", required=True
        ),
        Column("to_name", "text", "Where it ends", required=True),
        Column("planned_m", "number", "Level distance on the map", unit="m", required=True),
        Column(
            "refit_m",
            "number",
            "Level distance after the refit: what to read today",
            unit="m",
            required=True,
        ),
        Column(
            "slope_m", "number", "The same on a taut tape on the ground", unit="m", required=True
        ),
        Column("measured_m", "number", "What the user measured, level", unit="m"),
        Column("residual_m", "number", "Measured less refit", unit="m"),
        Column(
            "says", "text", "What it proves, and what to do if it does not agree", required=True
        ),
    ),
)

QUANTITIES = Contract(
    "quantities",
    (),
    "One thing to order, to dig, to haul or to pour",
    key="item",
    columns=(
        Column(
            "item", "text", "Its key, as the plan's [prices] and [hours] name it", required=True
        ),
        Column(
            "part",
            "text",
            "Part of the work",
            required=True,
            choices=("plants", "stake-out", "ground", "holes", "mulch", "water", "fence"),
        ),
        Column("name", "text", "What it is, in words", required=True),
        Column("amount", "number", "How much is needed, unrounded", required=True, low=0.0),
        Column(
            "unit",
            "text",
            "Unit of the amount; sheets turn it into the user's",
            required=True,
            choices=("each", "m", "m2", "m3", "l"),
        ),
        Column("pack_amount", "number", "How much one of the goods holds, in the same unit"),
        Column(
            "pack", "text", "How it is sold: plant, bag, roll, post, …; empty if it is not bought"
        ),
        Column(
            "packs",
            "integer",
            "How many of those to order: the amount rounded up; empty if it is not bought",
        ),
        Column("how", "text", "The arithmetic in words", required=True),
        Column("source", "text", "Where the rule comes from", required=True),
        Column("caution", "text", "What to do first, and what to watch"),
    ),
)

SCHEDULE = Contract(
    "schedule",
    (),
    "One task, when it falls due and how often",
    key="task",
    columns=(
        Column("task", "text", "Its key", required=True),
        Column("name", "text", "What is done, in words", required=True),
        Column(
            "first_day",
            "integer",
            "Day on which it starts, counted from planting (day 0)",
            required=True,
        ),
        Column("last_day", "integer", "Day on which it ends", required=True),
        Column("every_days", "integer", "Days from one time to the next; empty if it is done once"),
        Column("times", "integer", "How many times", required=True, low=1),
        Column("first_date", "date", "Date of the first day; empty without a planting date"),
        Column("last_date", "date", "Date of the last day"),
        Column("year", "integer", "Years since planting", unit="year", required=True),
        Column("item", "text", "The quantity that it handles, if there is one"),
        Column("says", "text", "How it is done", required=True),
        Column("caution", "text", "What to do first, and what to watch"),
        Column("source", "text", "Where it comes from", required=True),
    ),
)

COST = Contract(
    "cost",
    (),
    "What one quantity costs and how long it takes, by the user's own prices and rates",
    key="item",
    columns=(
        Column("item", "text", "The quantity's key; the last row is total", required=True),
        Column("name", "text", "What it is, in words", required=True),
        Column(
            "count", "number", "What is priced: packs, or the amount if it is not sold in packs"
        ),
        Column("per", "text", "What one of them is: plant, bag, m3, …"),
        Column("price", "number", "Price of one, in the user's currency; empty if none was given"),
        Column("cost", "number", "Price times count; empty without a price"),
        Column(
            "hours_each", "number", "Hours for one, by the user's rate; empty if none was given"
        ),
        Column("hours", "number", "Hours of work"),
        Column("labour_cost", "number", "Hours times the price of an hour"),
        Column("says", "text", "What is missing, in words"),
    ),
)

ALTERNATIVES = Contract(
    "alternatives",
    (),
    "One alternative, run through the same steps",
    key="alternative",
    columns=(
        Column("alternative", "integer", "Number; 1 is the plan itself", required=True),
        Column("species", "text", "Key in the species table", required=True),
        Column("stock", "text", "Kind of stock", required=True),
        Column("stock_height_m", "number", "Height when planted", unit="m", required=True),
        Column("spacing_m", "number", "Distance between plants in a row", unit="m", required=True),
        Column("rows", "integer", "Rows", required=True),
        Column("plants", "integer", "Plants to set; empty if it cannot be planted"),
        Column("to_order", "integer", "Plants to order, losses allowed for"),
        Column("cost", "number", "What all material costs; empty if a price is missing"),
        Column("plant_cost", "number", "What the plants cost; empty without their price"),
        Column(
            "year_closed",
            "integer",
            "First year in which every row is closed to the asked height, typical growth; empty if "
            "not in the years looked at",
            unit="year",
        ),
        Column("year_closed_low", "integer", "The same, low growth", unit="year"),
        Column("year_closed_high", "integer", "The same, high growth", unit="year"),
        Column("says", "text", "Why it cannot be planted, or what to know", required=True),
    ),
)

#: What a person may bring.
INPUTS = {
    contract.name: contract
    for contract in (
        PARCELS,
        BUILDINGS,
        WINDOWS,
        PRIVATE_PLACES,
        ONLOOKERS,
        UTILITIES,
        KEEP_OUTS,
        ROADS,
        EXISTING_SCREENS,
        SUN_PLACES,
        PLANTING_LINE,
        MARKS,
    )
}

#: What a run writes, in reading order.
OUTPUTS = {
    contract.name: contract
    for contract in (
        PARCELS,
        SIDES,
        NO_PLANT_ZONES,
        PLANTABLE_ZONE,
        PLANTING_LINES,
        NEEDED_HEIGHT,
        NEEDED_PROFILE,
        NEEDED_YEARS,
        PLANTS,
        DROPPED,
        CROWNS,
        WINDOWS,
        PRIVATE_PLACES,
        VIEWS,
        VIEW_HOLES,
        VIEW_YEARS,
        SIGHT_LINES,
        SIGHT_OUTLINES,
        SECTIONS,
        MISSING_PLANTS,
        CLOSURE,
        PLANTS_IN_HAND,
        FENCE,
        FENCE_OPTIONS,
        TAPE_POINTS,
        PEGS,
        BASE_LINES,
        STAKES,
        STAKE_CHECKS,
        QUANTITIES,
        SCHEDULE,
        COST,
        ALTERNATIVES,
        LIGHT,
        LIGHT_MONTHS,
        SUN_GRID,
        HEDGE_HEIGHTS,
        SIGHT_AREAS,
        SIGHT_PLANTS,
        WIRE_PLANTS,
        LOCATE_ZONES,
        HOLES_AT_LINES,
        DEEP_ROOTS,
        OUTGROWN,
        NOISE_PATHS,
        PLANT_HEALTH,
        RULES,
        CHECKS,
    )
}
