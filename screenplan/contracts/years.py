"""The work by year: hours, water and money, and the plants that are measured each year."""

from __future__ import annotations

from screenplan.contracts.columns import boolean, date, integer, metres, money, number, text
from screenplan.contracts.model import Contract
from screenplan.contracts.presentation import PLAN, Place, Shown

YEAR_COSTS = Contract(
    "year_costs",
    (),
    "One year: how many tasks, hours, rounds of water and how much money",
    key="year",
    title="Work and money by year",
    optional="first_date last_date hours material labour_cost",
    report=(
        Shown(
            "cost",
            45,
            title="Work and money by year",
            columns="name first_date tasks hours rounds water_l material labour_cost",
            lead="Water and the hours to pour it are at most, if no rain falls, or less the rain of your normals. The file years.html has a page for each year.",
            keep=lambda frame: frame.loc[(frame["tasks"] > 0).to_numpy(bool)],
        ),
    ),
    columns=(
        integer("year", "Years since planting when it begins; -1 is all time before planting"),
        text("name", "What it is called", heading="year"),
        date("first_date", "Its first day; empty without a planting date", heading="from"),
        date("last_date", "Its last day"),
        integer("tasks", "Tasks that fall due in it", low=0),
        number(
            "hours",
            "Hours of one person for those tasks whose rate is known, those to pour the water with one hose too; empty if none is",
            "Hours of work",
            heading="hours",
            form="hours",
            low=0.0,
        ),
        integer("rounds", "Rounds of watering", low=0, heading="rounds of water"),
        number("water_l", "Water in litres: at most, if no rain falls, or less the rain of your normals", "Water, l", low=0.0, heading="water, l", form="hours"),
        money("material", "What is bought for its tasks, by your prices; empty without a price"),
        money("labour_cost", "Hours times your price of an hour; empty without one", heading="labour"),
    ),
)  # fmt: skip


TO_MEASURE = Contract(
    "to_measure",
    ("Point",),
    "A plant that is measured each year, to be filled in and read again as the layer measured_plants",
    key="plant_id",
    title="Plants to measure each year",
    optional="planted_year measured_year height_m width_m lost",
    place=Place("Planting", 15, (PLAN,)),
    columns=(
        integer("plant_id", "Number of the plant, as its stake has it", "Number"),
        text("line_id", "The planting line on which it stands", "Planting line", heading="row"),
        metres("station_m", "Running distance along the line from its zero peg, level", "Station"),
        text("species", "Key in the species table", heading="plant", form="species"),
        metres("stock_height_m", "Height when planted", "Height when planted"),
        integer("planted_year", "Calendar year in which it was planted; empty without a planting date"),
        integer("measured_year", "Calendar year in which it was measured: yours to fill in"),
        metres("height_m", "Height when measured: yours to fill in", "Height when measured"),
        metres("width_m", "Width of its crown, square to its row: yours to fill in", "Width when measured"),
        boolean("lost", "True if it has died: yours to fill in"),
    ),
)  # fmt: skip
