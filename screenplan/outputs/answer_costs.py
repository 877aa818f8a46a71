"""What the planting costs you and takes from others, as sentences of the report's first screen."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from screenplan.contracts.called import target_names
from screenplan.contracts.instead import CLOSES_MOST
from screenplan.contracts.tables import records_of
from screenplan.ground.said import in_units
from screenplan.ground.texts import first_few
from screenplan.ground.units import format_length
from screenplan.outputs.drawings.style import clean
from screenplan.outputs.report_cells import is_missing

#: Shares of sun below this are not worth a line.
LITTLE_SUN = 0.01
#: Growing so much beyond the height to keep, metres, is worth a line.
MUCH_TALLER_M = 0.5


def cost_lines(layers: Mapping, about, most: int) -> Iterator[str]:
    """Say what the planting costs, and which light and height it takes.

    Parameters
    ----------
    layers, about
        As `screenplan.outputs.answer.answer` takes them.
    most : int
        Things that are named where many lack a price.
    """
    yield from _of_a_fence(about.warnings, about.units)
    yield from _money(layers.get("cost"), layers.get("quantities"), most)
    yield from _by_lot(layers.get("lot_costs"))
    yield from _light_taken(layers)
    yield from _height_to_keep(layers, about.units)


def _of_a_fence(notes: Sequence[str], units) -> Iterator[str]:
    """Give the note on a fence that would close most views, which nobody should pass over."""
    for note in notes:
        if CLOSES_MOST in note:
            yield in_units(note, units)


def _height_to_keep(layers: Mapping, units) -> Iterator[str]:
    """Say at which height the rows could be kept, if they grow much taller and the plan keeps none."""
    rows = [
        row
        for row in records_of(layers.get("kept_sizes"))
        if not row["kept"] and not is_missing(row["keep_m"])
    ]
    keep = max((float(row["keep_m"]) for row in rows), default=0.0)
    grown = max((float(row["grown_m"]) for row in rows), default=0.0)
    if grown > keep + MUCH_TALLER_M:
        low = format_length(math.ceil(keep * 10.0 - 1e-9) / 10.0, units, 1)
        closes = any(row["status"] == "closes" for row in records_of(layers.get("views")))
        does = "close the same views" if closes else "still close the row"
        so = "".join(
            f", and take {row['kept_says']} in the place of {row['free_says']} of a window's sun"
            for row in records_of(layers.get("kept_effects"))
            if row["effect"] == "window_sun" and row["kept_says"] != row["free_says"]
        )
        yield (
            f"Clipped at {low} the plants {does}{so}; left alone they grow to "
            f"{format_length(grown, units, 1)}. In the plan: kept.in_place = true"
        )


def _money(cost, quantities, most: int) -> Iterator[str]:
    rows = records_of(cost)
    total = next((row for row in rows if row["item"] == "total"), None)
    if total is None or (is_missing(total["cost"]) and is_missing(total["hours"])):
        yield "No price is given; the plan's key cost.prices takes them"
        return
    names = {row["item"]: clean(row["name"], 60) for row in records_of(quantities)}
    if not is_missing(total["cost"]):
        bare = [
            names[row["item"]].lower()
            for row in rows
            if is_missing(row["price"])
            and row["item"] in names
            and _is_sold(row["item"], quantities)
        ]
        without = f"; without a price: {first_few(bare, most)}" if bare else ""
        yield f"{float(total['cost']):,.2f} by your prices{without}"
    if not is_missing(total["hours"]):
        paid = "" if is_missing(total["labour_cost"]) else f", {float(total['labour_cost']):,.2f}"
        yield f"{float(total['hours']):.0f} hours of work{paid}, by your rates"


def _by_lot(costs) -> Iterator[str]:
    """Say what falls to each lot of a street."""
    told = []
    for row in records_of(costs):
        if row["lot"] != "total":
            money = "" if is_missing(row["cost"]) else f", {float(row['cost']):,.2f}"
            plants = f"{int(row['plants'])} plant{'s' * (int(row['plants']) != 1)}"
            told.append(f"{clean(row['lot'])}: {plants}{money}")
    if told:
        yield f"By lot: {'; '.join(told)}"


def _is_sold(item, quantities) -> bool:
    row = quantities.loc[quantities["item"] == item]
    return len(row) > 0 and not is_missing(row["packs"].iloc[0])


def _light_taken(layers) -> Iterator[str]:
    """Say which neighbour's window and garden lose most sun."""
    light = layers.get("light")
    if light is None or not len(light):
        return
    parcels = layers["parcels"]
    own = parcels.loc[parcels["is_subject"].astype(bool), "parcel_id"]
    others = light.loc[light["parcel_id"].notna() & ~light["parcel_id"].isin(own)]
    names = target_names(layers)
    for kind, said in (("window", "{}"), ("garden", "the garden of {}")):
        rows = others.loc[(others["kind"] == kind) & (others["sun_lost"] >= LITTLE_SUN)]
        if len(rows):
            worst = rows.loc[rows["sun_lost"].idxmax()]
            who = said.format(clean(names.get(str(worst["target_id"]), worst["target_id"]), 90))
            year = (
                f", in year {int(worst['year_worst'])}"
                if not is_missing(worst["year_worst"])
                else ""
            )
            yield f"Most sun is taken from {who}: {worst['sun_lost']:.0%} of its hours{year}"
    if not len(others.loc[others["sun_lost"] >= LITTLE_SUN]):
        yield "It takes no sun worth telling from neighbours"
