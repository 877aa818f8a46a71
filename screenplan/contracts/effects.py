"""Limits, and what the screen does to others; the checks."""

from __future__ import annotations

from screenplan.contracts.columns import (
    CAUTION,
    PLANT,
    RULE,
    SOURCE,
    YEARS,
    boolean,
    integer,
    metres,
    number,
    sentence,
    share,
    text,
    words,
    year,
)
from screenplan.contracts.findings import FAILS, PASSES, UNKNOWN
from screenplan.contracts.model import POLYGONS, Contract
from screenplan.contracts.presentation import EFFECTS, PLAN, STAKE_OUT, Place, Shown

RULES = Contract(
    "rules",
    (),
    "One rule or limit, and whether and why it applies to the plan",
    key="rule",
    optional="date",
    report=(
        Shown(
            "sources",
            10,
            title="Rules and limits that apply",
            columns="rule says reason source status date confirm_locally",
            keep=lambda frame: frame.loc[frame["applies"].astype(bool)],
        ),
    ),
    columns=(
        words("rule", "Its key"),
        text("kind", "setback, or the kind of limit", "Kind of rule"),
        boolean("applies", "True if it applies to the plan"),
        sentence("why", "Why it does or does not"),
        sentence("says", "Its figures", "In words", heading="figures"),
        sentence("reason", "What it is for", "What it is for", heading="what for"),
        SOURCE,
        sentence(
            "status", "How the figure is known", "How the figure is known", heading="known how"
        ),
        text("date", "When the figure was taken from its source", heading="taken"),
        boolean("confirm_locally", "True if the local code decides", heading="local code decides"),
    ),
)


SIGHT_AREAS = Contract(
    "sight_areas",
    POLYGONS,
    "Ground over which a driver must see",
    key="area_id",
    optional="clear_to_m first_year",
    place=Place("Ground", 30, (EFFECTS,)),
    report=(
        Shown(
            "effects",
            60,
            title="Sight at drives and corners",
            columns="kind at distance_m clear_from_m clear_to_m plants first_year reason source",
        ),
    ),
    columns=(
        text("area_id", "Its identifier"),
        words(
            "kind",
            "A triangle at a drive or corner, or what lies before a driver's eye along the road",
            "Kind of area",
            heading="where",
            choices=("drive", "corner", "stopping", "emerging"),
        ),
        text("at", "The drive, or the two sides of the corner", "Where", heading="at"),
        metres(
            "distance_m",
            "Leg of the triangle, or distance along the road",
            "Leg, or distance along the road",
            heading="distance",
        ),
        metres(
            "clear_from_m",
            "Nothing may stand above this height",
            "Must be clear from",
            heading="clear from",
        ),
        metres(
            "clear_to_m",
            "And below this one; empty where there is no upper one",
            "Must be clear up to",
            heading="to",
        ),
        boolean(
            "is_minimum",
            "True for the least distance, in which others can only just stop",
            "Is the least distance",
        ),
        integer(
            "plants", "Plants that grow into it", "Plants that grow into it", heading="plants in it"
        ),
        year("first_year", "First year in which one does, any growth", heading="from year"),
        RULE,
        sentence("reason", "What it is for", "What it is for", heading="why"),
        SOURCE,
        sentence("status", "How the figures are known", "How the figures are known"),
    ),
)


SIGHT_PLANTS = Contract(
    "sight_plants",
    ("Point",),
    "A plant that grows into ground over which a driver must see",
    key="sight_plant_id",
    optional="year_low year year_high",
    place=Place("Effects", 10, (EFFECTS,)),
    report=(Shown("effects", 70),),
    columns=(
        text("sight_plant_id", "Plant and area", "Plant and area", heading="sight plant"),
        PLANT,
        text("area_id", "The area"),
        text("kind", "Its kind", "Kind of area", heading="kind"),
        metres(
            "limit_m", "Height above which it is in the way", "In the way above", heading="limit"
        ),
        *YEARS,
    ),
)


WIRE_PLANTS = Contract(
    "wire_plants",
    ("Point",),
    "A plant that outgrows the height allowed near an overhead wire, or comes near the wire",
    key="wire_plant_id",
    optional="year_low year year_high",
    place=Place("Effects", 20, (EFFECTS,)),
    report=(Shown("effects", 40),),
    columns=(
        text("wire_plant_id", "Plant, wire and rule", "Plant, wire and rule", heading="wire plant"),
        PLANT,
        text("utility_id", "The wire"),
        text(
            "what",
            "zoning, the wire itself, or its sag and swing",
            "What it comes near",
            heading="what",
            choices=("zoning", "wire", "sag and swing"),
        ),
        metres(
            "distance_m",
            "Level distance from stem to wire",
            "Distance from the wire",
            heading="distance",
        ),
        metres("allowed_m", "Height allowed there", "Allowed height", heading="allowed"),
        metres(
            "height_m",
            "Its height in the last year, typical growth",
            "Height in the last year",
            heading="height",
        ),
        *YEARS,
        RULE,
        SOURCE,
    ),
)


