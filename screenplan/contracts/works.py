"""Fence, quantities, calendar, cost and alternatives."""

from __future__ import annotations

from typing import Literal, get_args

from screenplan.contracts.columns import (
    CAUTION,
    KINDS,
    SOURCE,
    boolean,
    date,
    integer,
    metres,
    money,
    number,
    sentence,
    text,
    words,
    year,
)
from screenplan.contracts.model import POLYGONS, Contract
from screenplan.contracts.presentation import PLAN, STAKE_OUT, WORK, Part, Place, Shown

#: Goods by the part of the work that needs them.
_GOODS: dict[Part, tuple[str, ...]] = {
    "stake-out": ("stake-out",),
    "order": ("plants", "replacements"),
    "dig": ("ground", "holes"),
    "plant": ("mulch",),
    "fence": ("fence",),
    "water": ("water",),
}


def _of(*parts: str):
    """Keep the rows of some parts of the work."""
    return lambda frame: frame.loc[frame["part"].isin(parts)]


_PART = text("part_id", "Its identifier")
_FENCE = text("fence_id", "The fence or cage to which it belongs", "Fence or cage")
_STATION = metres(
    "station_m",
    "Running distance along the fence from its first post; empty for cages",
    "Station along the fence",
)
_HEIGHT = metres("height_m", "Height of the fence above the ground", "Height of the fence")
_CAGED = integer("plant_id", "The plant inside a cage")

#: Round the planting, along one side of it, or round each plant.
FenceScheme = Literal["perimeter", "outer_side", "inner_side", "cages"]

FENCE_POSTS = Contract(
    "fence_posts",
    ("Point",),
    "A post of the fence",
    key="part_id",
    optional="station_m braces plant_id says",
    place=Place("Stake-out", 50, (PLAN, STAKE_OUT)),
    columns=(
        _PART,
        _FENCE,
        text(
            "role",
            "line, corner, end, gate, brace (a line post with a brace assembly), cage",
            choices=("line", "corner", "end", "gate", "brace", "cage"),
        ),
        _STATION,
        _HEIGHT,
        integer("braces", "Brace assemblies at the post", "Brace assemblies"),
        _CAGED,
        sentence("says", "What to watch at this post", "In words"),
    ),
)


FENCE_WIRES = Contract(
    "fence_wires",
    ("LineString",),
    "A run of the fence's wire, or a gate",
    key="part_id",
    optional="station_m plant_id",
    place=Place("Stake-out", 60, (PLAN, STAKE_OUT)),
    columns=(
        _PART,
        _FENCE,
        text("role", "wire, gate, or cage (the wire of one)", choices=("wire", "gate", "cage")),
        _STATION,
        metres("length_m", "Level length of the run or gate, of a cage with its overlap"),
        _HEIGHT,
        _CAGED,
    ),
)


FENCE_OPTIONS = Contract(
    "fence_options",
    (),
    "One way to fence the plants, in material and money",
    key="scheme",
    optional="wire_m rolls line_posts corner_posts gate_posts braces gates staples cost",
    report=(
        Shown(
            "fence",
            30,
            title="Ways to fence",
            keep=lambda frame: frame if frame["chosen"].any() else frame.iloc[:0],
            columns="scheme chosen possible height_m wire_m rolls line_posts corner_posts gate_posts braces gates staples cost",
            notes=("scheme", "says"),
        ),
    ),
    columns=(
        words(
            "scheme",
            "perimeter (round the planting), outer_side or inner_side (along the rows, towards the boundary or away from it), cages",
            heading="way",
            choices=get_args(FenceScheme),
        ),
        boolean("chosen", "True for the one that the plan asks for"),
        boolean("possible", "False if there is no room for it", heading="room"),
        metres("height_m", "Height", "Height of the fence", heading="height"),
        year("stands_years", "Years that it must stand", "Years that it stands"),
        metres(
            "wire_m", "Length of wire or mesh, gates left out", "Length of wire", heading="wire"
        ),
        integer("rolls", "Rolls to buy"),
        integer("line_posts", "Line posts (cages: the posts of all cages)"),
        integer("corner_posts", "Corner and end posts", heading="corner and end posts"),
        integer("gate_posts", "Gate posts"),
        integer("braces", "Brace assemblies", "Brace assemblies", heading="braces"),
        integer("gates", "Gates"),
        integer("staples", "Staples or clips", heading="staples or clips"),
        money(
            "cost",
            "What the material costs; empty if a price is missing",
            "Cost of the fence's material",
            heading="material",
        ),
        sentence("says", "What it is good for and what not, or why there is no room", "In words"),
    ),
)


