"""The water of new plants: month by month, and the rows for a drip line."""

from __future__ import annotations

from screenplan.contracts.columns import date, integer, metres, number, sentence, tape, text
from screenplan.contracts.model import Contract
from screenplan.contracts.presentation import STAKE_OUT, Place, Shown

WATER_BY_MONTH = Contract(
    "water_by_month",
    (),
    "What new plants need in a month, what rain brings of it, and what is poured",
    report=(
        Shown(
            "water", 30, title="Water by month",
            columns="name need_l rain_l water_l rounds hours says",
            lead="By the normals of your months. Rain does not fall evenly: feel the soil before each round.",
        ),
    ),
    columns=(
        integer("year", "Years since planting; a month in which a year ends has a row for each"),
        integer("month", "The month, 1 to 12", low=1, high=12),
        text("name", "The month with its year, and the stage of watering", heading="month"),
        text(
            "item", "The stage, as the table of quantities names it", "Stage of watering",
            choices=("water_daily", "water_often", "water_weekly", "water_later"),
        ),
        integer("first_day", "Day of its first round, counted from planting (day 0)"),
        date("first_date", "Date of that day"),
        integer("every_days", "Days from one round to the next", low=1),
        number("need_l", "What the plants need, litres: less in cool months after the first two weeks if temperatures are given, and none in frozen ones", "Need", heading="need", form="amount", low=0.0),
        number("rain_l", "What rain brings of it, litres", "Rain", heading="by rain", form="amount", low=0.0),
        number("water_l", "What is poured, litres: the need less the rain", "Water", heading="to pour", form="amount", low=0.0),
        text("unit", "Unit of the amounts; sheets turn it into the user's", choices=("l",)),
        integer("rounds", "Rounds of watering", low=0),
        number("hours", "Hours of one person, by your rate for one litre of water_round or a usual one", "Hours of work", heading="hours", form="hours", low=0.0),
        sentence("says", "Why nothing is poured, or how much is", "In words", heading="note"),
        sentence("source", "Where the figures come from"),
    ),
)  # fmt: skip


_LEVEL = "Height of the ground, as the terrain has it; empty without one"

DRIP_LINES = Contract(
    "drip_lines",
    ("LineString",),
    "The way of a drip line along a row, from its first new plant to its last",
    key="line_id",
    optional="first_level_m last_level_m rise_m lowest_level_m highest_level_m",
    place=Place("Stake-out", 65, (STAKE_OUT,)),
    report=(
        Shown(
            "water", 40, title="Rows for a drip line", whole=True,
            columns="line_id length_m slope_m plants emitters spacing_m widest_m rise_m lowest_level_m highest_level_m",
            lead="Emitters stand at the plants. Flow and pressure are those of your line: ask who sells it.",
        ),
    ),
    columns=(
        text("line_id", "The planting line", "Planting line", heading="row"),
        tape("length_m", "Level length from the first plant to the last, plant by plant", heading="level"),
        tape(
            "slope_m", "The same along the ground", "Length on the ground", heading="along the ground",
            same_as="length_m",
        ),
        integer("plants", "New plants along it", low=2),
        integer("emitters", "Emitters of all plants", low=2),
        metres("spacing_m", "Median distance of the plants: that of the emitters", "Spacing", heading="apart"),
        metres("widest_m", "Widest distance of two plants", "Widest gap", heading="at most apart"),
        metres("first_level_m", f"At the first plant. {_LEVEL}", "Level of the first plant"),
        metres("last_level_m", f"At the last plant. {_LEVEL}", "Level of the last plant"),
        metres("rise_m", "Rise from the first plant to the last; a fall is negative", "Rise", heading="rise"),
        metres("lowest_level_m", f"At the lowest plant. {_LEVEL}", "Lowest level", heading="lowest"),
        metres("highest_level_m", f"At the highest plant. {_LEVEL}", "Highest level", heading="highest"),
    ),
)  # fmt: skip
