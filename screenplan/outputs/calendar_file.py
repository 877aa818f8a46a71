"""The calendar as an iCalendar file (RFC 5545), and the order list in the user's units."""

from __future__ import annotations

import datetime as dt
import uuid
from pathlib import Path

import pandas as pd
from icalendar import Calendar, Event

from screenplan._version import __version__
from screenplan.contracts import Column, Contract
from screenplan.contracts.tables import table_of
from screenplan.ground.errors import refuse
from screenplan.ground.said import in_units
from screenplan.ground.texts import clean_text
from screenplan.ground.units import format_amount, format_length, format_pack
from screenplan.outputs.plant_list import height_words, stock_words
from screenplan.outputs.tables import write_csv
from screenplan.outputs.vector import explain_failure

#: Namespace of the events' identifiers: the same task of the same plan keeps its identifier.
_NAMESPACE = uuid.UUID("6a3b1d0e-9a4f-5d0a-8f7e-2f1c5f3f9a11")

ORDER_LIST = Contract(
    "order_list",
    (),
    "What to order and what to do, in the user's units",
    key="item",
    optional="stock height order caution",
    columns=(
        Column("item", "text", "Its key, as the plan's prices and hours name it"),
        Column("part", "text", "Part of the work"),
        Column("name", "text", "What it is; plants by common and Latin name"),
        Column("stock", "text", "Kind of stock, of plants"),
        Column("height", "text", "Height when planted, of plants"),
        Column("needed", "text", "How much is needed"),
        Column("order", "text", "What to order, as it is sold; empty if it is not bought"),
        Column("how", "text", "The arithmetic"),
        Column("caution", "text", "What to do first, and what to watch"),
    ),
)


def write_calendar(
    schedule: pd.DataFrame,
    path: str | Path,
    *,
    title: str,
    units: str = "metric",
    written_at: dt.datetime | None = None,
) -> int:
    """Write the dated tasks as events of whole days; a repeated task is one event with a rule.

    Parameters
    ----------
    schedule : DataFrame
        By its contract.
    path : path
    title : str
        Name of the plan; any text.
    units : {"metric", "us"}
    written_at : datetime, optional
        With a time zone; by default now.

    Returns
    -------
    int
        Number of events; with no planting date no file is written, and it is 0.
    """
    dated = schedule.loc[schedule["first_date"].notna().to_numpy(bool)]
    if not len(dated):
        return 0
    title = clean_text(title)
    calendar = Calendar()
    calendar.add("prodid", f"-//screenplan//screenplan {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", title or "Planting")
    stamp = (written_at or dt.datetime.now(dt.UTC)).astimezone(dt.UTC).replace(microsecond=0)
    for row in dated.to_dict("records"):
        start = dt.date.fromisoformat(row["first_date"])
        event = Event()
        event.add("uid", f"{uuid.uuid5(_NAMESPACE, title + chr(0) + row['task'])}@screenplan")
        event.add("dtstamp", stamp)
        event.add("summary", row["name"] if not title else f"{row['name']} ({title})")
        event.add("dtstart", start)
        repeated = not pd.isna(row["every_days"])
        end = start if repeated else dt.date.fromisoformat(row["last_date"])
        event.add("dtend", end + dt.timedelta(days=1))
        event.add("transp", "TRANSPARENT")
        if repeated:
            event.add(
                "rrule",
                {"freq": "daily", "interval": int(row["every_days"]), "count": int(row["times"])},
            )
        caution = "" if pd.isna(row["caution"]) else f"{row['caution']}.\n\n"
        text = f"{caution}{row['says']}.\n\nSource: {row['source']}."
        event.add("description", in_units(text, units))
        calendar.add_component(event)
    path = Path(path)
    with explain_failure(path):
        path.write_bytes(calendar.to_ical())
        arrived = len(Calendar.from_ical(path.read_bytes()).walk("VEVENT"))
    if arrived != len(dated):
        raise refuse(
            f"It holds {arrived} of {len(dated)} events",
            "Update the Python package icalendar, and run again",
            file=path.name,
        )
    return len(dated)


def write_order_list(quantities: pd.DataFrame, path: str | Path, *, units: str = "metric") -> int:
    """Write the quantities as people read them: the user's units, packs in words.

    Returns
    -------
    int
        The number of rows.
    """
    rows = []
    for row in quantities.to_dict("records"):
        packs = row["packs"]
        size = ""
        if not pd.isna(packs) and row["unit"] != "each":
            size = f" of {format_pack(row['pack_amount'], row['unit'], units)}"
        rows.append(
            {
                "item": row["item"],
                "part": row["part"],
                "name": row["name"],
                "stock": stock_words(row["stock"]) or None,
                "height": height_words(row["stock_height_m"], units) or None,
                "needed": _amount(row["amount"], row["unit"], units),
                "order": None if pd.isna(packs) else f"{int(packs)} × {row['pack']}{size}",
                "how": in_units(row["how"], units),
                "caution": None if pd.isna(row["caution"]) else in_units(row["caution"], units),
            }
        )
    return write_csv(table_of(ORDER_LIST, rows), path, ORDER_LIST)


def _amount(amount: float, unit: str, units: str) -> str:
    return format_length(amount, units) if unit == "m" else format_amount(amount, unit, units)
