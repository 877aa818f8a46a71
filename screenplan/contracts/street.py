"""What a street gives besides what one lot gives: whose a row is, who plants what is shared, what each lot pays."""

from __future__ import annotations

from screenplan.contracts.columns import (
    integer,
    metres,
    money,
    number,
    sentence,
    share,
    text,
    words,
)
from screenplan.contracts.model import Contract
from screenplan.contracts.presentation import MAY_STAND, PLAN, Place, Shown

#: The column of a street's windows, while it is planned, that holds as tuples the lots onto which each looks.
LOOKS_ONTO = "looks_onto"

SHARED_BOUNDARIES = Contract(
    "shared_boundaries",
    ("LineString",),
    "A stretch of the boundary between two lots that are planned together: it is planted once, and by whom",
    key="boundary_id",
    title="Shared boundaries",
    optional="planted_by",
    place=Place("Planting", 25, (PLAN, MAY_STAND)),
    report=(
        Shown(
            "setting",
            1,
            title="Boundaries that two lots share",
            columns="boundary_id lots planted_by length_m row_m plants says",
            whole=True,
        ),
    ),
    columns=(
        text("boundary_id", "Its identifier", "Boundary", heading="no."),
        text("lots", "The two lots", heading="between"),
        text(
            "planted_by",
            "The lot on whose ground its row stands; empty if nothing is planted along it",
            "Planted by lot",
            heading="planted by",
        ),
        words(
            "settled",
            "How that was settled: by agreement, half by half, by one lot because there is nothing to halve, by the order of the lots, or not at all because nobody looks across",
            "How it is settled",
            choices=("agreed", "half", "whole", "first", "not needed"),
        ),
        metres("length_m", "Level length", heading="length", low=0.0),
        metres("row_m", "Level length of its row, without gaps in which no plant may stand", "Length of its row", heading="row", low=0.0),
        integer("plants", "New plants of the row along it", heading="plants", low=0),
        sentence("says", "The same in words", "In words", heading="note"),
    ),
)  # fmt: skip


LOT_COSTS = Contract(
    "lot_costs",
    (),
    "What falls to one lot of a street: its plants, and its share of the order and of the work",
    key="lot",
    title="Costs by lot",
    optional="cost hours labour_cost cost_share says",
    report=(
        Shown(
            "cost",
            30,
            title="What falls to each lot",
            columns="lot plants row_m cost_share cost hours labour_cost says",
            whole=True,
        ),
    ),
    columns=(
        text("lot", "The lot; the last row is total", heading="lot"),
        integer("plants", "New plants on it", heading="plants", low=0),
        metres("row_m", "Level length of its rows, gaps included", "Length of its rows", heading="rows", low=0.0),
        share("cost_share", "Its share of the material's cost; without prices empty", "Share of the cost", heading="share"),
        money("cost", "Its part of the material's cost, in the user's currency", "Cost of its material", heading="material"),
        number("hours", "Its part of the hours", "Hours of work", heading="hours"),
        money("labour_cost", "Its part of the labour's cost", "Cost of its labour", heading="labour"),
        sentence("says", "How it is shared out", "In words", heading="note"),
    ),
)  # fmt: skip
