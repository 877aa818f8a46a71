"""The page of the report's words: each table and each heading, what it means, and where more stands."""

from __future__ import annotations

from collections.abc import Iterator

from docs.generate.markdown import code, link, page, plain, section
from screenplan.contracts import OUTPUTS, Column, Contract
from screenplan.contracts.presentation import Shown

#: Which page of the method tells of the model behind a layer.
METHOD = {
    "no_plant_zones": "where", "plantable_zone": "where", "planting_lines": "where", "dropped_stations": "where",
    "plants": "where", "closure": "crowns", "needed_years": "crowns", "crowns": "crowns", "own_growth": "chance",
    "own_years": "chance", "views": "sight", "view_years": "sight", "view_holes": "sight", "needed_height": "sight",
    "missing_plants": "sight", "design": "design", "design_views": "design", "choices": "design",
    "choice_plants": "design", "choice_views": "design", "light": "light", "hedge_heights": "light",
    "sight_areas": "roads", "sight_plants": "roads", "pegs": "tape", "base_lines": "tape", "stakes": "tape",
    "stake_checks": "tape", "tape_points": "tape", "quantities": "water", "schedule": "water", "cost": "cost",
    "alternatives": "cost", "plants_in_hand": "cost", "lot_costs": "cost", "instead": "cost", "shared_boundaries": "where",
    "year_costs": "cost", "water_by_month": "water", "drip_lines": "water",
}  # fmt: skip

_INTRO = """\
What stands over the tables of the work sheet, `report.html`. On screen the meaning of a heading also shows when you
point at it. The sheet opens without a network, so it links to nothing; the words are the same here."""


def words_page() -> str:
    """Write the page."""
    parts = [
        (contract, shown)
        for contract in OUTPUTS.values()
        for shown in contract.report
        if _headings(contract, shown)
    ]
    return page(
        "Words of the report",
        "words",
        _INTRO,
        *(
            part
            for contract, shown in sorted(parts, key=_place)
            for part in _table(contract, shown)
        ),
    )


def _place(part: tuple[Contract, Shown]) -> tuple[str, int]:
    """Sort by the caption: people look a word up, and do not read on."""
    return _title(*part).lower(), part[1].order


def _title(contract: Contract, shown: Shown) -> str:
    return shown.title or contract.title


def _table(contract: Contract, shown: Shown) -> Iterator[str]:
    key = shown.key or contract.name.replace("_", "-")
    yield section(plain(_title(contract, shown)), 2, f"word-{shown.part}-{key}")
    more = [f"layer {link(code(contract.name), f'out-{contract.name}')}"]
    if contract.name in METHOD:
        more.append(f"[how it is worked out](#method-{METHOD[contract.name]})")
    yield f"A row is {plain(contract.meaning[0].lower() + contract.meaning[1:])}: {', '.join(more)}."
    yield "\n".join(
        f"{plain(heading)}\n: {plain(column.meaning)}\n"
        for heading, column in _headings(contract, shown)
    )


def _headings(contract: Contract, shown: Shown) -> list[tuple[str, Column]]:
    named = shown.columns.split() or [
        column.name for column in contract.columns if not column.per_year
    ]
    found = []
    for name in named:
        try:
            column = contract.column(name)
        except KeyError:
            continue
        found.append((shown.headings.get(name, column.heading), column))
    return found
