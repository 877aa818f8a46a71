"""Plants that were measured on the site, and what they change."""

from __future__ import annotations

from screenplan.contracts.columns import (
    boolean,
    integer,
    metres,
    number,
    sentence,
    share,
    text,
    year,
)
from screenplan.contracts.model import Contract
from screenplan.contracts.presentation import Shown

MEASURED_PLANTS = Contract(
    "measured_plants",
    (),
    "A plant of your own, or of a neighbour's row, that was measured some years after planting and is not clipped",
    key="measurement_id",
    optional="measurement_id tag_id species age_years planted_year measured_year height_m width_m stock_height_m lost line_id station_m",
    columns=(
        text("measurement_id", "Its identifier; by default its row number", "Measurement"),
        text(
            "tag_id",
            "The plant's tag, the same in each of its measurements, of which the last counts; by default each row is another plant",
            "Tag of the plant",
            usual=("tag", "plant id", "tree id", "plant no", "tree no"),
        ),
        text(
            "species",
            "Key in the species table, or its Latin or common name",
            expected=True,
            usual=(
                "latin name", "botanical name", "scientific name", "latin", "common name", "plant name",
                "kind", "name", "plant", "tree",
            ),
        ),
        number(
            "age_years",
            "Years from planting to measuring, above 0; or give planted_year and measured_year",
            "Years since planting",
            usual=("age", "age in years", "years since planting", "years old", "age yrs", "years"),
        ),
        integer(
            "planted_year",
            "Calendar year in which it was planted",
            usual=("year planted", "planting year", "year of planting", "planted in", "planted"),
        ),
        integer(
            "measured_year",
            "Calendar year in which it was measured",
            usual=("year measured", "measuring year", "year of measuring", "measured in", "measured"),
        ),
        metres("height_m", "Height when measured; rows without a height, a width and an age are passed over", "Height", expected=True, usual=("ht", "tall", "plant height", "tree height")),
        metres(
            "width_m",
            "Width of its crown when measured, square to its row",
            "Width",
            usual=("spread", "crown width", "crown spread", "crown diameter", "wide"),
        ),
        metres(
            "stock_height_m",
            "Height when it was planted; by default that of the species, which makes a young plant say less",
            "Height when planted",
            usual=("height when planted", "height at planting", "planted height", "planting height"),
        ),
        boolean(
            "lost",
            "True if it has died: a plant of the plan, whose number stands in tag_id",
            default=False,
            usual=("dead", "died", "has died", "is dead"),
        ),
        text("line_id", "The planting line of a plant that is lost; by default it is not compared", "Planting line"),
        metres("station_m", "Its running distance along that line; by default it is not compared", "Station"),
    ),
)  # fmt: skip


LOST_PLANTS = Contract(
    "lost_plants",
    (),
    "A plant of the plan that has died, to be ordered and planted again",
    key="plant_id",
    report=(Shown("growth", 7, title="What was lost"),),
    columns=(
        integer("plant_id", "Number of the plant, as its stake has it", "Number", heading="no."),
        text("line_id", "The planting line on which it stood", "Planting line", heading="row"),
        metres("station_m", "Running distance along the line from its zero peg, level", "Station"),
        text("species", "Key in the species table", heading="plant", form="species"),
        text("stock", "Kind of stock, the same as it was"),
        metres("stock_height_m", "Height when planted", "Height when planted"),
        year("found", "Year since planting in which it was found dead", "Found dead in year"),
    ),
)  # fmt: skip


_FACTOR = "natural scale; 1 is as it grows without own plants"

OWN_GROWTH = Contract(
    "own_growth",
    (),
    "What plants that were measured on the site change in the growth of one kind",
    key="species",
    optional="youngest_years oldest_years",
    columns=(
        text("species", "Key in the species table", form="species"),
        integer("plants", "Plants of this kind that count", low=0),
        integer("relatives", "Plants of other kinds of its type of leaf that count", low=0),
        number("youngest_years", "Age of the youngest of this kind", "Youngest, years"),
        number("oldest_years", "Age of the oldest of this kind", "Oldest, years"),
        number(
            "factor", f"Factor by which the typical curve of the height is taller; {_FACTOR}",
            low=0.0, heading="height, the table's is 100%", form="share",
        ),
        share("weight", "How far the estimate was drawn from what was known to the plants of this kind"),
        integer("widths", "Plants of this kind whose width counts", low=0),
        number(
            "width_factor", f"Factor of the width at a height; {_FACTOR}",
            low=0.0, heading="width, the table's is 100%", form="share",
        ),
        metres("height_low_m", "Height ten years after planting, low growth"),
        metres("height_m", "The same, typical growth"),
        metres("height_high_m", "The same, high growth"),
        metres("usual_low_m", "Height ten years after planting without own plants, low growth"),
        metres("usual_m", "The same, typical growth"),
        metres("usual_high_m", "The same, high growth"),
        metres("width_m", "Width ten years after planting, typical growth"),
        metres("usual_width_m", "The same without own plants"),
        sentence("says", "The same in words", "What your own plants change"),
    ),
    report=(
        Shown(
            "growth", 5,
            title="What your own plants change",
            columns="species plants relatives factor weight widths width_factor says",
        ),
    ),
)  # fmt: skip


OWN_YEARS = Contract(
    "own_years",
    (),
    "A view or a row of which the year of closing was worked out twice: by own plants and without them",
    key="closes_id",
    optional="year_low year year_high usual_low usual usual_high",
    columns=(
        text("kind", "view or row", "What closes", choices=("view", "row")),
        text("closes_id", "Its identifier", "View or row", form="view"),
        year("year_low", "Year of closing by own plants, low growth; empty if not in the years looked at", "By own plants, low growth"),
        year("year", "The same, typical growth", "By own plants"),
        year("year_high", "The same, high growth", "By own plants, high growth"),
        year("usual_low", "Year of closing without own plants, low growth; empty if not in the years looked at", "Without them, low growth"),
        year("usual", "The same, typical growth", "Without them"),
        year("usual_high", "The same, high growth", "Without them, high growth"),
        sentence("says", "Both with their ranges", "When it closes"),
    ),
    report=(
        Shown(
            "growth", 6,
            title="The years of closing with and without your own plants",
            columns="kind closes_id says",
        ),
    ),
)  # fmt: skip
