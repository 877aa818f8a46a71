"""How the commands print: tables for people, JSON for programs, notes, and progress.

Tables go to standard output, progress to standard error; with ``--json`` nothing but JSON is on
standard output.
"""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterable, Sequence
from contextlib import contextmanager, suppress
from threading import Event, Thread
from typing import Any

import pandas as pd
from rich.console import Console
from rich.table import Table

#: What is longer than this is no figure, but a sentence that begins with one.
LONGEST_FIGURE = 20
#: Seconds between two lines of progress in a file.
BETWEEN_S = 30.0
#: A number and what may follow it, such as a unit; ``9-low`` is a name.
_FIGURE = re.compile(r"[-−]?\d[\d.,]*(%|\s|$)")


def show_table(
    title: str, columns: Sequence[str], rows: Iterable[Sequence[Any]], *, note: str = ""
) -> None:
    """Print a table; numbers stand to the right."""
    there = console()
    rows = [list(row) for row in rows]
    table = Table(box=None, pad_edge=False, header_style="underline")
    widths = _widths(columns, rows, there.width)
    for place, column in enumerate(columns):
        figures = bool(rows) and all(_is_figure(row[place]) for row in rows)
        table.add_column(
            column,
            justify="right" if figures else "left",
            overflow="fold",
            no_wrap=place == 0 and widths is None,
            width=None if widths is None else widths[place],
        )
    for row in rows:
        table.add_row(*(_cell(value) for value in row))
    if title:
        there.print(title, style="bold")
    there.print(table)
    if note:
        there.print(note, style="dim")


def _widths(columns: Sequence[str], rows: Sequence[Sequence[Any]], width: int) -> list[int] | None:
    """Share out the console's width so that no word is broken; None if that cannot be.

    A column of single words, such as identifiers, keeps its whole width, and so does the first one if that
    is at most half of the console; the others are as wide as each other, or as they need.
    """
    held = [[column, *(_cell(row[place]) for row in rows)] for place, column in enumerate(columns)]
    least = [max(len(word) for cell in cells for word in cell.split() or [""]) for cells in held]
    most = [max(len(line) for cell in cells for line in cell.split("\n")) for cells in held]
    room = width - 2 * (len(held) - 1)  # two spaces stand between columns
    if sum(most) <= room:
        return most
    if least and most[0] <= 0.5 * room and most[0] + sum(least[1:]) <= room:
        least[0] = most[0]
    given, level = None, 0
    while (
        sum(shared := [min(max(low, level), high) for low, high in zip(least, most, strict=True)])
        <= room
    ):
        given, level = shared, level + 1
    return given


def show_json(value: Any) -> None:
    """Print JSON that any reader accepts: no NaN, empty values as null."""
    print(json.dumps(value, indent=2, ensure_ascii=False, default=_plain, allow_nan=False))


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Give a layer's rows without their geometry, empty values as None."""
    columns = [
        name for name in frame.columns if name != getattr(frame, "_geometry_column_name", None)
    ]
    return [
        {name: _plain_value(row[name]) for name in columns}
        for row in frame[columns].to_dict("records")
    ]


@contextmanager
def progress_bar(stream, between_s: float = BETWEEN_S):
    """Show the steps of a run as they go; gives the function to call before each.

    A stream that is no terminal, such as a file, gets a plain line each ``between_s`` seconds.
    """
    if stream is None:  # closed by who called, or none in a program without a console
        yield lambda *_: None
        return
    if not stream.isatty():
        with _lines_of_progress(stream, between_s) as tell:
            yield tell
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(file=stream)
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TimeElapsedColumn(),
        console=console,
        transient=True,
    ) as bar:
        task = bar.add_task("starting")

        def tell(name: str, number: int, total: int) -> None:
            bar.update(task, description=name, completed=number - 1, total=total)

        yield tell


@contextmanager
def _lines_of_progress(stream, between_s: float):
    """Write which step is at work every so many seconds, from a thread of its own: one step may take minutes."""
    began, ended, doing = time.monotonic(), Event(), ["starting"]

    def write() -> None:
        with suppress(OSError, ValueError):  # nobody reads any more
            while not ended.wait(between_s):
                stream.write(f"{doing[0]}, {(time.monotonic() - began) / 60.0:.1f} min so far\n")
                stream.flush()

    def tell(name: str, number: int, total: int) -> None:
        doing[0] = f"step {number} of {total}: {name}"

    writer = Thread(target=write, daemon=True)
    writer.start()
    try:
        yield tell
    finally:
        ended.set()
        writer.join()


def show_notes(notes: Iterable[str]) -> None:
    """Print notes, each a sentence."""
    for note in notes:
        console().print(f"Note: {note[0].upper()}{note[1:].rstrip('.')}.")


def console() -> Console:
    """Give a console of standard output that takes texts as they stand."""
    return Console(markup=False, highlight=False)


def text_of(value: Any) -> str:
    """Give a cell's text; an empty one is an empty text."""
    return "" if value is None or pd.isna(value) else value


def _is_figure(value: Any) -> bool:
    text = _cell(value)
    return text in ("", "–") or (len(text) <= LONGEST_FIGURE and bool(_FIGURE.match(text)))


def _cell(value: Any) -> str:
    if value is None or (not isinstance(value, (str, list, tuple, dict)) and pd.isna(value)):
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _plain_value(value: Any) -> Any:
    if value is None or (not isinstance(value, (list, tuple, dict)) and pd.isna(value)):
        return None
    return value.item() if hasattr(value, "item") else value


def _plain(value: Any) -> Any:
    return value.item() if hasattr(value, "item") else str(value)
