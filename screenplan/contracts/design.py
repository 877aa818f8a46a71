"""What a design has chosen, what is proven of it, and why views stay open."""

from __future__ import annotations

from screenplan.contracts.columns import (
    boolean,
    integer,
    money,
    number,
    sentence,
    share,
    text,
    year,
)
from screenplan.contracts.model import Contract
from screenplan.contracts.presentation import Shown

#: Why a view stays open, from what can be mended least to what can be mended most.
CAUSES = (
    "wall at the boundary",
    "higher than a screen",
    "no ground to plant",
    "too early",
    "limits",
    "price",
    "not asked",
)

DESIGN = Contract(
    "design",
    (),
    "What the design has chosen, what it costs, and what is proven of it",
    key="",
    optional="cost least_cost gap_share free",
    report=(
        Shown(
            "growth",
            1,
            title="The design",
            columns="year views_open views_closed plants runs kinds cost least_cost gap_share",
            lead="Chosen among the candidates by an integer programme.",
            notes=("says", "free", "proof"),
        ),
    ),
    columns=(
        year("year", "Year by which views are closed, typical growth", heading="by year"),
        integer("views_open", "Views that are open today", "Views open today", heading="open today"),
        integer("views_closed", "Views that the planting closes by then", "Views closed by then", heading="closed"),
        share("closed_share", "Share of their weight that it closes"),
        integer("candidates", "Plants among which it was chosen"),
        integer("rays", "Rays that were looked at"),
        integer("plants", "Plants that are set"),
        integer("runs", "Runs of plants"),
        text("kinds", "Species that are planted, by key, parted by commas", form="species"),
        boolean("priced", "True if the cost is money; else plants are weighted by their size"),
        money("cost", "What the plants cost, in the user's currency, or their weight"),
        money(
            "least_cost",
            "No planting of these candidates that closes as much costs less",
            "Least possible cost",
            heading="none costs less than",
        ),
        share("gap_share", "Share of the cost that might be saved by that bound", "Gap", heading="gap"),
        text("made_by", "What found it", choices=("programme", "parts", "greedy")),
        boolean("in_time", "True if the solver came to its end"),
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
    optional="cause says closed_in",
    report=(
        Shown(
            "growth",
            2,
            title="Views that stay open after the design, and why",
            columns="view_id weight open_share best_share cause says",
            keep=lambda frame: frame.loc[~frame["closed"].astype(bool)],
        ),
    ),
    columns=(
        text("view_id", "The view", "View", form="view"),
        number("weight", "How much it matters", low=0.0),
        boolean("closed", "True if it is closed by the year and stays so", "Closed"),
        year("closed_in", "Year from which it stays closed, typical growth", "Closed in year"),
        share("open_share", "Share that is open in the year", "Still open", heading="still open"),
        share(
            "best_share",
            "Share that would be open if every candidate stood at a time, which has no room",
            "Open at best",
            heading="open at best",
        ),
        text("cause", "Why it stays open", "Cause", choices=CAUSES),
        sentence("says", "The cause in words", "In words"),
    ),
)