QUANTITIES = Contract(
    "quantities",
    (),
    "One thing to order, to dig, to haul or to pour",
    key="item",
    optional="species plant_name stock stock_height_m plants pack_amount pack packs caution",
    report=tuple(
        Shown(
            part,
            20,
            key=f"goods-{part}",
            title="The order" if part == "order" else "What it needs",
            columns="name amount packs how",
            joined="caution",
            keep=_of(*goods),
        )
        for part, goods in _GOODS.items()
    ),
    columns=(
        text(
            "item",
            "Its key, as the plan's [prices] and [hours] name it; where plants are of several kinds, with the species after it",
        ),
        text(
            "part",
            "Part of the work",
            "Part of the work",
            heading="for",
            choices=(
                "plants",
                "replacements",
                "stake-out",
                "ground",
                "holes",
                "mulch",
                "water",
                "fence",
            ),
        ),
        text(
            "name", "What it is, in words; plants by their common and Latin names", heading="what"
        ),
        text("species", "Of plants: their key in the species table"),
        text("plant_name", "Of plants: common and Latin name"),
        text("stock", "Of plants: kind of stock", "Kind of stock"),
        metres("stock_height_m", "Of plants: height when planted", "Height when planted"),
        integer(
            "plants",
            "Of plants: how many are set; more are ordered, for losses",
            "Plants that are set",
        ),
        number("amount", "How much is needed, unrounded", heading="needed", form="amount", low=0.0),
        text(
            "unit",
            "Unit of the amount; sheets turn it into the user's",
            choices=("each", "m", "m2", "m3", "l"),
        ),
        number(
            "pack_amount",
            "How much one of the goods holds, in the same unit",
            "One of the goods holds",
        ),
        text(
            "pack",
            "How it is sold: plant, bag, roll, post, …; empty if it is not bought",
            "Sold as",
        ),
        integer(
            "packs",
            "How many of those to order: the amount rounded up; empty if it is not bought",
            "To order",
            heading="order",
            form="packs",
        ),
        sentence("how", "The arithmetic in words", heading="how it is counted"),
        sentence("source", "Where the rule comes from"),
        sentence("caution", "What to do first, and what to watch", heading="watch"),
    ),
)


SCHEDULE = Contract(
    "schedule",
    (),
    "One task, when it falls due and how often",
    key="task",
    optional="every_days hours first_date last_date item caution",
    report=(
        *(
            Shown(
                part,
                10,
                key=f"tasks-{part}",
                title="What to do, and when",
                columns="first_day name times says",
                joined="caution",
                tick=True,
                keep=_of(part),
            )
            for part in WORK
        ),
    ),
    columns=(
        text("task", "Its key"),
        text("part", "Part of the work to which it belongs", "Part of the work", choices=WORK),
        text("name", "What is done, in words", heading="what"),
        integer(
            "first_day",
            "Day on which it starts, counted from planting (day 0)",
            heading="when",
            form="when",
        ),
        integer("last_day", "Day on which it ends"),
        integer(
            "every_days",
            "Days from one time to the next; empty if it is done once",
            "Every so many days",
        ),
        integer("times", "How many times", heading="how often", form="often", low=1),
        number(
            "hours",
            "Hours of one person for one time, by the user's rate or a usual one; empty if none is known",
            "Hours of work",
            low=0.0,
        ),
        date("first_date", "Date of the first day; empty without a planting date"),
        date("last_date", "Date of the last day"),
        year("year", "Years since planting"),
        text("item", "The quantity that it handles, if there is one"),
        sentence("says", "How it is done", "In words", heading="how"),
        sentence("caution", "What to do first, and what to watch", heading="watch"),
        sentence("source", "Where it comes from"),
    ),
)


