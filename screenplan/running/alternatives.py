"""Alternatives side by side: other species, stock, spacings and rows, run through the same steps."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from screenplan.contracts import ALTERNATIVES, GROWTHS
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.kept import Kept
from screenplan.ground.told_years import all_evidence
from screenplan.plan import Plan
from screenplan.plan.works import Alternatives
from screenplan.running.inputs import species_in, step_arguments
from screenplan.running.steps import STEPS

if TYPE_CHECKING:
    import pandas as pd

#: The steps that an alternative runs through, of those in the registry.
NEEDED = (
    "places", "zones", "lines", "room", "stretches", "needed", "plants", "closure", "views", "fence", "stakeout", "quantities", "cost",
)  # fmt: skip
#: More combinations than this are not compared.
MOST = 60


def compare_alternatives(
    plan: Plan, folder: Path, layers: dict[str, Any], terrain=None, frame=None, species_table=None
) -> pd.DataFrame:
    """Run every combination of the plan's [alternatives], the plan itself first.

    Parameters
    ----------
    plan : Plan
    folder : Path
        The folder to which its paths are relative.
    layers : dict
        The layers of the site in the local frame, with sides.
    terrain : Terrain, optional
    frame : LocalFrame, optional
    species_table : mapping, optional
        The species as they grow on the site; by default as they grow without own plants.

    Returns
    -------
    DataFrame
        One row per alternative; one that cannot be planted says why.

    Raises
    ------
    InputError
        If there are more than `MOST` combinations.
    """
    from screenplan.contracts.tables import table_of

    variants = list_variants(plan)
    places = layers.get("private_places")
    if places is not None and places["derived"].astype(bool).any():
        # Each species leaves its own room: the place is derived anew, not cut further.
        layers = {name: layer for name, layer in layers.items() if name != "private_places"}
    kept = Kept()
    records = [
        {
            "alternative": number,
            **_run(variant, folder, dict(layers), terrain, frame, species_table, kept),
        }
        for number, variant in enumerate(variants, 1)
    ]
    return table_of(ALTERNATIVES, records)


def list_variants(plan: Plan) -> list[Plan]:
    """List the plans that are compared, the plan itself first; refused if too many or of no species."""
    from screenplan.planting.mixes import kinds_in

    asked, table = plan.alternatives, species_in(plan)
    for species in asked.species:
        try:
            kinds_in(species, table)
        except InputError as error:
            raise InputError(replace(error.problems[0], key=Alternatives.key("species"))) from None
    own = (
        plan.plants.species, plan.plants.stock, plan.plants.stock_height, plan.rows.spacing,
        plan.rows.rows,
    )  # fmt: skip
    lists = [
        (mine, *(value for value in others if value != mine))
        for mine, others in zip(
            own,
            (asked.species, asked.stock, asked.stock_heights, asked.spacings, asked.rows),
            strict=True,
        )
    ]
    count = 1
    for values in lists:
        count *= len(values)
    if count > MOST:
        raise refuse(
            f"the alternatives make {count} combinations",
            f"List fewer: at most {MOST} are compared",
            key="alternatives",
        )
    return [
        plan.model_copy(
            update={
                "plants": plan.plants.model_copy(
                    update={"species": species, "stock": stock, "stock_height": height}
                ),
                "rows": plan.rows.model_copy(update={"spacing": spacing, "rows": rows}),
            }
        )
        for species, stock, height, spacing, rows in itertools.product(*lists)
    ]


def _run(
    plan: Plan, folder: Path, layers: dict[str, Any], terrain, frame, species_table, kept: Kept
) -> dict[str, Any]:
    from screenplan.planting.mixes import kinds_in, name_kinds, planned_spacing

    height = plan.plants.stock_height
    if height is None:
        # Of a mixed row the tallest: the order list gives the height of each kind.
        kinds = kinds_in(plan.plants.species, species_in(plan))
        height = max(kind.stock_height_m for kind in kinds)
    row = {
        "species": name_kinds(plan.plants.species), "stock": plan.plants.stock,
        "stock_height_m": height,
        "spacing_m": planned_spacing(plan), "rows": plan.rows.rows,
    }  # fmt: skip
    try:
        for name in NEEDED:
            step = STEPS[name]
            layers |= step(
                layers,
                kept=kept,
                **step_arguments(step, plan, folder, terrain, frame, species_table),
            )
    except InputError as error:
        what = error.problems[0].what
        return row | {"says": f"Cannot be planted: {what}"}
    return row | _found(layers)


def _found(layers: dict[str, Any]) -> dict[str, Any]:
    plants, quantities, cost = layers["plants"], layers["quantities"], layers["cost"]
    closure = layers["closure"]
    order = quantities.set_index("item")
    priced = cost.set_index("item")
    ordered = order.index[((order["part"] == "plants") & order["packs"].notna()).to_numpy(bool)]
    bought = order.index[order["packs"].notna().to_numpy(bool)]
    whole = bool(priced.loc[bought, "price"].notna().all())
    years = {}
    for growth in GROWTHS:
        own = closure.loc[closure["growth"] == growth, "year_closed"]
        years[growth] = None if not len(own) or own.isna().any() else int(own.max())
    says = "Every row closes to the asked height" if years["typical"] is not None else (
        "A row does not close to the asked height in the years looked at"
    )  # fmt: skip
    evidence = all_evidence(closure["evidence"])
    if evidence:
        says = f"{says}; growth: {evidence}"
    views = layers["views"]
    closing = views.loc[views["status"] == "closes", "year_closed"].dropna()
    return {
        "plants": int((~plants["existing"].to_numpy(bool)).sum()),
        "to_order": int(order.loc[ordered, "packs"].sum()),
        "cost": float(priced.loc["total", "cost"]) if whole else None,
        "plant_cost": priced.loc[ordered, "cost"].sum(skipna=False),
        "year_closed": years["typical"],
        "year_closed_low": years["low"],
        "year_closed_high": years["high"],
        "views_open": int(views["status"].isin(["closes", "stays open"]).sum()),
        "views_close": len(closing),
        "views_close_year": int(closing.max()) if len(closing) else None,
        "says": says,
    }
