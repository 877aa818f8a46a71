"""Fence, quantities, calendar, cost and alternatives."""

from __future__ import annotations

from screenplan.contracts.model import Column, Contract

_PART = Column("part_id", "text", "Its identifier", required=True)
_FENCE = Column("fence_id", "text", "The fence or cage to which it belongs", required=True)
_STATION = Column(
    "station_m",
    "number",
    "Running distance along the fence from its first post; empty for cages",
    unit="m",
)
_HEIGHT = Column(
    "height_m", "number", "Height of the fence above the ground", unit="m", required=True
)
_CAGED = Column("plant_id", "integer", "The plant inside a cage")

FENCE_POSTS = Contract(
    "fence_posts",
    ("Point",),
    "A post of the fence",
    key="part_id",
    columns=(
        _PART,
        _FENCE,
        Column(
            "role",
            "text",
            "line, corner, end, gate, brace (a line post with a brace assembly), cage",
            required=True,
            choices=("line", "corner", "end", "gate", "brace", "cage"),
        ),
        _STATION,
        _HEIGHT,
        Column("braces", "integer", "Brace assemblies at the post"),
        _CAGED,
        Column("says", "text", "What to watch at this post"),
    ),
)


FENCE_WIRES = Contract(
    "fence_wires",
    ("LineString",),
    "A run of the fence's wire, or a gate",
    key="part_id",
    columns=(
        _PART,
        _FENCE,
        Column(
            "role",
            "text",
            "wire, gate, or cage (the wire of one)",
            required=True,
            choices=("wire", "gate", "cage"),
        ),
        _STATION,
        Column(
            "length_m",
            "number",
            "Level length of the run or gate, of a cage with its overlap",
            unit="m",
            required=True,
        ),
        _HEIGHT,
        _CAGED,
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


QUANTITIES = Contract(
    "quantities",
    (),
    "One thing to order, to dig, to haul or to pour",
    key="item",
    columns=(
        Column(
            "item",
            "text",
            "Its key, as the plan's [prices] and [hours] name it; where plants are of several kinds, with the species after it",
            required=True,
        ),
        Column(
            "part",
            "text",
            "Part of the work",
            required=True,
            choices=("plants", "stake-out", "ground", "holes", "mulch", "water", "fence"),
        ),
        Column(
            "name",
            "text",
            "What it is, in words; plants by their common and Latin names",
            required=True,
        ),
        Column("species", "text", "Of plants: their key in the species table"),
        Column("plant_name", "text", "Of plants: common and Latin name"),
        Column("stock", "text", "Of plants: kind of stock"),
        Column("stock_height_m", "number", "Of plants: height when planted", unit="m"),
        Column("plants", "integer", "Of plants: how many are set; more are ordered, for losses"),
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
        Column(
            "species",
            "text",
            "Key in the species table; of a mixed row all its keys, parted by commas",
            required=True,
        ),
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
        Column("views_open", "integer", "Views that are open on the day of planting"),
        Column(
            "views_close",
            "integer",
            "How many of them the row closes in the years looked at, typical growth",
        ),
        Column(
            "views_close_year",
            "integer",
            "Year in which the last of these closes, typical growth; empty if none does",
            unit="year",
        ),
        Column("says", "text", "Why it cannot be planted, or what to know", required=True),
    ),
)
