"""What a design has chosen, what is proven of it, and why views stay open."""

from __future__ import annotations

from screenplan.contracts.columns import (
    boolean,
    integer,
    metres,
    money,
    number,
    sentence,
    share,
    text,
    year,
)
from screenplan.contracts.model import Contract
from screenplan.contracts.presentation import Place, Shown

#: Why a view stays open, from what can be mended least to what can be mended most.
CAUSES = (
    "wall at the boundary",
    "higher than a screen",
    "no ground to plant",
    "too early",
    "bare in winter",
    "chance",
    "limits",
    "price",
    "not asked",
)

DESIGN = Contract(
    "design",
    (),
    "What the design has chosen, what it costs, and what is proven of it",
    optional="cost least_cost gap_share free chance_asked views_sure sure_share draws made_by in_time",
    report=(
        Shown(
            "growth",
            1,
            title="The design",
            columns="year views_open views_closed views_sure chance_asked plants runs kinds cost typical_cost least_cost gap_share",
            lead="Chosen among the candidates by an integer programme.",
            notes=("says", "free", "proof"),
        ),
    ),
    columns=(
        year("year", "Year by which views are closed", heading="by year"),
        integer("views_open", "Views that are open today", "Views open today", heading="open today"),
        integer("views_closed", "Views that the planting closes by then, typical growth", "Views closed by then", heading="closed"),
        share("closed_share", "Share of their weight that it closes, typical growth"),
        share("chance_asked", "Share of the draws in which a view should be closed; empty if it was planned by typical growth alone", "Chance asked for", heading="chance asked for"),
        integer("views_sure", "Views that are closed by then in that share of fresh draws", "Views as sure as asked", heading="as sure as asked"),
        share("sure_share", "Share of the weight that these are"),
        integer("draws", "Draws by which that was measured, with other numbers than those that chose"),
        integer("candidates", "Plants among which it was chosen"),
        integer("rays", "Rays that were looked at"),
        integer("plants", "Plants that are set"),
        integer("runs", "Runs of plants"),
        text("kinds", "Species that are planted, by key, parted by commas", form="species"),
        boolean("priced", "True if the cost is money; else plants are weighted by their size"),
        money("cost", "What the plants cost, in the user's currency, or their weight"),
        integer("typical_plants", "Plants that are enough at typical growth"),
        money("typical_cost", "What these cost: the rest is the price of the chance", "Cost at typical growth", heading="enough at typical growth"),
        money(
            "least_cost",
            "No planting of these candidates that closes as much at typical growth costs less",
            "Least possible cost",
            heading="none costs less than",
        ),
        share("gap_share", "Share of the cost at typical growth that might be saved by that bound", "Gap", heading="gap"),
        text("made_by", "What found it", choices=("programme", "parts", "greedy")),
        boolean("in_time", "True if the solver came to its end; empty, as what found it, where nothing is planted"),
        sentence("says", "The result in words", "In words"),
        sentence("proof", "What exactly is proven", "What is proven"),
        sentence(
            "free",
            "What a design would save or close that is free of what [rows] and [plants] name",
            "Without what the plan names",
        ),
    ),
)  # fmt: skip

DESIGN_VIEWS = Contract(
    "design_views",
    (),
    "One view that is open today, whether the design closes it, and if not, why",
    key="view_id",
    optional="cause says closed_in chance best_share",
    report=(
        Shown(
            "growth",
            2,
            title="Views that stay open after the design, or are less sure than asked, and why",
            columns="view_id weight open_share best_share chance cause says",
            keep=lambda frame: frame.loc[frame["cause"].notna()],
        ),
    ),
    columns=(
        text("view_id", "The view", "View", form="view"),
        number("weight", "How much it matters", low=0.0),
        boolean("closed", "True if it is closed by the year and stays so", "Closed"),
        year("closed_in", "Year from which it stays closed, typical growth", "Closed in year"),
        share(
            "chance",
            "Share of fresh draws in which it is closed by the year and stays so; empty if none were made",
            "Chance",
        ),
        share(
            "open_share",
            "Share that is open in the year, typical growth",
            "Still open",
            heading="still open",
        ),
        share(
            "best_share",
            "Share that would be open if every candidate stood at a time, which has no room; empty where nothing is planted",
            "Open at best",
            heading="open at best",
        ),
        text("cause", "Why it stays open, or is less sure than asked", "Cause", choices=CAUSES),
        sentence("says", "The cause in words", "In words"),
    ),
)