LOCATE_ZONES = Contract(
    "locate_zones",
    POLYGONS,
    "Ground about a buried line in which nothing is dug but by hand, once that line is located",
    key="zone_id",
    title="Buried line: dig by hand",
    place=Place("Effects", 60, (PLAN, STAKE_OUT, EFFECTS)),
    report=(
        Shown(
            "dig",
            5,
            title="Ground near buried lines, dug by hand only",
            columns="utility_id kind width_m reason source",
        ),
    ),
    columns=(
        text("zone_id", "Its identifier"),
        text("utility_id", "The buried line", heading="line"),
        words("kind", "What runs in it", "What runs in it", heading="kind"),
        metres(
            "width_m",
            "Width of the zone, its own diameter included",
            "Width of the zone",
            heading="width",
        ),
        RULE,
        sentence("reason", "What it is for", "What it is for", heading="why"),
        SOURCE,
        CAUTION,
    ),
)


HOLES_AT_LINES = Contract(
    "holes_at_lines",
    ("Polygon",),
    "A planting hole that touches the zone about a buried line",
    key="hole_id",
    place=Place("Effects", 50, (PLAN, STAKE_OUT, EFFECTS)),
    report=(Shown("dig", 6),),
    columns=(
        text("hole_id", "Plant and buried line", "Plant and buried line", heading="hole"),
        PLANT,
        text("utility_id", "The buried line"),
        metres(
            "edge_m",
            "From the edge of the hole to the outside of the buried line",
            "Edge of the hole to the buried line",
            heading="edge",
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
    optional="year_low year year_high",
    place=Place("Effects", 40, (EFFECTS,)),
    report=(Shown("effects", 30),),
    columns=(
        text("root_id", "Plant and field", "Plant and field", heading="root"),
        PLANT,
        text("keep_out_id", "The field", "Septic field", heading="keep out"),
        metres(
            "distance_m",
            "From the stem to the field",
            "Distance from the field",
            heading="distance",
        ),
        metres(
            "needed_m",
            "Distance needed in the last year, typical growth",
            "Distance needed",
            heading="needed",
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
    optional="year_low year year_high clip_m",
    place=Place("Effects", 30, (EFFECTS,)),
    report=(Shown("effects", 50),),
    columns=(
        text("outgrown_id", "Plant, and what it outgrows", "Plant and thing", heading="outgrown"),
        PLANT,
        text(
            "what",
            "What it outgrows",
            "What it outgrows",
            heading="what",
            choices=(
                "crown over the boundary",
                "height at the boundary",
                "crown at a wall",
                "height at a wall",
            ),
        ),
        text("thing_id", "The parcel or building", "Parcel or building", heading="thing"),
        metres(
            "distance_m",
            "From the stem to it; negative beyond the boundary",
            "Distance from line or building",
            heading="distance",
        ),
        metres(
            "limit_m",
            "Radius or height that it may reach",
            "Radius or height allowed",
            heading="limit",
        ),
        metres(
            "over_m",
            "By how much it is over in the last year, typical growth",
            "Too much by",
            heading="over",
        ),
        *YEARS,
        metres(
            "clip_m",
            "Most that is clipped in a year from then on, typical growth",
            "To clip a year",
            heading="clip",
        ),
        RULE,
        SOURCE,
    ),
)


NOISE_PATHS = Contract(
    "noise_paths",
    ("LineString",),
    "The way of the sound from a road to a private place",
    key="path_id",
    optional="belt_m",
    place=Place("Effects", 90),
    report=(
        Shown(
            "effects",
            100,
            title="Noise from roads",
            lead="Of all ways from a road to a private place, that with the most foliage.",
            columns="says source",
            keep=lambda frame: frame.nlargest(1, "foliage_m"),
            told=True,
        ),
    ),
    columns=(
        text("path_id", "Road and place", "Road and place"),
        text("road_id", "The road"),
        text("place_id", "The place"),
        metres("length_m", "Its length"),
        metres(
            "foliage_m", "How much of it lies in the crowns of the last year", "Way through foliage"
        ),
        number("loss_db", "What the standard's table counts for that at 500 Hz", unit="dB"),
        sentence("by_band", "The same for each octave band", "Loss by octave band"),
        metres(
            "belt_m",
            "Dense belt that the wished reduction would need; empty if none gives it",
            "Belt needed",
        ),
        sentence("says", "The finding in a sentence", "In words"),
        RULE,
        SOURCE,
    ),
)


PLANT_HEALTH = Contract(
    "plant_health",
    (),
    "How much hangs on one species or genus, how well a species stands the site, or what one is warned of",
    optional="share limit meets needs source",
    report=(Shown("effects", 110, title="Plant health", columns="topic name says source"),),
    columns=(
        words(
            "topic",
            "species, genus, hardiness, browse, salt, shade, wet, warning, livestock, disease or groups",
            heading="about",
        ),
        text("name", "The species, genus or disease", heading="what", form="species"),
        share("share", "Its share of all plants", "Share of all plants", low=None, high=None),
        share("limit", "The user's limit", low=None, high=None),
        boolean("meets", "Whether it is met; empty if that cannot be told", "Meets the limit"),
        sentence("says", "The finding in a sentence", "In words"),
        sentence("needs", "What would be needed to tell"),
        sentence("source", "Where the figure comes from"),
    ),
)


CHECKS = Contract(
    "checks",
    (),
    "One rule or goal, and whether the plan meets it",
    key="check",
    optional="needs caution",
    columns=(
        text("check", "What is checked"),
        text(
            "result",
            "passes, fails, or cannot be judged",
            choices=(PASSES, FAILS, UNKNOWN),
        ),
        sentence("says", "The finding in a sentence", "In words"),
        sentence("needs", "What would be needed to judge it"),
        sentence("caution", "What to confirm, and with whom"),
    ),
)