KEPT_SIZES = Contract(
    "kept_sizes",
    (),
    "The height at which a row is kept by clipping, or could be",
    key="line_id",
    optional="needed_m keep_m",
    report=(
        Shown(
            "growth", 96, title="Height to keep", columns="line_id needed_m keep_m grown_m says"
        ),
    ),
    columns=(
        text("line_id", "The planting line", "Planting line", heading="row"),
        metres("needed_m", "Height that the views need; empty if none needs the row", "Needed height", heading="needed"),
        metres("keep_m", "Height at which the plan keeps it, else the one that is proposed", "Height to keep", heading="keep at"),
        metres("grown_m", "Height to which it grows freely in the last year looked at, typical growth", "Free height", heading="free"),
        boolean("kept", "True if the plan keeps the rows", "Kept by the plan"),
        sentence("says", "The same in words", "In words", heading="note"),
    ),
)  # fmt: skip


KEPT_EFFECTS = Contract(
    "kept_effects",
    (),
    "One effect of the plants in their places, as they grow freely and as they are kept",
    key="effect",
    optional="keep_m",
    report=(
        Shown(
            "growth", 97, title="What keeping them low changes", columns="name free_says kept_says",
            lead="The same plants in the same places, typical growth: as they grow freely, and kept at the height above.",
            whole=True,
        ),
    ),
    columns=(
        text("effect", "Its key", "Key of the effect", choices=("window_sun", "garden_sun", "wire_plants", "outgrown", "views_closed", "boundary_height", "complaint_height", "law_distance", "law_nearer"), form="words"),
        sentence("name", "What it is", "Effect", heading="effect"),
        text("unit", "Of what it is a number", "Counted in", choices=("share", "plants", "views", "metres")),
        metres("keep_m", "Height at which they are kept, or could be; empty if only their width is kept", "Height to keep", heading="keep at"),
        number("free", "How much it is as they grow freely", "Grown freely", low=0.0),
        number("kept", "How much it is as they are kept", "Kept", low=0.0),
        sentence("free_says", "The same as it is read, grown freely", "Grown freely, as read", heading="free"),
        sentence("kept_says", "The same as it is read, kept", "Kept, as read", heading="kept"),
    ),
)  # fmt: skip


CLIPPING = Contract(
    "clipping",
    (),
    "What is clipped of a row that is kept, in one year, typical growth",
    optional="hours",
    report=(
        Shown(
            "check", 47, title="Clipping, year by year",
            columns="line_id year faces_m2 neighbour_m2 height_m hours says",
        ),
    ),
    columns=(
        text("line_id", "The planting line", "Planting line", heading="row"),
        year("year", "Years since planting"),
        metres("length_m", "Length of the row with its crowns", "Length"),
        metres("height_m", "Its height", "Height", heading="height"),
        metres("width_m", "Its width", "Width"),
        number("faces_m2", "Both sides, and the top from the kept height on, square metres", "Clipped faces", heading="faces, m²", low=0.0),
        number("neighbour_m2", "Of these the side to which one must stand beyond the boundary, square metres", "Side at the boundary", heading="at the boundary, m²", low=0.0),
        boolean("platform", "True if it is too high to be clipped from the ground", "Needs a platform"),
        number("hours", "Hours of one person, by the user's rate or a usual one", "Hours of work", heading="hours", low=0.0),
        sentence("says", "How it is done", "In words", heading="how"),
        sentence("source", "Where the figures come from"),
    ),
)  # fmt: skip


LOCATE_REQUEST = Contract(
    "locate_request",
    POLYGONS,
    "Ground about which the owners of buried lines are asked: all that will be broken, with a margin",
    key="request_id",
    optional="ask_date last_date renew_date",
    title="Ground to ask about: buried lines",
    place=Place("Stake-out", 70, (STAKE_OUT,)),
    report=(
        Shown(
            "effects",
            95,
            title="The ground to ask about",
            columns="request_id says area_m2 margin_m ask_date last_date renew_date",
            lead="Hand this outline to the one-call centre or to the lines' owners: it is in the folder stakeout, as KML, and in the folder layers, as GeoJSON. The white marks on the ground decide.",
        ),
    ),
    columns=(
        text("request_id", "Its number", "Piece of ground", heading="piece"),
        number(
            "area_m2", "Its area, the margin included", "Area", heading="area", unit="m2", low=0.0
        ),
        metres("margin_m", "Margin round what is broken", "Margin"),
        integer("holes", "Planting holes in it"),
        integer("pegs", "Pegs in it"),
        integer("posts", "Posts of the fence in it"),
        integer("ask_day", "Day to ask, counted from planting", heading="ask on day"),
        integer("answered_day", "Day by whose evening all have answered; nothing is dug before"),
        integer("last_day", "Last day on which the request holds", heading="holds to day"),
        integer("renew_day", "Day to renew it by", heading="renew by day"),
        integer("renewals", "How often it is renewed while anything is dug", low=1),
        date("ask_date", "Date to ask; empty without a planting date", heading="ask on"),
        date("last_date", "Last date on which the request holds", heading="holds to"),
        date("renew_date", "Date to renew it by", heading="renew by"),
        sentence("says", "What is broken in it", "In words", heading="what is broken"),
        CAUTION,
        SOURCE,
    ),
)


