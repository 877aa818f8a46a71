"""The water of new plants, month by month."""

from __future__ import annotations

from screenplan.contracts.columns import date, integer, number, sentence, text
from screenplan.contracts.model import Contract
from screenplan.contracts.presentation import Shown

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
        number("need_l", "What the plants need, litres; none while the ground is frozen", "Need", heading="need", form="amount", low=0.0),
        number("rain_l", "What rain brings of it, litres", "Rain", heading="by rain", form="amount", low=0.0),
        number("water_l", "What is poured, litres: the need less the rain", "Water", heading="to pour", form="amount", low=0.0),
        text("unit", "Unit of the amounts; sheets turn it into the user's", choices=("l",)),
        integer("rounds", "Rounds of watering", low=0),
        number("hours", "Hours of one person, by your rate for one litre of water_round or a usual one", "Hours of work", heading="hours", form="hours", low=0.0),
        sentence("says", "Why nothing is poured, or how much is", "In words", heading="note"),
        sentence("source", "Where the figures come from"),
    ),
)  # fmt: skip
