"""What is planted, in words for a sheet: how many of which species, in which stock and height."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from screenplan.ground.units import format_length
from screenplan.outputs.drawings.style import clean
from screenplan.outputs.report_cells import is_missing

#: Kinds that a sheet names; of more it says where they are listed.
MOST_KINDS = 6


def plant_list(
    quantities: pd.DataFrame | None,
    units: str = "metric",
    marks: Mapping[str, str] | None = None,
    *,
    orders: bool = False,
) -> list[str]:
    """Name the plants that are set, a line for each kind.

    Parameters
    ----------
    quantities : DataFrame or None
        The table of that name.
    units : {"metric", "us"}
    marks : mapping of str to str, optional
        What the marks of a species are called on the sheet, by its key.
    orders : bool
        Whether each line ends with what is ordered of it.

    Returns
    -------
    list of str
        Such as "26 emerald green arborvitae (Thuja occidentalis 'Smaragd'), container, 0.90 m high".
    """
    if quantities is None:
        return []
    rows = quantities.loc[(quantities["part"] == "plants") & quantities["plants"].notna()]
    lines = [
        f"{int(row['plants'])} {clean(row['plant_name'], 80)}, {stock_words(row['stock'])}, "
        f"{height_words(row['stock_height_m'], units)} high{_marked(row['species'], marks or {})}{_ordered(row) if orders else ''}"
        for row in rows.to_dict("records")
    ]
    more = len(lines) - MOST_KINDS
    return lines if more <= 0 else [*lines[:MOST_KINDS], f"and {more} more in the order list"]


def _marked(species, marks: Mapping[str, str]) -> str:
    return f" ({marks[species]})" if species in marks else ""


def _ordered(row: Mapping) -> str:
    """Say how many are ordered: those that are set, and more for losses."""
    if is_missing(row.get("packs")):
        return ""
    pack = "" if row["pack"] == "plant" else f" × {clean(row['pack'])}"
    return f": order {int(row['packs'])}{pack}"


def stock_words(stock) -> str:
    """Write a kind of stock."""
    return "" if is_missing(stock) else clean(stock).replace("_", " ")


def height_words(height_m, units: str) -> str:
    """Write the height of stock."""
    return "" if is_missing(height_m) else format_length(float(height_m), units)