COST = Contract(
    "cost",
    (),
    "What one quantity costs and how long it takes, by the user's own prices and rates",
    key="item",
    optional="count per price cost hours_each hours labour_cost says",
    report=(
        Shown(
            "cost",
            40,
            title="Cost and hours, by your prices and rates",
            columns="name count per price cost hours labour_cost says",
            keep=lambda frame: frame.loc[
                frame[["cost", "hours", "labour_cost"]].notna().any(axis=1)
            ],
        ),
    ),
    columns=(
        text("item", "The quantity's key; the last row is total"),
        text("name", "What it is, in words", heading="what"),
        number(
            "count",
            "What is priced: packs, or the amount if it is not sold in packs",
            "How many",
            heading="count",
        ),
        text("per", "What one of them is: plant, bag, m3, …", "For each", heading="of"),
        money("price", "Price of one, in the user's currency; empty if none was given"),
        money("cost", "Price times count; empty without a price"),
        number(
            "hours_each",
            "Hours for one, by the user's rate; empty if none was given",
            "Hours for one",
        ),
        number("hours", "Hours of work", "Hours of work", heading="hours"),
        money("labour_cost", "Hours times the price of an hour", heading="labour"),
        sentence("says", "What is missing, in words", "In words", heading="note"),
    ),
)


ALTERNATIVES = Contract(
    "alternatives",
    (),
    "One alternative, run through the same steps",
    key="alternative",
    optional="plants to_order cost plant_cost year_closed year_closed_low year_closed_high views_open views_close views_close_year",
    report=(
        Shown(
            "cost",
            50,
            title="Alternatives",
            columns="alternative species stock stock_height_m spacing_m rows plants to_order cost year_closed views_open views_close views_close_year says",
        ),
    ),
    columns=(
        integer("alternative", "Number; 1 is the plan itself", heading="no."),
        KINDS,
        words("stock", "Kind of stock", "Kind of stock", heading="stock"),
        metres(
            "stock_height_m", "Height when planted", "Height when planted", heading="planted at"
        ),
        metres("spacing_m", "Distance between plants in a row"),
        integer("rows", "Rows"),
        integer(
            "plants",
            "Plants to set; empty if it cannot be planted",
            "Plants that are set",
            heading="plants",
        ),
        integer("to_order", "Plants to order, losses allowed for"),
        money(
            "cost",
            "What all material costs; empty if a price is missing",
            "Cost of all material",
            heading="material",
        ),
        number("plant_cost", "What the plants cost; empty without their price"),
        year(
            "year_closed",
            "First year in which every row is closed to the asked height, typical growth; empty if not in the years looked at",
            heading="rows closed in year",
        ),
        year("year_closed_low", "The same, low growth", "Year closed, low growth"),
        year("year_closed_high", "The same, high growth", "Year closed, high growth"),
        integer(
            "views_open",
            "Views that are open on the day of planting",
            "Views open at planting",
            heading="views open now",
        ),
        integer(
            "views_close",
            "How many of them the row closes in the years looked at, typical growth",
            "Views that close",
            heading="of them close",
        ),
        year(
            "views_close_year",
            "Year in which the last of these closes, typical growth; empty if none does",
            "Year the last view closes",
            heading="the last in year",
        ),
        sentence("says", "Why it cannot be planted, or what to know", "In words", heading="note"),
    ),
)
