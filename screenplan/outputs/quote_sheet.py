"""The quote for a customer: one page to print."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from markupsafe import Markup

from screenplan._version import __version__
from screenplan.ground.said import in_units
from screenplan.ground.units import format_amount
from screenplan.outputs.answer import CAUTIONS
from screenplan.outputs.drawings.style import clean
from screenplan.outputs.report import About, environment, template
from screenplan.outputs.report_cells import LONGEST_TEXT

QUOTE_NAME = "quote.html"


def write_quote(
    offer: Any, path: str | Path, about: About, asked: Any, today: dt.date | None = None
) -> Path:
    """Write the quote of a run.

    Parameters
    ----------
    offer : Offer
        What is quoted (`screenplan.works.quote`).
    path : path
        The file.
    about : About
    asked : Quote
        The section [quote] of the plan.
    today : date, optional
        From which on it holds; by default the computer's.
    """
    path, today = Path(path), today or dt.date.today()
    text = environment().get_template("quote.html.jinja").render(
        title=clean(about.title, 120) or (f"Screen on {about.of}" if about.subject else "Screen"),
        version=__version__,
        style=Markup(template("years.css")),
        customer=clean(asked.customer, LONGEST_TEXT),
        today=today.isoformat(),
        until=(today + dt.timedelta(days=asked.valid_days)).isoformat(),
        rows=[_row(line, about.units) for line in offer.lines],
        sums=[
            (name, f"{amount:,.2f}")
            for name, amount in (
                (f"Added, {100 * asked.margin:g}%", offer.margin),
                (f"Tax, {100 * asked.tax:g}%", offer.tax),
                ("Total", offer.total),
            )
            if amount or name == "Total"
        ],
        access=asked.access,
        guarantee=_sentence(clean(asked.guarantee, LONGEST_TEXT)),
        missing=[clean(in_units(text, about.units), LONGEST_TEXT) for text in offer.missing],
        cautions=[in_units(text, about.units) for text in CAUTIONS],
    )  # fmt: skip
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _row(line: Any, units: str) -> list[str]:
    count = (
        format_amount(line.count, line.per)
        if line.per in ("m", "m2", "m3", "l")
        else f"{line.count:.2f} h"
        if line.per == "h"
        else f"{line.count:g}"
        if line.per in ("each", "plant")  # its name says of what
        else f"{line.count:g} × {line.per}"
    )
    return [
        clean(in_units(line.name, units), LONGEST_TEXT),
        count,
        f"{line.price:,.2f}",
        f"{line.amount:,.2f}",
    ]