CHOICES = Contract(
    "choices",
    (),
    "A planting that may be chosen: what it costs, what it closes, and how surely",
    key="choice",
    optional="chance_asked gap_share",
    report=(
        Shown(
            "choices",
            3,
            title="The choice: what sooner, surer and cheaper cost",
            columns="name year chance_asked plants cost views_closed views_sure mean_chance",
        ),
    ),
    columns=(
        text("choice", "Name of the choice, for the layers choice_plants and choice_views", "Key of the choice"),
        text("name", "What people call it", "Choice"),
        boolean("chosen", "True for the one that is planted: what the plan asks for", "Chosen"),
        year("year", "Year by which views are closed", heading="by year"),
        share("chance_asked", "Share of the draws in which a view should be closed; empty if it is planned by typical growth alone", "Chance asked for", heading="chance asked for"),
        integer("plants", "Plants that are set"),
        boolean("priced", "True if the cost is money; else plants are weighted by their size"),
        money("cost", "What the plants cost, in the user's currency, or their weight"),
        integer("views_open", "Views that are open today", "Views open today", heading="open today"),
        integer("views_closed", "Views that it closes by then, typical growth", "Views closed by then", heading="closed"),
        integer("views_sure", "Views that are closed by then in the share of fresh draws that the plan asks for", "Views as sure as the plan asks", heading="as sure as the plan asks"),
        share("closed_share", "Share of the views' weight that it closes, typical growth"),
        share("mean_chance", "Mean of the views' chances by their weights, of fresh draws", "Mean chance", heading="mean chance"),
        share("gap_share", "Share of the cost at typical growth that might be saved by the bound", "Gap", heading="gap"),
        sentence("says", "What it costs and brings beside the chosen one", "In words"),
        text("command", "What plans it in full; PLAN stands for the plan file", "Command"),
    ),
)  # fmt: skip

CHOICE_PLANTS = Contract(
    "choice_plants",
    ("Point",),
    "A plant of a planting that may be chosen",
    key="choice_plant_id",
    title="Plants of the choices",
    place=Place("Planting", 50),
    columns=(
        text("choice_plant_id", "The choice and the plant"),
        text("choice", "The choice, as in the table choices"),
        integer("plant_id", "Number of the plant in its planting", "Plant"),
        text("species", "Key in the species table", form="species"),
        metres("stock_m", "Height when planted", "Height when planted"),
        text("line_id", "The planting line", "Planting line"),
        metres(
            "spread",
            "How wide its crown is in that year, typical growth; of a clipped hedge across the row",
            "Width of the crown",
            per_year=True,
        ),
    ),
)

CHOICE_VIEWS = Contract(
    "choice_views",
    (),
    "One view that is open today, in a planting that may be chosen",
    key="choice_view_id",
    optional="closed_in year_closed_p10 year_closed_p50 year_closed_p90",
    columns=(
        text("choice_view_id", "The choice and the view"),
        text("choice", "The choice, as in the table choices"),
        text("view_id", "The view", "View"),
        boolean("closed", "True if it is closed by the choice's year and stays so, typical growth", "Closed"),
        year("closed_in", "Year from which it stays closed, typical growth", "Closed in year"),
        share("chance", "Share of fresh draws in which it is closed by the choice's year", "Chance"),
        year("year_closed_p10", "Year by which it is closed in 1 of 10 draws; empty if not in the years looked at"),
        year("year_closed_p50", "The same, in half of the draws"),
        year("year_closed_p90", "The same, in 9 of 10 draws"),
    ),
)  # fmt: skip
