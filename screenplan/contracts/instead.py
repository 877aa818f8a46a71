"""What is compared with planting."""

from __future__ import annotations

from screenplan.contracts.columns import integer, metres, money, number, sentence, text, year
from screenplan.contracts.model import Contract
from screenplan.contracts.presentation import PLAN, STAKE_OUT, Place, Shown

#: What a note says of a fence that would close most views, which is worth the first screen.
CLOSES_MOST = "closes most open views"

INSTEAD = Contract(
    "instead",
    (),
    "One thing that is compared with planting, alone and with the plants of the plan behind it",
    key="option",
    optional="height_m length_m area_m2 shut_out needed_m kind kinds cost cost_both says",
    report=(
        Shown(
            "cost",
            60,
            title="A fence, wall, trellis, awning or another place, beside the plants",
            columns="option height_m open_first shut_out open_later needed_m kind kinds cost cost_both says",
            lead="The same views with each, on the first day and with the plants of this plan beside it.",
            whole=True,
        ),
    ),
    columns=(
        text(
            "option",
            "nothing, fence, wall, trellis, awning or place_moved",
            "What is compared",
            heading="what",
            choices=("nothing", "fence", "wall", "trellis", "awning", "place_moved"),
            form="words",
        ),
        metres("height_m", "Its greatest height above the ground", "Height", low=0.0, heading="up to"),
        metres("length_m", "Length of the fence, wall or trellis", "Length", low=0.0),
        number("area_m2", "Area of the awning", "Area", unit="m2", low=0.0),
        integer("open_first", "Views that are open on the first day with it alone, without the plants", "Views open on the first day", heading="open on day one"),
        text("shut_out", "Who sees in as things are and no longer does on the first day", "Who is shut out on the first day", heading="shut out"),
        year("year", "Year of the later count"),
        integer("open_later", "Views that are open in that year with it and the plants of the plan, typical growth", "Views open later, with the plants", heading="open later, with plants"),
        metres("needed_m", "Height that plants on the lines of the plan still need; 0 if nothing is left for them", "Height that plants still need", low=0.0, heading="plants need"),
        text("kind", "Key in the species table of the kind that ends lowest of those that reach that height in the years looked at", "Shortest kind that suffices", heading="shortest kind that will do", form="species"),
        integer("kinds", "How many kinds reach it", "Kinds that suffice", heading="kinds that will do"),
        money("cost", "What it costs by your price; empty without one", "Its cost", heading="its cost"),
        money("cost_both", "The same and the plants and goods of the plan; empty if a price is missing", "Cost with the plants", heading="with the plants"),
        sentence("says", "Where it stands, what codes allow, which price is missing, and what to ask first", "In words", heading="note"),
    ),
)  # fmt: skip


INSTEAD_LINES = Contract(
    "instead_lines",
    ("LineString",),
    "A piece of a fence, wall or trellis that is compared with planting, or the outline of an awning; nothing of it is planned",
    key="piece_id",
    optional="side_id length_m area_m2 cost",
    title="Compared with planting",
    place=Place("Planting", 55),
    columns=(
        text("piece_id", "Its name", "Piece"),
        text("option", "fence, wall, trellis or awning", "What is compared", choices=("fence", "wall", "trellis", "awning"), form="words"),
        text("side_id", "The side along which it stands; empty for an awning", "Side"),
        metres("height_m", "Its height above the ground", "Height", low=0.0),
        metres("length_m", "Its length; empty for an awning", "Length", low=0.0),
        number("area_m2", "Area of the awning", "Area", unit="m2", low=0.0),
        integer("closes_first", "Views that are open today and that all pieces of its kind close on the first day, without the plants", "Views closed on the first day"),
        money("cost", "What it costs by your price; empty without one", "Its cost"),
    ),
)  # fmt: skip


NEW_SCREENS = Contract(
    "new_screens",
    ("LineString",),
    "A piece of the fence, wall or trellis that the design chose: it is built before anything is planted",
    key="piece_id",
    title="To build first",
    place=Place("Planting", 54, (PLAN, STAKE_OUT)),
    report=(
        Shown(
            "fence",
            5,
            title="To build first",
            columns="piece_id side_id from_m to_m height_m length_m cost",
            lead="Its pieces along the sides, each side measured from its beginning, anticlockwise round the parcel.",
        ),
    ),
    columns=(
        text("piece_id", "Its name, by which the views name it too", "Piece"),
        text("option", "fence, wall or trellis", "What is built", choices=("fence", "wall", "trellis"), form="words"),
        text("side_id", "The side along which it stands", "Side"),
        metres("from_m", "Where it begins: distance along the side from its first corner, anticlockwise round the parcel", "Begins at", low=0.0, heading="from"),
        metres("to_m", "Where it ends, so measured", "Ends at", low=0.0, heading="to"),
        metres("height_m", "Its height above the ground", "Height", low=0.0),
        metres("length_m", "Its length", "Length", low=0.0),
        money("cost", "What it costs, by the price of a metre in instead.prices", "Its cost"),
        integer("views_open", "Views that are open as things are", "Views open before anything is built"),
        integer("closes_first", "How many of these all pieces close on the first day, without the plants", "Views closed on the first day"),
        sentence("says", "Where all of it stands, what it costs and closes, and what to ask first", "In words"),
    ),
)  # fmt: skip
